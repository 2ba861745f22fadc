"""The box's own health on the page while a station runs: a weak supply, a hot board."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from station.box_health import HOT_C, ROOT, WEAK_SUPPLY, supply, temperature_c
from station.room.model import Event
from station.room.room import Room

LOOK_EVERY_S = 10.0
"""The board's driver keeps the alarm for two seconds (from memory): longer dips are not missed
often, and to look costs two small files."""
COOL_C = HOT_C - 5.0
"""A board is said to be hot until it is this cool: else the banner would come and go."""
WEAK_FOR_S = 120.0
"""How long a dip of the voltage is told: it lasts a moment, and nobody looks just then."""
HOT = (
    f"The box is hotter than {HOT_C:.0f} degrees Celsius and slows itself down:"
    " readings may come late. Give it air, or a heat sink."
)


class BoxWatch:
    """Looks now and then, and has `room` say what it found; `do` makes the change and tells it."""

    def __init__(
        self, room: Room, do: Callable[[Callable[[], list[Event]]], None], root: Path = ROOT
    ) -> None:
        self._room, self._do, self._root = room, do, root
        self._looked_at_s = float("-inf")
        self._weak_at_s = float("-inf")
        self._hot = False
        self._told: set[str] = set()

    def look(self, now_s: float) -> None:
        """Look if it is time; a box that does not say is taken for a healthy one."""
        if now_s - self._looked_at_s < LOOK_EVERY_S:
            return
        self._looked_at_s = now_s
        power = supply(self._root)
        if power is not None and power.low_now:
            self._weak_at_s = now_s
        degrees_c = temperature_c(self._root)
        self._hot = degrees_c is not None and degrees_c >= (COOL_C if self._hot else HOT_C)
        self._tell(WEAK_SUPPLY, now_s - self._weak_at_s < WEAK_FOR_S)
        self._tell(HOT, self._hot)

    def _tell(self, banner: str, holds: bool) -> None:
        if holds and banner not in self._told:
            self._told.add(banner)
            self._do(lambda: self._room.add_banner(banner))
        elif not holds and banner in self._told:
            self._told.remove(banner)
            self._do(lambda: self._room.remove_banner(banner))
