"""An invented station's string bench: nothing is open, and no set is known.

Tests of the bench have a real station with a real room (`tests.support.band_station`).
"""

from __future__ import annotations

from typing import Any

from station.errors import NotNowError


class FakeBench:
    """The part of the facade about the bench, of a band that has none."""

    def bench_snapshot(self) -> dict[str, Any]:
        return {"bench": {"told": 0, "open": {}}}

    def open_strum(self, player_id: str) -> None:
        raise NotNowError(f"{player_id} has no bench here")

    def open_pair(self, player_id: str, pair: str, way: Any = None, hold: Any = None) -> None:
        raise NotNowError(f"{player_id} has no bench here")

    def open_saddle(self, player_id: str, string: int, against: Any) -> None:
        raise NotNowError(f"{player_id} has no bench here")

    def drop_saddle_note(self, player_id: str) -> None:
        raise NotNowError(f"{player_id} has no bench here")

    def open_health(self, player_id: str, string: int) -> None:
        raise NotNowError(f"{player_id} has no bench here")

    def new_strings(self, player_id: str) -> None:
        raise NotNowError(f"{player_id} has no bench here")

    def close_bench(self, player_id: str) -> None:
        """Nothing is open."""

    def tour(self, player_id: str) -> dict[str, Any]:
        raise NotNowError(f"{player_id} has no bench here")

    def gauge(self, player_id: str, strings: dict[str, str], *_: Any) -> dict[str, Any]:
        raise NotNowError(f"{player_id} has no bench here")

    def keep_set(self, player_id: str, strings: dict[str, str]) -> None:
        raise NotNowError(f"{player_id} has no bench here")
