"""What every group of questions to a station rests on: one room, changed under one lock."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, TypeVar

from station.keeping import Change, Keeping
from station.lamps.lamps import Lamps
from station.music.tunings import Instrument
from station.room.model import Event
from station.room.room import Room
from station.sound.tone_out import ToneOutput

T = TypeVar("T")


def utc_now() -> str:
    """The wall clock as ISO 8601 text, for people to read only."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


class Asking(ABC):
    """What the running half of a station gives to the half that answers people."""

    room: Room
    keeping: Keeping
    tone_out: ToneOutput
    lamps: Lamps | None
    _instruments: Mapping[str, Instrument]

    @abstractmethod
    def _do(self, change: Change) -> None:
        """Make a change to the room and tell its events."""

    @abstractmethod
    def _change(self, change: Change, save: bool = False) -> None:
        """The same, with all that follows from it.

        What the band agrees on is durable before this returns; anything is with `save`.
        """

    def _read(self, read: Callable[[], T]) -> T:
        """What is read of the room while nothing changes in it."""
        told: list[T] = []

        def change() -> list[Event]:
            told.append(read())
            return []

        self._do(change)
        return told[0]

    @abstractmethod
    def _card_ppm(self) -> float:
        """How much faster than its name the tone's card runs, 0 where that is not known."""

    @abstractmethod
    def snapshot(self) -> dict[str, Any]:
        """The whole room as JSON data."""
