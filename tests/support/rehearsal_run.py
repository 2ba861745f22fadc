"""A rehearsal told to the room's part, and how well it found what truly happened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from typing import Any

from station.measure.types import Heard
from station.music.tunings import load_instruments
from station.room.evening import Evening
from station.room.parts import Context
from station.room.roster import Roster
from tests.support.rehearsal import PLAYERS, SMALL_CENTS, STRINGED, TALL_CENTS, Rehearsal
from tests.support.rehearsal_events import told_s

NEAR_S = 1.0
ASKED_S = 10.0  # after a song's end
LATE_S = 1000.0  # of the room's clock, at the beginning of the stream


@dataclass
class Score:
    """What was found against what was so; drifts in cents."""

    gaps: int = 0
    found_gaps: int = 0
    right_gaps: int = 0
    tall: int = 0
    tall_named: int = 0
    named: int = 0
    named_small: int = 0
    common_errors: list[float] = field(default_factory=list)
    known_errors: list[tuple[float, float]] = field(default_factory=list)  # error, uncertainty
    confidences: list[tuple[float, bool]] = field(default_factory=list)  # and whether it was so
    notes: list[str] = field(default_factory=list)

    def add(self, other: Score) -> None:
        """Count another rehearsal in."""
        for each in fields(self):
            setattr(self, each.name, getattr(self, each.name) + getattr(other, each.name))

    @property
    def f1(self) -> float:
        return 2 * self.right_gaps / max(1, self.gaps + self.found_gaps)

    @property
    def precision(self) -> float:
        return 1 - self.named_small / max(1, self.named)

    @property
    def recall(self) -> float:
        return self.tall_named / max(1, self.tall)


def evening_of(a4_hz: float = 440.0) -> Evening:
    """The part, for the four players of `make_rehearsal`."""
    roster = Roster(PLAYERS, load_instruments(), 4)
    return Evening(Context(roster, lambda: a4_hz, tuple, lambda: False))


def solve(evening: Evening, now_s: float) -> bool:
    """Give the part time to solve for one player, as the station does now and then."""
    work = evening.due(now_s)
    return work is not None and evening.take(work, work.solve())


def told_to_the_room(rehearsal: Rehearsal, heard: Iterable[Heard], sparing: bool = False) -> Score:
    """Tell the part everything, and ask it who is out when a gap has been found.

    `sparing`: it is given time to solve only shortly before it is asked.
    """
    evening, score = evening_of(), Score()
    ticked_s, asked = 0.0, -1
    for each in sorted(heard, key=told_s):
        at_s = told_s(each)
        evening.hear(each, LATE_S + at_s)
        near = any(0.0 < at_s - end_s < ASKED_S for _, end_s in rehearsal.songs)
        if at_s - ticked_s >= 1.0 and (near or not sparing):
            ticked_s = at_s
            solve(evening, LATE_S + at_s)
        song = sum(end + ASKED_S <= at_s for _, end in rehearsal.songs) - 1
        if song > asked:
            asked = song
            _compare(rehearsal, song, evening, at_s, score)
    _compare_gaps(rehearsal, evening, score)
    return score


def _compare_gaps(rehearsal: Rehearsal, evening: Evening, score: Score) -> None:
    now_s = LATE_S + rehearsal.length_s
    found = [
        (now_s - LATE_S - gap["began_s"], now_s - LATE_S - gap["ended_s"])
        for gap in evening.detail(now_s)["gaps"]
    ]
    found = [gap for gap in found if gap[1] > rehearsal.songs[0][0] + NEAR_S]
    score.gaps, score.found_gaps = len(rehearsal.gaps), len(found)
    for begin, end in rehearsal.gaps:
        last = end == rehearsal.length_s  # how long it will go on nobody knows
        score.right_gaps += any(
            abs(begin - one) <= NEAR_S and (last or abs(end - two) <= NEAR_S) for one, two in found
        )


def _compare(rehearsal: Rehearsal, song: int, evening: Evening, at_s: float, score: Score) -> None:
    """Of each string that was played enough: is it named if it drifted, and only then?"""
    end_s = rehearsal.songs[song][1]
    told = evening.detail(LATE_S + at_s)
    named = {(e["player"], s): e for e in told["drifted"] for s in e["strings"]}
    strings = {(p["player"], s["string"]): s for p in told["players"] for s in p["strings"]}
    score.common_errors += _common_error(rehearsal, told, end_s, at_s)
    for player, midis in STRINGED.items():
        for number in range(1, len(midis) + 1):
            truth = rehearsal.strings[player, number]
            if truth.since(at_s) != truth.since(end_s):
                continue  # tuned again meanwhile
            own, key = truth.own(end_s), (player, number)
            known = rehearsal.known(player, number, song)
            if key in named:
                score.named += 1
                if abs(own) < SMALL_CENTS:
                    score.named_small += 1
                    score.notes.append(f"song {song} {key}: {own:.1f}, told {named[key]}")
            if known:
                _compare_known(own, key in named, strings.get(key), score)
                if abs(own) >= TALL_CENTS and key not in named:
                    score.notes.append(f"song {song} {key}: {own:.1f}, {strings.get(key)}")


def _compare_known(own: float, named: bool, told: dict[str, Any] | None, score: Score) -> None:
    if abs(own) >= TALL_CENTS:
        score.tall += 1
        score.tall_named += named
    if told is not None and told["own"] is not None:
        mine = told["own"]
        score.known_errors.append((mine["cents"] - own, mine["uncertainty_cents"]))
        score.confidences.append((mine["confidence"], abs(own) >= 5.0))


def _common_error(
    rehearsal: Rehearsal, told: dict[str, Any], end_s: float, at_s: float
) -> list[float]:
    common = told["common"]
    if common is None:
        return []
    since_s = at_s - common["since_s"]
    truth_cents = rehearsal.common(end_s) - rehearsal.common(since_s)
    return [common["cents"] - truth_cents]
