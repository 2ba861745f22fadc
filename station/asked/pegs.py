"""The pegs: how far they were turned, and what was learned of it."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from station.asked.asking import Asking


class AskedPegs(Asking):
    """What players say of their pegs."""

    def pegs(self, player_id: str) -> dict[str, Any]:
        """What is known of a player's pegs; raises UnknownPlayerError."""
        return self._read(lambda: self.room.pegs.told(player_id))

    def tell_peg(self, player_id: str, string: int, quarters: int) -> None:
        """Raises UnknownPlayerError, UsageError and NotNowError."""
        self._pegs(lambda: self.room.pegs.answer(player_id, string, quarters))

    def ask_pegs(self, player_id: str, wanted: bool) -> None:
        """Raises UnknownPlayerError."""
        self._pegs(lambda: self.room.pegs.ask(player_id, wanted))

    def forget_pegs(self, player_id: str, string: int | None = None) -> None:
        """Raises UnknownPlayerError and NotNowError."""
        self._pegs(lambda: self.room.pegs.forget(player_id, string))

    def _pegs(self, change: Callable[[], object]) -> None:
        self._change(lambda: self.room.change_part(change, time.monotonic()))
