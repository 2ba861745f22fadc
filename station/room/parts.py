"""What a room does besides holding reference and players, a part for each. Pure.

A part hears what the room hears, shows its own key of the snapshot, and keeps what should
outlive a restart. It knows the others only by its `Context`. Parts are named in `PARTS`
of `station.room.room`, and by that name in the snapshot and on storage.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from station.measure.types import Heard
from station.room.model import Event
from station.room.roster import Roster

EarKind = Literal["strokes", "strum", "beats", "plucks"]


@dataclass(frozen=True, slots=True)
class WantedEar:
    """An ear that a part wants on a line (from 1) beside its listener.

    ``how`` is what the ear has to know, such as the strings it is to find; another ``how``
    is another ear, which begins anew.
    """

    kind: EarKind
    line: int
    how: Hashable = None


@dataclass(frozen=True, slots=True)
class Context:
    """What a part may ask of the room at any time."""

    roster: Roster
    a4_hz: Callable[[], float]
    present: Callable[[], Collection[str]]
    """Ids of the players whose phones are here."""
    quiet: Callable[[], bool]


class Part:
    """A part that hears, shows and keeps nothing; what a real one does it overrides.

    Methods that take time or sound in return whether the snapshot has changed. ``changes``
    is another number whenever something changed that should be on storage at once.
    """

    changes = 0

    def __init__(self, context: Context) -> None:
        self.context = context

    def hear(self, heard: Heard, now_s: float) -> bool:  # noqa: ARG002
        """Take in what a line's listener said."""
        return False

    def hear_ear(self, wanted: WantedEar, told: Sequence[Any], now_s: float) -> list[Event] | None:  # noqa: ARG002
        """Take in what an ear of this part, or another's, told.

        None from a part it does not concern. Whatever the part tells its subscribers by
        events of its own it returns; a ``room`` event follows by `tick` or a change.
        """
        return None

    def wanted_ears(self) -> set[WantedEar]:
        """The ears this part wants now."""
        return set()

    def tick(self, now_s: float) -> bool:  # noqa: ARG002
        """Let time pass."""
        return False

    def reference_changed(self) -> None:
        """A new A4 holds."""

    def players_changed(self) -> None:
        """Somebody's instrument, tuning, line or offsets changed."""

    def as_json(self, now_s: float) -> Any:  # noqa: ARG002
        """The part's key in the snapshot."""
        return None

    def state(self) -> Any:
        """What outlives a restart, as plain data."""
        return None

    def restore(self, stored: Any) -> list[str]:  # noqa: ARG002
        """Take back what was stored; a line for each thing that fits no more. Never raises."""
        return []
