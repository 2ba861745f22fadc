"""How far each string of one player has drifted since it was tuned, from the notes of songs.

A note of a song says how far its pitch stands from the nearest semitone, but not on which string
it was played, nor how far its fret alone sharpens it; `course` explains all of them together.
What a fret adds cancels, for drift is the difference of two places of one string's course: a
guitar that frets four cents sharp is not blamed. A string's course begins anew when it is tuned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from copy import deepcopy
from dataclasses import replace

from station.measure.rehearsal.course import Courses, fitted
from station.measure.rehearsal.heard import Glides, Segment, StringDrift, Strings, Tuned
from station.measure.rehearsal.played import GLIDE_CENTS

SEGMENT_S = 40.0
MOST_SEGMENTS = 11
MOST_NOTES = 150  # of one segment, however long
TURNED_CENTS = 2.0  # between two plucks: its peg was turned
ONE_TUNING_S = 60.0
LEAST_UNSURE_CENTS = 0.3
KEPT_TUNINGS = 6  # of each string


class PlayerDrift:
    """One player's strings. `opens` are their numbers, MIDI notes and offsets from equal
    temperament in cents; a capo counts as the nut. Times are seconds of one stream.
    """

    def __init__(self, opens: Sequence[tuple[int, int, float]]) -> None:
        self._alike: dict[int, list[int]] = {}
        unique: dict[tuple[int, float], int] = {}
        for number, midi, offset in sorted(opens):
            first = unique.setdefault((midi, offset), number)
            self._alike.setdefault(first, []).append(number)
        kept = [each for each in opens if each[0] in self._alike]
        self._strings = Strings(
            tuple(number for number, _, _ in kept),
            tuple(midi for _, midi, _ in kept),
            tuple(offset for _, _, offset in kept),
        )
        self._segments: list[Segment] = []
        self._tuned: list[Tuned] = []
        self._glides = Glides()
        self._courses: Courses | None = None
        self._gap = True
        self._carried: dict[int, StringDrift] = {}
        self.changed = False

    # -- what is heard -----------------------------------------------------------------

    def hear_played(self, midi: float, unsure_cents: float, at_s: float, length_s: float) -> None:
        """A steady note of a song: MIDI note number with its fraction against the reference."""
        values = (midi, unsure_cents, at_s, length_s)
        if not self._strings.numbers or not all(map(math.isfinite, values)):
            return
        if self._gap or at_s - self._segments[-1].began_s >= SEGMENT_S:
            self._segments.append(Segment(at_s, at_s, self._gap))
            self._gap = False
            self._merge_oldest()
        segment = self._segments[-1]
        if len(segment.midi) >= MOST_NOTES:
            return
        segment.ended_s = max(segment.ended_s, at_s)
        segment.midi.append(midi)
        segment.unsure.append(unsure_cents)
        segment.length.append(max(0.0, length_s))
        segment.at.append(at_s)
        self.changed = True

    def hear_glide(self, length_s: float, early_cents: float | None) -> None:
        """A steady note, in a song or not: how much higher than it settled it began."""
        if early_cents is not None and abs(early_cents) <= GLIDE_CENTS and length_s > 0.0:
            self._glides.hear(length_s, early_cents)

    def hear_tuned(
        self, string: int, cents: float, unsure_cents: float, at_s: float, moved: bool
    ) -> None:
        """An open string heard in a gap, `cents` from its target; `moved`: it was tuned."""
        number = next((n for n, alike in self._alike.items() if string in alike), None)
        if number is None or not all(map(math.isfinite, (cents, unsure_cents, at_s))):
            return
        own = [t for t in self._tuned if t.string == number]
        # Of one tuning the last word counts.
        same = [
            t
            for t in own
            if at_s - t.at_s < ONE_TUNING_S and not self._played_between(t.at_s, at_s)
        ]
        moved = moved or any(t.moved or abs(t.cents - cents) > TURNED_CENTS for t in same)
        if moved:
            self._carried.pop(number, None)
        gone = [*same, *[t for t in own if t not in same][: -KEPT_TUNINGS or None]]
        self._tuned = [t for t in self._tuned if t not in gone]
        unsure = max(unsure_cents, LEAST_UNSURE_CENTS)
        self._tuned.append(Tuned(number, at_s, cents, unsure, moved))
        self._gap = self.changed = True

    def carry(self, known: Sequence[StringDrift], at_s: float) -> None:
        """Strings that are as they were before, under another tuning of the others."""
        for each in known:
            if each.string in self._strings.numbers:
                offset, unsure = each.offset_cents, max(0.5, each.uncertainty_cents)
                self.hear_tuned(each.string, offset, unsure, at_s, moved=False)
                self._carried[each.string] = each

    def pause(self) -> None:
        """A gap: what follows is another song."""
        self._gap = True

    def _played_between(self, from_s: float, to_s: float) -> bool:
        return any(from_s < s.ended_s and s.began_s < to_s for s in self._segments)

    def _merge_oldest(self) -> None:
        """Keep the number of segments: two of long ago, between which nothing was tuned, as one."""
        if len(self._segments) <= MOST_SEGMENTS:
            return
        cuts = [t.at_s for t in self._tuned if t.moved]
        lengths = {
            i: self._segments[i].ended_s - self._segments[i - 1].began_s
            for i in range(2, len(self._segments) - 3)
            if not any(
                self._segments[i - 1].began_s <= cut <= self._segments[i].began_s for cut in cuts
            )
        }
        if not lengths:
            # Everything was tuned between any two: what is oldest says nothing of now.
            del self._segments[0]
            return
        at = min(lengths, key=lambda i: lengths[i])
        one, two = self._segments[at - 1 : at + 1]
        merged = Segment(
            one.began_s,
            two.ended_s,
            one.gap_before,
            one.midi[::2] + two.midi[::2],
            one.unsure[::2] + two.unsure[::2],
            one.length[::2] + two.length[::2],
            one.at[::2] + two.at[::2],
        )
        self._segments[at - 1 : at + 1] = [merged]

    # -- what it comes to ----------------------------------------------------------------

    def solve(self) -> list[StringDrift]:
        """Every string's drift, as far as anything is known of it."""
        return self.task()()

    def task(self) -> Callable[[], list[StringDrift]]:
        """What `solve` does, to be done later or elsewhere: it shares nothing that changes, and
        leaves what it found for the next one to go on from.
        """
        self.changed = False
        segments, tuned = deepcopy(self._segments), tuple(self._tuned)
        strings, carried, glide = self._strings, dict(self._carried), self._glides.known()
        if not strings.numbers or not segments:
            return list
        before = self._courses

        def solve() -> list[StringDrift]:
            found, self._courses = fitted(strings, segments, tuned, glide, before)
            return [self._completed(each, carried) for each in found]

        return solve

    def _completed(self, found: StringDrift, carried: dict[int, StringDrift]) -> StringDrift:
        alike = tuple(n for n in self._alike[found.string] if n != found.string)
        before = carried.get(found.string)
        if before is None:
            return replace(found, alike=alike)
        return replace(
            found,
            cents=found.cents + before.cents,
            uncertainty_cents=math.hypot(found.uncertainty_cents, before.uncertainty_cents),
            since_s=before.since_s,
            alike=alike,
        )
