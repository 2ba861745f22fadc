"""The players in their seats, and the roll call over all their strings. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from station.errors import StationError, UnknownPlayerError, UsageError
from station.music.tunings import Instrument
from station.room.instrument import NAME_LIMIT, Source
from station.room.model import Player, StringState, clean_text
from station.room.seats import Seat, changed_seat, restored_seat, take_seat
from station.room.taps import DRUMS, Taps

FIXED = "fixed"
"""The kind of an instrument whose pitch is as it is, in the instruments' data files."""


class Roster:
    """Who plays what; raises UsageError for players that cannot be seated."""

    def __init__(
        self, players: Iterable[Player], instruments: Mapping[str, Instrument], lines: int
    ) -> None:
        self._instruments = instruments
        self._lines = lines
        self._seats: dict[str, Seat] = {}
        for player in players:
            if player.id in self._seats:
                raise UsageError(f"two players have the id {player.id!r}: each needs its own")
            self._seats[player.id] = take_seat(player, instruments, lines)

    def __iter__(self) -> Iterator[Seat]:
        return iter(self._seats.values())

    # -- who ---------------------------------------------------------------------

    @property
    def instruments(self) -> Mapping[str, Instrument]:
        """Every instrument a player may have."""
        return self._instruments

    def ids(self) -> tuple[str, ...]:
        return tuple(self._seats)

    def seat(self, player_id: str) -> Seat:
        """Raises UnknownPlayerError."""
        try:
            return self._seats[player_id]
        except (KeyError, TypeError):
            known = ", ".join(self._seats) or "none"
            raise UnknownPlayerError(
                f"player {player_id!r:.40} is not in this room: the players are {known}"
            ) from None

    def who(self, by: str) -> tuple[str | None, str]:
        """Player's id and name of who acts; None and the name given for anybody else.

        Raises UsageError for text no page could show.
        """
        name = clean_text(by, "by")
        seat = self._seats.get(by)
        if seat is not None:
            return by, seat.player.name
        return None, name or "somebody"

    def names(self, player_ids: Iterable[str]) -> tuple[str, ...]:
        return tuple(self._seats[each].player.name for each in player_ids)

    def on_line(self, line: int) -> list[Seat]:
        return [seat for seat in self if seat.player.line == line]

    def taps(self, player_id: str) -> Taps:
        """A drummer's taps; raises UnknownPlayerError, and UsageError for any other player."""
        seat = self.seat(player_id)
        if seat.taps is None:
            raise UsageError(
                f"{seat.player.name} plays {seat.instrument.label}: only drums are tapped"
            )
        return seat.taps

    def drummers(self, line: int) -> list[tuple[str, Taps]]:
        """The drummers on a line: id and taps."""
        return [(s.player.id, s.taps) for s in self.on_line(line) if s.taps is not None]

    # -- instruments of fixed pitch --------------------------------------------------

    def source(self, player_id: str | None, line: int | None, name: str) -> Source:
        """Where a player's instrument of fixed pitch is heard, or another's on a line.

        Raises UnknownPlayerError, and UsageError for an instrument that is tuned
        and for anything else that cannot be meant.
        """
        if (player_id is None) == (line is None):
            raise UsageError("say either the player or the line to measure")
        if player_id is None:
            return self._line_source(line, clean_text(name, "instrument's name", NAME_LIMIT))
        seat = self.seat(player_id)
        if seat.player.kind != FIXED:
            raise UsageError(
                f"{seat.player.name} plays {seat.instrument.label}, which is tuned to the"
                " reference: measure one of fixed pitch, or say its line and name"
            )
        return _source(seat)

    def sources(self) -> list[Source]:
        """Every place an instrument of fixed pitch may be: its players', or else every line."""
        known = [_source(seat) for seat in self if seat.player.kind == FIXED]
        return known or [self._line_source(line) for line in range(1, self._lines + 1)]

    def _line_source(self, line: object, name: str = "") -> Source:
        if type(line) is not int or not 1 <= line <= self._lines:
            raise UsageError(f"line {line!r:.40}: the input has lines 1 to {self._lines}")
        return Source(f"line-{line}", name or f"instrument on line {line}", line)

    # -- changes -----------------------------------------------------------------

    def change(self, player_id: str, changes: Mapping[str, Any]) -> Player | None:
        """The player as before the change, None when nothing changed.

        Raises UnknownPlayerError, and UsageError naming what is wrong; then
        nothing has changed.
        """
        seat = self.seat(player_id)
        new = changed_seat(seat, changes, self._instruments, self._lines)
        if new.player == seat.player:
            return None
        self._seats[player_id] = new
        return seat.player

    def forget(self) -> None:
        """Every string of everyone not heard."""
        for seat in self:
            seat.forget()

    def give_back(self, rows: Iterable[Mapping[str, Any]]) -> None:
        """Undo a `forget`: strings not heard since are as in ``rows``, the others not heard."""
        heard = {
            (seat.player.id, number)
            for seat in self
            for number, state in seat.strings.items()
            if state != StringState()
        }
        self.forget()
        for row in rows:
            seat = self._seats.get(row["player"])
            if seat is not None and (row["player"], row["string"]) not in heard:
                seat.restore_string(row)

    # -- what is shown and kept ------------------------------------------------------

    def roll_call(self) -> dict[str, Any]:
        """How many strings are in, out and not heard; complete when all of at least one are in."""
        rolls = [state.roll for seat in self for state in seat.strings.values()]
        total, are_in = len(rolls), rolls.count("in")
        return {
            "in": are_in,
            "out": rolls.count("out"),
            "not_heard": rolls.count("not heard"),
            "total": total,
            "complete": total > 0 and are_in == total,
        }

    def pitched_lines(self) -> set[int]:
        """Lines with a player whose pitch is measured: all but drums."""
        return {seat.player.line for seat in self if seat.player.kind != DRUMS}

    def drum_lines(self, here: Collection[str]) -> set[int]:
        """Lines of the drummers among the players ``here``."""
        return {s.player.line for s in self if s.taps is not None and s.player.id in here}

    def string_states(self) -> list[dict[str, Any]]:
        return [row for seat in self for row in seat.string_states()]

    def state(self) -> list[dict[str, Any]]:
        """The players' rows for the store."""
        return [seat.state() for seat in self]

    def restore(self, players: Iterable[Any], strings: Iterable[Any]) -> list[str]:
        """Take stored rows back; a line for each player whose change fits no more."""
        refused = []
        for row in players:
            seat = self._seats.get(row["id"])
            if seat is None:
                continue
            try:
                self._seats[row["id"]] = restored_seat(seat, row, self._instruments, self._lines)
            except StationError as error:
                refused.append(f"what was changed for {seat.player.name} is left out: {error}")
        for row in strings:
            if row["player"] in self._seats:
                self._seats[row["player"]].restore_string(row)
        return refused


def _source(seat: Seat) -> Source:
    player, what = seat.player, seat.instrument.label.lower()
    return Source(player.id, f"{player.name}'s {what}", player.line, player.id)
