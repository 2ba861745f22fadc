"""What is heard on the lines: levels, hum, and pitches with the strings they belong to. Pure."""

from __future__ import annotations

from collections.abc import Callable

from station.errors import UsageError
from station.measure.types import Level, Note, Reading
from station.room.hearing import (
    Attribution,
    Take,
    attribute,
    is_evidence,
    judge,
    next_roll,
    pitch_payload,
)
from station.room.mains import LineHum
from station.room.model import Event, EventKind, LineLevel, StringState
from station.room.seats import Seat

TONE_TAIL_S = 1.0
"""How long after the station's own tone a sound may still be that tone: a note is told once
it has ended, a reading is late by what it listened back for."""


class Lines:
    """The lines of the input, counted from 1, and the note now sounding on each.

    While the station sounds the reference itself (`tone_until`) what is heard is
    shown, but proves nothing of any string: it may be the tone. That holds, too,
    for a note that goes on from then, and for ``TONE_TAIL_S`` afterwards.
    ``whose_turn`` tells the id of the player who has a shared line to themselves now.
    """

    def __init__(self, count: int, in_cents: float) -> None:
        self.levels = {line: LineLevel(line) for line in range(1, count + 1)}
        self._in_cents = in_cents
        self._hums = {line: LineHum() for line in self.levels}
        self._takes: dict[int, Take] = {}
        self._toned_until_s = float("-inf")
        self._toned_onset_s: dict[int, float] = {}
        self.whose_turn: Callable[[int], str | None] = lambda _: None

    def forget(self, line: int | None = None) -> None:
        """What sounds on a line, or anywhere, does not go with what follows."""
        if line is None:
            self._takes.clear()
        else:
            self._takes.pop(line, None)

    def tone_until(self, ends_at_s: float) -> None:
        """The station's own tone sounds until ``ends_at_s``, or was ended then."""
        self._toned_until_s = ends_at_s + TONE_TAIL_S

    def hear_pitch(
        self, heard: Reading | Note, seats: list[Seat], a4_hz: float, now_s: float
    ) -> tuple[list[Event], bool]:
        """The events of a pitch heard, and whether the roll call moved."""
        kind: EventKind = "reading" if isinstance(heard, Reading) else "note"
        if not seats:
            payload = pitch_payload(heard, None, None, a4_hz)
            return [Event(kind, f"line-{heard.line}", payload)], False
        proves = self.proves(heard, now_s)
        before = self._takes.pop(heard.line, None)
        events, moved = [], False
        for found in attribute(heard.hz, seats, a4_hz, self.whose_turn(heard.line)):
            take = judge(heard, found, before, self._in_cents)
            payload = pitch_payload(heard, found, take, a4_hz)
            events.append(Event(kind, found.seat.player.id, payload))
            if isinstance(heard, Reading):
                found.seat.now, found.seat.now_at_s = payload, now_s
            if take is not None:
                self._takes[heard.line] = take
                for each in (take, *take.also):
                    counts = proves and is_evidence(heard, each, before, self._in_cents)
                    moved = _note_down(found, each, counts, now_s) or moved
        return events, moved

    def proves(self, heard: Reading | Note, now_s: float) -> bool:
        """Whether the sound can be nothing but the band's own."""
        if now_s < self._toned_until_s:
            self._toned_onset_s[heard.line] = heard.onset_s
            return False
        return heard.onset_s > self._toned_onset_s.get(heard.line, float("-inf"))

    def is_bands_own(self, from_s: float) -> bool:
        """Whether what was heard from then on, on the room's clock, cannot be the tone."""
        return from_s >= self._toned_until_s

    def hear_level(self, level: Level, now_s: float) -> bool:
        """Whether the line's state or its hum changed; raises UsageError for no such line."""
        before = self.levels.get(level.line)
        if before is None:
            raise UsageError(f"line {level.line}: the input has lines 1 to {len(self.levels)}")
        hum = self._hums[level.line]
        hum_changed = hum.hear(level.hum_hz, level.hum_dbfs, now_s)
        self.levels[level.line] = LineLevel(
            level.line,
            level.rms_dbfs,
            level.peak_dbfs,
            level.dc,
            level.clipped,
            level.state,
            hum.hz,
            hum.dbfs,
        )
        return hum_changed or (before.state, before.clipped) != (level.state, level.clipped)


def _note_down(found: Attribution, take: Take, counts: bool, now_s: float) -> bool:
    """Enter a pitch for its string; whether the roll call moved."""
    state = found.seat.strings[take.string]
    roll = next_roll(state, take) if counts else state.roll
    found.seat.strings[take.string] = StringState(
        cents=take.cents,
        uncertainty_cents=take.uncertainty_cents,
        verdict=take.verdict,
        roll=roll,
        heard_at_s=now_s,
    )
    return roll != state.roll
