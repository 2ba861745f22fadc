"""What the page needs of a station for the string bench."""

from __future__ import annotations

from typing import Any, Protocol

from station.music.intonation import Against
from station.music.pairs import Way


class BenchAsks(Protocol):
    """The bench; raised are UnknownPlayerError, UsageError, NotNowError and what specialises
    them."""

    def open_strum(self, player_id: str) -> object:
        """Their line is listened to for strums, ten minutes at most."""

    def open_pair(
        self, player_id: str, pair: str, way: Way | None = None, hold: int | None = None
    ) -> object:
        """For two strings together; ``hold`` is the number of the one that stays."""

    def open_saddle(self, player_id: str, string: int, against: Against) -> object:
        """The notes of the player's line are taken for the saddle of that string."""

    def drop_saddle_note(self, player_id: str) -> object: ...
    def open_health(self, player_id: str, string: int) -> object:
        """That string's plucks are heard and held against its first day."""

    def new_strings(self, player_id: str) -> object: ...
    def close_bench(self, player_id: str) -> object: ...
    def tour(self, player_id: str) -> dict[str, Any]: ...
    def gauge(
        self,
        player_id: str,
        strings: dict[str, str],
        to: str = "",
        degrees: str = "",
        bending: bool = False,
    ) -> dict[str, Any]:
        """``strings``: gauges, scale, string, wrap, winding, empty where nothing is said."""

    def keep_set(self, player_id: str, strings: dict[str, str]) -> object: ...
