"""Quiet by itself, where the settings want it."""

from __future__ import annotations

import time

from station.asked.tone import AskedTone
from station.room.quiet import AutoQuiet


class AskedQuiet(AskedTone):
    """Quiet on a button, on the page, and while the band plays."""

    _auto_quiet: AutoQuiet | None = None

    def _follow_evening(self) -> None:
        """Begin or end quiet with what the band does now; called after every change."""
        evening = self.room.parts.get("evening")
        if self._auto_quiet is None or evening is None:
            return
        told = self._read(lambda: evening.as_json(time.monotonic()))
        state = told.get("state") if isinstance(told, dict) else None
        wanted = self._auto_quiet.step(state, self.room.station.quiet)
        if wanted is not None:
            self.set_quiet(wanted)
