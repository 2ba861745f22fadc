"""How the invented station goes round drum heads: the room's own part, struck by a test."""

from __future__ import annotations

import threading
from abc import abstractmethod
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from station.asked.heads import AskedHeads
from station.measure.drums.types import Mode, Stroke
from station.music.tunings import load_instruments
from station.room.heads import Heads
from station.room.model import Event, Player
from station.room.parts import Context, Part, WantedEar
from station.room.roster import Roster
from station.web.hub import Hub

DRUMMER = Player("yorick", "Yorick", "drum-kit", line=4)
OTHER = Player("tove", "Tove", "guitar", line=1)


class FakeHeadRoom:
    """As much of a room as drum heads need; ``reference`` gives what holds now."""

    def __init__(self, reference: Callable[[], dict[str, Any]]) -> None:
        self.roster = Roster((DRUMMER, OTHER), load_instruments(), 4)
        self._reference = reference
        self.heads = Heads(
            Context(self.roster, lambda: reference()["a4_hz"], lambda: (), lambda: False)
        )
        self.parts: dict[str, Part] = {"heads": self.heads}

    @property
    def reference(self) -> Any:
        return SimpleNamespace(**self._reference())

    def change_part(self, change: Callable[[], object], now_s: float) -> list[Event]:
        change()
        return []


class FakeHeads(AskedHeads):
    """What people ask of heads, asked of an invented station."""

    hub: Hub
    heads_room: FakeHeadRoom
    _lock: threading.RLock

    @property
    def room(self) -> Any:  # type: ignore[override]
        return self.heads_room

    def _do(self, change: Callable[[], list[Event]]) -> None:
        with self._lock:
            events = change()
        for event in events:
            self.hub.publish(event.kind, event.key, event.payload)

    def _change(self, change: Callable[[], list[Event]], save: bool = False) -> None:
        self._do(change)
        self.tell_room()

    def _card_ppm(self) -> float:
        return 0.0

    @abstractmethod
    def tell_room(self) -> None: ...

    def tap_lug(self, at_s: float, modes: tuple[Mode, ...], verdict: str = "good") -> None:
        """One stroke beside a lug, as the ear tells it."""
        stroke = Stroke(
            DRUMMER.line,
            at_s,
            None,
            None,
            None,
            modes,
            None,
            verdict,
            None,
            False,  # type: ignore[arg-type]
        )
        wanted = WantedEar("strokes", DRUMMER.line)
        self._do(lambda: self.heads_room.heads.hear_ear(wanted, [stroke], at_s) or [])
