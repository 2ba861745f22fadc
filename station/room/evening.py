"""What the band is doing, song after song, and who has drifted meanwhile. Pure.

While the band plays, every note of a player's line that stands still says a little of how their
strings stand (`station.measure.rehearsal`); in a gap the room can say who is out, and what of it
all strings have in common. A note counts a few seconds after it was played, when it is known
whether it was one of a song or of somebody tuning. On a shared line only a note that a single
one of its players can have played counts. A new reference begins everything anew; a new tuning
begins anew with the strings whose targets it changes.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable

from station.measure.rehearsal.activity import Activity
from station.measure.rehearsal.band import BandCourse
from station.measure.rehearsal.common import TOLD_SD, Drift, Shares, take_apart
from station.measure.rehearsal.drift import PlayerDrift
from station.measure.rehearsal.heard import StringDrift
from station.measure.rehearsal.played import Struck
from station.measure.rehearsal.tuning_like import LONG_S
from station.measure.types import Gap, Heard, Level, Note, Reading
from station.music.pitch import cents_between, hz_to_midi
from station.room.known_strings import (
    Data,
    Known,
    Work,
    can_play,
    moved_as_json,
    named,
    player_as_json,
    targets_of,
)
from station.room.parts import Context, Part
from station.room.seats import Seat
from station.room.taps import DRUMS

SETTLED_S = 8.0  # by then it is known whether a note was one of a song
SOLVED_EVERY_S = 60.0  # while the band plays
SOLVED_IN_GAP_S = 2.0
EDGE_S = 0.6  # so near a song's beginning or end it is open which side a note is of
NEAR_CENTS = 60.0  # of an open string, of somebody who tunes
SURELY_CENTS, SURELY_SIGMAS = 3.0, 3.0
STRANGE_CENTS = 3.0
WAITING_MOST = 2000
GAPS_TOLD = 40


class Evening(Part):
    """The gaps of an evening and the drift of everybody's strings.

    `tick` does what takes some milliseconds, for one player at a time. The snapshot's key:
    ``state`` is ``playing``, ``gap``, ``tuning`` (a gap in which somebody tunes) or ``not known``,
    ``for_s`` for how long; times in ``gaps`` are seconds ago. ``proves`` tells whether what was
    heard can be nothing but the band's own: the station's own tone is no string of theirs.
    """

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.proves: Callable[[Reading | Note, float], bool] = lambda *_: True
        self._activity = Activity()
        self._heard: dict[str, Known] = {}
        self._waiting: deque[Struck] = deque(maxlen=WAITING_MOST)
        self._offset_s: float | None = None  # from stream time to the room's
        self._band = BandCourse()
        self._songs = 0  # that have ended
        self._shares = Shares(None, {}, {})
        self._told = ""
        self._in_gap = False
        self._a4_hz = context.a4_hz()
        self.players_changed()

    # -- what is heard ----------------------------------------------------------------

    def hear(self, heard: Heard, now_s: float) -> bool:
        """Take in what a line's listener said; whether the band's state changed."""
        if isinstance(heard, Level | Gap):
            if isinstance(heard, Level):
                self._offset_s = now_s - heard.at_s
            return self._activity.hear(heard) and self._judged()
        if not self.proves(heard, now_s):
            return False
        struck = self._activity.hear_pitch(heard)
        if struck is not None and struck.note is heard and not heard.clipped:
            self._waiting.append(struck)
        return False

    def due(self, now_s: float) -> Work | None:
        """What to solve for the player who has waited longest, or None; it takes too long to be
        done while others wait for the room. What comes of it goes to `take`.
        """
        if self._offset_s is None:
            return None
        stream_s = now_s - self._offset_s
        wait_s = SOLVED_IN_GAP_S if self._in_gap else SOLVED_EVERY_S
        due = [
            each
            for each in self._heard.values()
            if each.drift.changed and stream_s - each.solved_s >= wait_s
        ]
        if not due:
            return None
        first = min(due, key=lambda each: each.solved_s)
        first.solved_s = stream_s
        return Work(first.drift.task(), first, len(due) == 1)

    def take(self, work: Work, found: list[StringDrift]) -> bool:
        """What came of it; whether anything told has changed."""
        if all(each is not work.of for each in self._heard.values()):
            return False  # the player has other strings now, or the band another reference
        work.of.found = found
        if work.last:
            self._take_apart()
        return work.last

    def reference_changed(self) -> None:
        """Against another A4 nothing heard so far says anything."""
        if self.context.a4_hz() == self._a4_hz:
            return
        self._a4_hz = self.context.a4_hz()
        self._heard.clear()
        self._waiting.clear()
        self._band, self._songs = BandCourse(), 0
        self._shares = Shares(None, {}, {})
        self.players_changed()

    def players_changed(self) -> None:
        """Lines and strings may be others now."""
        seats = list(self.context.roster)
        lines: dict[int, tuple[bool, list[float]]] = {}
        for seat in seats:
            pitched, opens_hz = lines.get(seat.player.line, (False, []))
            own = [string.target_hz(self._a4_hz) for string in seat.open_strings()]
            # Of an instrument without strings any pitch may be one it plays.
            lines[seat.player.line] = pitched or seat.player.kind != DRUMS, opens_hz + own
        self._activity.set_lines(lines)
        here = {seat.player.id: self._taken_over(seat) for seat in seats if seat.tuning}
        if here != self._heard:
            self._heard = here
            self._take_apart()

    def _taken_over(self, seat: Seat) -> Known:
        """What is kept of a player who may have changed strings."""
        player, targets = seat.player, targets_of(seat)
        known = self._heard.get(player.id)
        if known is not None and (known.line, known.instrument, known.targets) == (
            player.line,
            player.instrument,
            targets,
        ):
            return known
        new = Known(player.line, player.instrument, targets, PlayerDrift(targets), [])
        if known is not None and known.instrument == player.instrument:
            same = {string for string, *_ in set(known.targets) & set(targets)}
            kept = [each for each in known.found if each.string in same]
            new.drift.carry(kept, self._activity.newest_s)
            new.found = kept
        return new

    # -- from notes to drifts ---------------------------------------------------------

    def _judged(self) -> bool:
        """The band's state was judged anew: enter what is certain by now."""
        in_gap = self._activity.state == "gap"
        began = in_gap and not self._in_gap
        self._songs += self._in_gap and not in_gap
        self._in_gap = in_gap
        newest_s = self._activity.newest_s
        while self._waiting and (began or newest_s - self._waiting[0].last_s >= SETTLED_S):
            if began and self._waiting[0].onset_s >= (self._activity.since_s or 0.0):
                break
            self._enter(self._waiting.popleft())
        if began:
            for each in self._heard.values():
                each.drift.pause()
                each.solved_s = float("-inf")
        told, self._told = self._told, self.doing
        return told != self._told

    def _enter(self, struck: Struck) -> None:
        note = struck.note
        if note is None:
            return
        seat = self._who(struck.line, note.hz)
        known = None if seat is None else self._heard.get(seat.player.id)
        if seat is None or known is None:
            return
        state = self._activity.state_at(struck.onset_s, EDGE_S)
        tunes = self._activity.tuning_share(struck) > 0.5
        if struck.steady and not struck.turned:
            known.drift.hear_glide(note.end_s - note.onset_s, struck.early_cents)
        if state == "playing" and not tunes:
            if struck.steady:
                midi = hz_to_midi(note.hz, self._a4_hz)
                length_s = note.end_s - note.onset_s
                known.drift.hear_played(midi, note.uncertainty_cents, note.onset_s, length_s)
        elif state == "gap" and (struck.steady or struck.turned):
            # A long note of an open string is told as one even while others strike theirs with it.
            tunes |= note.end_s - note.onset_s >= LONG_S
            if not tunes:
                return
            self._enter_tuned(seat, known, struck)

    def _enter_tuned(self, seat: Seat, known: Known, struck: Struck) -> None:
        note = struck.note
        if note is None:
            return
        off = [
            (cents_between(note.hz, string.target_hz(self._a4_hz)), string.number)
            for string in seat.open_strings()
        ]
        cents, number = min(off, key=lambda each: abs(each[0]))
        if abs(cents) > NEAR_CENTS:
            return
        before = next((each for each in known.found if each.string == number), None)
        moved, unsure = struck.turned, note.uncertainty_cents
        if before is not None:
            doubt = SURELY_SIGMAS * min(before.uncertainty_cents, TOLD_SD)
            if abs(cents - before.offset_cents) > max(SURELY_CENTS, doubt):
                # Tuned unheard, it is in now; else something was heard wrong.
                moved |= abs(cents) <= SURELY_CENTS
                unsure = unsure if moved else max(unsure, STRANGE_CENTS)
        known.drift.hear_tuned(number, cents, unsure, struck.onset_s, moved)

    def _who(self, line: int, hz: float) -> Seat | None:
        """The only player of a line who can have played a pitch; None if there are several."""
        midi = hz_to_midi(hz, self._a4_hz)
        able = [seat for seat in self.context.roster.on_line(line) if can_play(seat, midi)]
        return able[0] if len(able) == 1 else None

    def _take_apart(self) -> None:
        """What everybody's strings have in common, and what each has of its own."""
        newest_s = self._activity.newest_s
        ended_s = self._activity.since_s if self._in_gap else None
        found = {player: known.found for player, known in self._heard.items()}
        band = self._band.hear(self._songs, newest_s if ended_s is None else ended_s, found)
        values = {
            player: [self._since_the_beginning(each) for each in strings]
            for player, strings in found.items()
        }
        shared = {
            player: min((each.shared_cents for each in strings), default=0.0)
            for player, strings in found.items()
        }
        self._shares = take_apart(values, shared, band)

    def _since_the_beginning(self, each: StringDrift) -> Drift:
        """A string's drift as if it had never been tuned: what the band drifted before is added."""
        before, unsure = self._band.at(each.since_s)
        sd = math.hypot(each.uncertainty_cents, unsure)
        return Drift(each.string, each.cents + before, sd, each.doubt)

    # -- what is told --------------------------------------------------------------------

    def as_json(self, now_s: float) -> Data:
        """The part's key in the snapshot; cents are positive when sharp."""
        since_s = self._activity.since_s
        spans = self._activity.spans()
        return {
            "state": self.doing,
            "for_s": None if since_s is None else self._ago_s(since_s, now_s),
            "songs": sum(span.state == "playing" for span in spans),
            "common": self._common_as_json(now_s),
            "told_apart": self._shares.common is not None,
            "drifted": self.drifted(),
        }

    def detail(self, now_s: float) -> Data:
        """More than every phone has to get: every gap, line and string."""
        gaps = [span for span in self._activity.spans() if span.state == "gap"]
        return {
            **self.as_json(now_s),
            "gaps": [
                {
                    "began_s": self._ago_s(gap.began_s, now_s),
                    "ended_s": self._ago_s(gap.ended_s, now_s),
                }
                for gap in gaps[-GAPS_TOLD:]
            ],
            "lines": [
                {"line": line, "doing": doing}
                for line, doing in sorted(self._activity.line_states().items())
            ],
            "players": [
                player_as_json(player, known, self._shares, lambda at_s: self._ago_s(at_s, now_s))
                for player, known in self._heard.items()
            ],
        }

    def _ago_s(self, at_s: float, now_s: float) -> float:
        """How long ago a moment of the stream was."""
        return max(0.0, now_s - (at_s + (self._offset_s or 0.0)))

    def drifted(self) -> list[Data]:
        """Who is out: strings, or all of a player's where they moved alike, the worst first.

        ``string`` is None where it is the player and not one string. ``confidence`` is the
        probability that it is a drift at all, of 5 cents or more.
        """
        out: list[Data] = []
        for player, known in self._heard.items():
            out += named(player, known, self._shares)
        return sorted(out, key=lambda each: -abs(each["cents"]))

    @property
    def doing(self) -> str:
        """What the band does: ``playing``, ``gap``, ``tuning`` or ``not known``."""
        state = self._activity.state
        tunes = "tuning" in self._activity.line_states().values()
        return "tuning" if state == "gap" and tunes else state

    def _common_as_json(self, now_s: float) -> Data | None:
        """The drift in common since the string that was tuned longest ago was tuned."""
        common = self._shares.common
        times = [each.since_s for known in self._heard.values() for each in known.found]
        if common is None or not times:
            return None
        since_s = min(times)
        return {
            **moved_as_json(common),
            "cents": common.cents - self._band.at(since_s)[0],
            "since_s": self._ago_s(since_s, now_s),
        }
