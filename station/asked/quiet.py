"""Quiet by itself, where the settings want it."""

from __future__ import annotations

from station.asked.tone import AskedTone
from station.room.quiet import AutoQuiet


class AskedQuiet(AskedTone):
    """Quiet on a button, on the page, and while the band plays."""

    _auto_quiet: AutoQuiet

    def _follow_evening(self) -> None:
        """Begin or end quiet with what the band does now; called after every change."""
        state = self._read(lambda: self.room.evening.doing)
        wanted = self._auto_quiet.step(state, self.room.station.quiet)
        if wanted is not None:
            self.set_quiet(wanted)
