"""The players: what they play, and what a drummer taps."""

from __future__ import annotations

import time
from typing import Any

from station.asked.asking import Asking


class AskedPlayers(Asking):
    """What people ask of players."""

    def change_player(self, player_id: str, changes: dict[str, Any]) -> None:
        """Change a player; raises UnknownPlayerError and UsageError."""
        self._change(
            lambda: self.room.change_player(player_id, now_s=time.monotonic(), **changes),
            save=True,
        )

    def start_taps_again(self, player_id: str, by: str) -> None:
        """Forget what a drummer tapped; raises UnknownPlayerError and UsageError."""
        self._change(lambda: self.room.start_taps_again(player_id, by, time.monotonic()))

    def instruments(self) -> dict[str, Any]:
        """Every instrument with its kind and the labels of its tunings."""
        return {
            key: {
                "label": instrument.label,
                "kind": instrument.kind,
                "tunings": {k: tuning.label for k, tuning in instrument.tunings.items()},
            }
            for key, instrument in self._instruments.items()
        }
