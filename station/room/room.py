"""All that one station knows, and how it changes. No clock, no I/O, no threads.

Callers pass ``now_s``, seconds of one monotonic clock, and must not call from
two threads at once. Every method that changes something returns the events
its subscribers should see; a ``room`` event carries the whole snapshot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from typing import Any

from station.errors import StationError, UnknownPlayerError, UsageError
from station.measure.types import Gap, Heard, Level, Note, Reading
from station.music.pitch import check_a4
from station.music.tunings import Instrument, load_instruments
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
from station.room.model import (
    Event,
    EventKind,
    InputStatus,
    LampStatus,
    LineLevel,
    Player,
    Reference,
    Station,
    StringState,
)
from station.room.seats import Seat, changed_seat, restored_seat, take_seat

__all__ = ["Event", "Player", "Reference", "Room", "Station", "StringState"]

NOW_LASTS_S = 1.0


class Room:
    """The reference, the players, their strings and the roll call.

    ``lines`` is how many channels the input has; ``in_cents`` how close to its
    target a string counts as in. ``instruments`` are those of the data files
    unless given (with custom tunings merged in). Raises UsageError for players
    that cannot be seated.
    """

    def __init__(
        self,
        players: Iterable[Player],
        reference: Reference,
        lines: int,
        in_cents: float = 2.0,
        *,
        station: Station | None = None,
        instruments: Mapping[str, Instrument] | None = None,
    ) -> None:
        self.reference = reference
        self.in_cents = in_cents
        self.station = station or Station()
        self.input = InputStatus()
        self.lamps = LampStatus()
        self._instruments = load_instruments() if instruments is None else instruments
        self._levels = {line: LineLevel(line) for line in range(1, lines + 1)}
        self._hums = {line: LineHum() for line in self._levels}
        self._seats: dict[str, Seat] = {}
        self._takes: dict[int, Take] = {}
        self._banners: list[str] = []
        self._serial = 0
        self._now_s = 0.0
        for player in players:
            if player.id in self._seats:
                raise UsageError(f"two players have the id {player.id!r}: each needs its own")
            self._seats[player.id] = take_seat(player, self._instruments, lines)

    # -- what is heard -----------------------------------------------------

    def hear(self, heard: Heard, now_s: float) -> list[Event]:
        """Take in what a line's listener said.

        Readings and notes become events of their kind; a ``room`` event follows
        when the roll call moved, or a line's state or hum changed.
        """
        self._now_s = now_s
        if isinstance(heard, Level):
            return self._hear_level(heard)
        if isinstance(heard, Gap):
            self._takes.pop(heard.line, None)  # readings either side of a gap prove nothing
            return []
        return self._hear_pitch(heard)

    def _hear_pitch(self, heard: Reading | Note) -> list[Event]:
        kind: EventKind = "reading" if isinstance(heard, Reading) else "note"
        a4_hz = self.reference.a4_hz
        seats = [seat for seat in self._seats.values() if seat.player.line == heard.line]
        if not seats:
            return [Event(kind, f"line-{heard.line}", pitch_payload(heard, None, None, a4_hz))]
        before = self._takes.pop(heard.line, None)
        events, moved = [], False
        for found in attribute(heard.hz, seats, a4_hz):
            take = judge(heard, found, before, self.in_cents)
            payload = pitch_payload(heard, found, take, a4_hz)
            events.append(Event(kind, found.seat.player.id, payload))
            if isinstance(heard, Reading):
                found.seat.now, found.seat.now_at_s = payload, self._now_s
            if take is not None:
                self._takes[heard.line] = take
                counts = is_evidence(heard, take, before, self.in_cents)
                moved = self._note_down(found, take, counts) or moved
        return events + self._room_event(moved)

    def _note_down(self, found: Attribution, take: Take, counts: bool) -> bool:
        """Enter the pitch for the string, and for those of the same pitch.

        Two strings of one pitch cannot be told apart by it, so what is heard of
        one is heard of both; else their roll call could never complete.
        Returns whether the roll call moved.
        """
        if found.match is None:
            return False
        moved = False
        for number in (found.match.string, *found.match.also):
            state = found.seat.strings[number]
            roll = next_roll(state, take) if counts else state.roll
            moved = moved or roll != state.roll
            found.seat.strings[number] = StringState(
                cents=take.cents,
                uncertainty_cents=take.uncertainty_cents,
                verdict=take.verdict,
                roll=roll,
                heard_at_s=self._now_s,
            )
        return moved

    def _hear_level(self, level: Level) -> list[Event]:
        before = self._levels.get(level.line)
        if before is None:
            raise UsageError(f"line {level.line}: the input has lines 1 to {len(self._levels)}")
        hum = self._hums[level.line]
        hum_changed = hum.hear(level.hum_hz, level.hum_dbfs, self._now_s)
        self._levels[level.line] = LineLevel(
            level.line,
            level.rms_dbfs,
            level.peak_dbfs,
            level.dc,
            level.clipped,
            level.state,
            hum.hz,
            hum.dbfs,
        )
        changed = (before.state, before.clipped) != (level.state, level.clipped)
        return self._room_event(changed or hum_changed)

    # -- what people change ------------------------------------------------

    def set_reference(
        self, a4_hz: float, by: str, source: str, set_at: str, now_s: float | None = None
    ) -> list[Event]:
        """Agree on a reference; a new frequency resets everyone's roll call.

        The same frequency again changes only who agreed and on what ground.
        Raises ReferenceRangeError, and UsageError for unusable text.
        """
        new = Reference(check_a4(a4_hz), set_at, by, source)
        self._serial += 1
        if new.a4_hz != self.reference.a4_hz:
            self._takes.clear()
            for seat in self._seats.values():
                seat.forget()
        self.reference = new
        return self._room_event(True, now_s)

    def change_player(
        self, player_id: str, *, now_s: float | None = None, **changes: Any
    ) -> list[Event]:
        """Change a player's name, instrument, tuning, capo or line.

        A string whose pitch the change leaves alone keeps its place in the roll
        call. Raises UnknownPlayerError, and UsageError naming what is wrong;
        then nothing has changed.
        """
        seat = self._seat(player_id)
        new = changed_seat(seat, changes, self._instruments, len(self._levels))
        if new.player == seat.player:
            return []
        self._takes.pop(seat.player.line, None)
        self._seats[player_id] = new
        return self._room_event(True, now_s)

    def _seat(self, player_id: str) -> Seat:
        try:
            return self._seats[player_id]
        except KeyError:
            known = ", ".join(self._seats) or "none"
            raise UnknownPlayerError(
                f"player {player_id!r:.40} is not in this room: the players are {known}"
            ) from None

    # -- what the station says of itself -----------------------------------

    def set_station(self, now_s: float | None = None, **changes: Any) -> list[Event]:
        """Change what the station says of itself, by the names of `Station`."""
        if "addresses" in changes:
            changes["addresses"] = tuple(changes["addresses"])
        before, self.station = self.station, replace(self.station, **changes)
        return self._room_event(self.station != before, now_s)

    def set_input_state(
        self,
        state: str,
        device: str = "",
        reason: str | None = None,
        overruns: int = 0,
        restarts: int = 0,
        now_s: float | None = None,
    ) -> list[Event]:
        """Say whether the line input is ``listening``, ``waiting`` or ``failed``."""
        before = self.input
        self.input = InputStatus(state, device, reason, overruns, restarts)
        if state != "listening":
            self._takes.clear()
        return self._room_event(self.input != before, now_s)

    def set_lamp_state(
        self, state: str, reason: str | None = None, now_s: float | None = None
    ) -> list[Event]:
        """Say whether the lamps are ``lit`` or ``off``."""
        before, self.lamps = self.lamps, LampStatus(state, reason)
        return self._room_event(self.lamps != before, now_s)

    def add_banner(self, text: str, now_s: float | None = None) -> list[Event]:
        """Show a line of text on every page until it is removed; once, however often added."""
        if text in self._banners:
            return []
        self._banners.append(text)
        return self._room_event(True, now_s)

    def remove_banner(self, text: str, now_s: float | None = None) -> list[Event]:
        if text not in self._banners:
            return []
        self._banners.remove(text)
        return self._room_event(True, now_s)

    # -- what is shown and kept ----------------------------------------------

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """The whole room as JSON data; nothing in it changes afterwards."""
        a4_hz = self.reference.a4_hz
        return {
            "station": {
                **self.station.as_json(),
                "in_cents": self.in_cents,
                "input": asdict(self.input),
                "lamps": asdict(self.lamps),
                "banners": list(self._banners),
            },
            "reference": asdict(self.reference),
            "lines": [asdict(level) for level in self._levels.values()],
            "players": [s.snapshot(a4_hz, now_s, NOW_LASTS_S) for s in self._seats.values()],
            "roll_call": self.roll_call(),
        }

    def roll_call(self) -> dict[str, Any]:
        """How many strings are in, out and not heard; complete when all of at least one are in."""
        rolls = [state.roll for seat in self._seats.values() for state in seat.strings.values()]
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
        players = (seat.player for seat in self._seats.values())
        return {player.line for player in players if player.kind != "drums"}

    def state(self) -> dict[str, Any]:
        """What outlives a restart, as plain data for the store."""
        seats = self._seats.values()
        return {
            "reference": {"serial": self._serial, **asdict(self.reference)},
            "strings": [row for seat in seats for row in seat.string_states()],
            "players": [seat.state() for seat in seats],
        }

    def restore(self, state: Mapping[str, Any]) -> list[str]:
        """Take back a stored state; returns a line for each part that fits no more.

        Players the settings have no longer are left out, and an entry that was
        edited in the settings since counts more than what was stored for it.
        """
        stored = dict(state["reference"])
        self._serial = stored.pop("serial")
        self.reference = Reference(**stored)
        refused = []
        for row in state["players"]:
            seat = self._seats.get(row["id"])
            if seat is None:
                continue
            try:
                self._seats[row["id"]] = restored_seat(
                    seat, row, self._instruments, len(self._levels)
                )
            except StationError as error:
                refused.append(f"what was changed for {seat.player.name} is left out: {error}")
        for row in state["strings"]:
            if row["player"] in self._seats:
                self._seats[row["player"]].restore_string(row)
        return refused

    def _room_event(self, changed: bool, now_s: float | None = None) -> list[Event]:
        if now_s is not None:
            self._now_s = now_s
        return [Event("room", "room", self.snapshot(self._now_s))] if changed else []
