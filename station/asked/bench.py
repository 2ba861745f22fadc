"""The string bench: what a player opens there, and the strings they have on."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from station.asked.asking import Asking, utc_now
from station.music.intonation import Against
from station.music.pairs import Way
from station.room.bench_sets import read_set


class AskedBench(Asking):
    """What people ask of the bench; each raises UnknownPlayerError, UsageError, NotNowError."""

    def open_strum(self, player_id: str) -> None:
        """All strings of one strum, until closed."""
        now_s = time.monotonic()
        self._bench(lambda: self.room.bench.open_strum(player_id, now_s))

    def open_pair(
        self, player_id: str, pair: str, way: Way | None = None, hold: int | None = None
    ) -> None:
        """Two strings together; raises PairError, too."""
        now_s = time.monotonic()
        self._bench(lambda: self.room.bench.open_pair(player_id, pair, now_s, way, hold))

    def open_saddle(self, player_id: str, string: int, against: Against) -> None:
        """The saddle of one string; raises TuningError for a string there is not."""
        now_s = time.monotonic()
        self._bench(lambda: self.room.bench.open_saddle(player_id, string, against, now_s))

    def drop_saddle_note(self, player_id: str) -> None:
        """The last note was none of the saddle's."""
        self._bench(lambda: self.room.bench.drop_note(player_id))

    def open_health(self, player_id: str, string: int) -> None:
        """One string's plucks; raises TuningError for a string there is not."""
        now_s = time.monotonic()
        self._bench(lambda: self.room.bench.open_health(player_id, string, now_s))

    def new_strings(self, player_id: str) -> None:
        """The player has put new strings on."""
        self._bench(lambda: self.room.bench.new_strings(player_id, utc_now()), save=True)

    def close_bench(self, player_id: str) -> None:
        """Listen to it no more."""
        self._bench(lambda: self.room.bench.close(player_id))

    def tour(self, player_id: str) -> dict[str, Any]:
        """The round of pairs of the player's tuning."""
        return self._read(lambda: self.room.bench.tour(player_id))

    def gauge(
        self,
        player_id: str,
        strings: dict[str, str],
        to: str = "",
        degrees: str = "",
        bending: bool = False,
    ) -> dict[str, Any]:
        """The player's strings as wire; raises WireError and TuningError."""
        wanted = read_set(strings)
        return self._read(lambda: self.room.bench.gauge(player_id, wanted, to, degrees, bending))

    def keep_set(self, player_id: str, strings: dict[str, str]) -> None:
        """The set the player has on; raises WireError."""
        wanted = read_set(strings)
        self._bench(lambda: self.room.bench.keep_set(player_id, wanted), save=True)

    def _bench(self, change: Callable[[], object], save: bool = False) -> None:
        self._change(lambda: self.room.change_part(change, time.monotonic()), save=save)
