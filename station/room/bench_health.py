"""Every string's first day, and what today's plucks say beside it. Pure.

When a player says that the strings are new, what was known of that instrument's strings is
forgotten, and the next `FIRST_PLUCKS` plucks of each string are its first day. Nothing else ever
becomes one: a string that is old already would be found as it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from station.errors import StationError, UsageError
from station.measure.string_health import LEAST_PLUCKS, judge, state_of
from station.measure.string_health_types import Health, Pluck, StringState
from station.music.catalogue import OpenString
from station.room.model import clean_text
from station.room.seats import Seat

FIRST_PLUCKS = 5
PLUCKS_MAX = 8
INSTRUMENTS_MAX = 3
STRINGS_MAX = 24

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class FirstDay:
    """A string's first day: the note it was tuned to then, as a MIDI number, and its plucks."""

    midi: int
    state: StringState


@dataclass(slots=True)
class StringsOn:
    """The strings on one instrument: since when, and the first day of those known."""

    since: str
    first: dict[int, FirstDay] = field(default_factory=dict)


class Days:
    """The strings each player has on each instrument, with their first days."""

    def __init__(self) -> None:
        self._on: dict[str, dict[str, StringsOn]] = {}

    def of(self, seat: Seat) -> StringsOn | None:
        """The strings on the player's present instrument; None until they were said to be new."""
        return self._on.get(seat.player.id, {}).get(seat.player.instrument)

    def begin(self, seat: Seat, at: str) -> None:
        """New strings are on; what was known of those before is forgotten."""
        mine = {**self._on.get(seat.player.id, {})}
        mine.pop(seat.player.instrument, None)
        newest = list(mine.items())[-(INSTRUMENTS_MAX - 1) :]
        self._on[seat.player.id] = dict([*newest, (seat.player.instrument, StringsOn(at))])

    def state(self) -> Data:
        return {
            player: {
                instrument: {
                    "since": on.since,
                    "first": {
                        str(number): {"midi": day.midi, "state": _short(day.state.to_plain())}
                        for number, day in on.first.items()
                    },
                }
                for instrument, on in instruments.items()
            }
            for player, instruments in self._on.items()
        }

    def restore(self, stored: Any, players: frozenset[str]) -> list[str]:
        """Take back what was stored; a line for each that cannot be read."""
        if not isinstance(stored, dict):
            return [] if stored is None else ["the strings' first days cannot be read"]
        refused: list[str] = []
        for player, instruments in stored.items():
            if player not in players or not isinstance(instruments, dict):
                continue
            for instrument, plain in list(instruments.items())[:INSTRUMENTS_MAX]:
                try:
                    on = _strings_on(plain)
                except (StationError, TypeError, ValueError, OverflowError) as error:
                    told = " ".join(str(error).split())
                    refused.append(f"first days of {player!r:.40}'s strings are lost: {told:.90}")
                    continue
                self._on.setdefault(player, {})[str(instrument)[:40]] = on
        return refused


def _short(plain: Any) -> Any:
    """Plain data with as many digits as mean something."""
    if isinstance(plain, float):
        return float(f"{plain:.6g}")
    if isinstance(plain, list):
        return [_short(each) for each in plain]
    if isinstance(plain, dict):
        return {key: _short(each) for key, each in plain.items()}
    return plain


def _strings_on(plain: Any) -> StringsOn:
    if not isinstance(plain, dict) or not isinstance(plain.get("first"), dict):
        raise UsageError("it is no set of strings")
    on = StringsOn(clean_text(plain.get("since", ""), "since"))
    for number, day in list(plain["first"].items())[:STRINGS_MAX]:
        if not isinstance(day, dict) or type(day.get("midi")) is not int:
            raise UsageError("a first day has no note")
        state = StringState.from_plain(day.get("state"))
        if not LEAST_PLUCKS <= len(state.plucks) <= PLUCKS_MAX:
            raise UsageError(f"a first day of {len(state.plucks)} plucks")
        on.first[int(number)] = FirstDay(day["midi"], state)
    return on


@dataclass(slots=True)
class TodaysPlucks:
    """What is plucked of one string now; ``found`` are this day's verdicts by string."""

    string: OpenString
    plucks: list[Pluck] = field(default_factory=list)

    def hear(self, pluck: Pluck, on: StringsOn | None) -> bool:
        """Take a pluck; whether it made the string's first day complete."""
        self.plucks = [*self.plucks, pluck][-PLUCKS_MAX:]
        if on is None or self.string.number in on.first or len(self.plucks) < FIRST_PLUCKS:
            return False
        on.first[self.string.number] = FirstDay(self.string.midi, state_of(self.plucks))
        self.plucks = []
        return True

    def as_json(self, on: StringsOn | None, found: Mapping[int, Health]) -> Data:
        """The plucks counted, the verdict with its reasons, and which strings have a first day."""
        day = None if on is None else on.first.get(self.string.number)
        told: Data = {
            "string": self.string.number,
            "note": self.string.note,
            "since": None if on is None else on.since,
            "plucks": len(self.plucks),
            "wanted": FIRST_PLUCKS if on is not None and day is None else LEAST_PLUCKS,
            "first_plucks": 0 if day is None else len(day.state.plucks),
            "known": [] if on is None else sorted(on.first),
            "found": {str(number): word for number, word in sorted(found.items())},
            "health": None,
            "why": [],
        }
        if day is None or len(self.plucks) < LEAST_PLUCKS:
            return told
        if day.midi != self.string.midi:
            why = "its first day was in another tuning: a string at another pull rings otherwise"
            return {**told, "health": "cannot be told", "why": [why]}
        said = judge(day.state, StringState(tuple(self.plucks)))
        return {**told, "health": said.health, "why": list(said.why)}
