"""Quiet by itself, where the settings want it."""

from __future__ import annotations

import time

from station.asked.tone import AskedTone
from station.room.quiet import AutoQuiet


class AskedQuiet(AskedTone):
    """Quiet on a button, on the page, and while the band plays."""

    _auto_quiet: AutoQuiet

    def _solve_evening(self) -> None:
        """Solve for what a player's strings have drifted, while others have the room."""
        work = self._read(lambda: self.room.evening.due(time.monotonic()))
        if work is None:
            return
        found = work.solve()
        if self._read(lambda: self.room.evening.take(work, found)):
            self._change(lambda: self.room.change_part(lambda: None, time.monotonic()))

    def _follow_evening(self) -> None:
        """Begin or end quiet with what the band does now; called after every change."""
        state = self._read(lambda: self.room.evening.doing)
        wanted = self._auto_quiet.step(state, self.room.station.quiet)
        if wanted is not None:
            self.set_quiet(wanted)
