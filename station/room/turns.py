"""Turns on a line that several players share: who has it now, who waits, and for how long. Pure.

While somebody has the turn, what sounds on the line is theirs, unless it is too low for any of
their strings: then it is one of the others', where the pitch alone tells whose (`room.hearing`).
Nothing high is taken from them: a harmonic may be as high as it likes.

A turn ends when it is handed on, or by itself: after `SILENT_S` without a sound on the line,
and after `LONGEST_S` if somebody waits. Whoever waits longest has the next.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from station.errors import NotAllowedError, NotNowError, UsageError
from station.measure.types import Heard, Note, Reading
from station.room.parts import Context, Part
from station.room.seats import Seat
from station.room.taps import DRUMS

SILENT_S = 60.0
LONGEST_S = 180.0


@dataclass(slots=True)
class _Line:
    """A shared line: the ids of who has the turn and of those who wait, the first one first."""

    holder: str | None = None
    waiting: list[str] = field(default_factory=list)
    since_s: float = 0.0
    heard_s: float = 0.0

    def give(self, player: str | None, now_s: float) -> None:
        self.holder = player
        self.since_s = self.heard_s = now_s

    def ends_s(self) -> float:
        """When the turn ends by itself."""
        silent_s = self.heard_s + SILENT_S
        return min(silent_s, self.since_s + LONGEST_S) if self.waiting else silent_s


class Turns(Part):
    """The turns of every line that two or more players of pitched instruments share."""

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self._lines: dict[int, _Line] = {}
        self.players_changed()

    def holder(self, line: int) -> str | None:
        """The id of the player who has the turn on a line, None where nobody has."""
        found = self._lines.get(line)
        return None if found is None else found.holder

    def take(self, player_id: str, now_s: float) -> None:
        """A player takes the turn, or waits for it where somebody else has it.

        Raises UnknownPlayerError, and NotNowError for a player who shares no line.
        """
        line = self._line_of(player_id)
        if line.holder is None:
            line.give(player_id, now_s)
        elif line.holder != player_id and player_id not in line.waiting:
            line.waiting.append(player_id)

    def hand_on(self, player_id: str, now_s: float, to: str | None = None) -> None:
        """The player gives the turn to ``to``, or to who waits longest; or waits no longer.

        Raises UnknownPlayerError, NotNowError, UsageError for somebody on another line, and
        NotAllowedError for a turn that is somebody else's.
        """
        line = self._line_of(player_id)
        if to is not None and self._line_of(to) is not line:
            raise UsageError(f"{to} does not share the line of {player_id}")
        if player_id in line.waiting and to is None:
            line.waiting.remove(player_id)
        elif line.holder == player_id:
            self._next(line, now_s, to)
        elif line.holder is None:
            raise NotNowError("nobody has the turn on this line: there is nothing to hand on")
        else:
            name = self.context.roster.seat(line.holder).player.name
            raise NotAllowedError(f"{name} has the turn: only {name} can hand it on")

    def _next(self, line: _Line, now_s: float, to: str | None = None) -> None:
        if to is None and line.waiting:
            to = line.waiting[0]
        line.waiting = [each for each in line.waiting if each != to]
        line.give(to, now_s)

    def _line_of(self, player_id: str) -> _Line:
        seat = self.context.roster.seat(player_id)
        found = self._lines.get(seat.player.line)
        if found is None or seat.player.kind == DRUMS:
            raise NotNowError(f"{seat.player.name} shares no line: no turns are needed")
        return found

    # -- what the room tells -----------------------------------------------------------

    def hear(self, heard: Heard, now_s: float) -> bool:
        line = self._lines.get(heard.line)
        if line is not None and isinstance(heard, Reading | Note):
            line.heard_s = now_s
        return False

    def tick(self, now_s: float) -> bool:
        ended = False
        for line in self._lines.values():
            if line.holder is not None and now_s >= line.ends_s():
                self._next(line, now_s)
                ended = True
        return ended

    def players_changed(self) -> None:
        shared = self._shared()
        self._lines = {number: self._lines.get(number, _Line()) for number in shared}
        for number, line in self._lines.items():
            ids = [seat.player.id for seat in shared[number]]
            line.waiting = [each for each in line.waiting if each in ids]
            if line.holder is not None and line.holder not in ids:
                self._next(line, line.heard_s)

    def as_json(self, now_s: float) -> list[dict[str, Any]]:
        """Every shared line; ``ends_in_s`` is when the turn ends by itself if nobody plays."""
        shared = self._shared()
        return [
            {
                "line": number,
                "players": [seat.player.id for seat in shared[number]],
                "turn": line.holder,
                "waiting": list(line.waiting),
                "ends_in_s": None if line.holder is None else max(0.0, line.ends_s() - now_s),
            }
            for number, line in self._lines.items()
        ]

    def _shared(self) -> Mapping[int, list[Seat]]:
        lines: dict[int, list[Seat]] = {}
        for seat in self.context.roster:
            if seat.player.kind != DRUMS:
                lines.setdefault(seat.player.line, []).append(seat)
        return {number: seats for number, seats in sorted(lines.items()) if len(seats) > 1}
