"""Turns on a shared line, and what each player played last."""

from __future__ import annotations

import time
from typing import Any

from station.asked.asking import Asking


class AskedTurns(Asking):
    """What people ask of the lines they share and of their instruments."""

    def take_turn(self, player_id: str) -> None:
        """Raises UnknownPlayerError and NotNowError."""
        now_s = time.monotonic()
        self._change(
            lambda: self.room.change_part(lambda: self.room.turns.take(player_id, now_s), now_s)
        )

    def hand_on(self, player_id: str, to: str | None = None) -> None:
        """Raises UnknownPlayerError, NotNowError, UsageError, NotAllowedError."""
        now_s = time.monotonic()
        self._change(
            lambda: self.room.change_part(
                lambda: self.room.turns.hand_on(player_id, now_s, to), now_s
            )
        )

    def setups(self, player_id: str) -> list[dict[str, Any]]:
        """What a player played last, the present setup first; raises UnknownPlayerError."""
        return self._read(lambda: self.room.members.setups(player_id))
