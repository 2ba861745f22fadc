"""The running order: its songs, and which one is on."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from station.asked.asking import Asking
from station.room.running_order import begin_song


class AskedSongs(Asking):
    """What people ask of the running order. ``by`` is a player's id or a name."""

    def songs(self) -> dict[str, Any]:
        """The whole running order."""
        return self._read(self.room.order.all_json)

    def songs_csv(self) -> str:
        """The same as a table."""
        return self._read(self.room.order.csv)

    def read_songs(
        self, by: str, revision: int | None = None, songs: object = None, csv: object = None
    ) -> None:
        """Take songs in the place of all; raises SongsError, NotNowError, UsageError."""
        self._order(by, lambda: self.room.order.read(revision, songs=songs, csv=csv))

    def add_song(self, by: str, song: object) -> None:
        """Raises SongsError."""
        self._order(by, lambda: self.room.order.add(song))

    def change_song(self, by: str, song_id: int, song: object) -> None:
        """Raises UnknownSongError and SongsError."""
        self._order(by, lambda: self.room.order.change(song_id, song))

    def move_song(self, by: str, song_id: int, to: int) -> None:
        """Raises UnknownSongError and UsageError."""
        self._order(by, lambda: self.room.order.move(song_id, to))

    def remove_song(self, by: str, song_id: int) -> None:
        """Raises UnknownSongError."""
        self._order(by, lambda: self.room.order.remove(song_id))

    def undo_songs(self, by: str) -> None:
        """The list as before its last change; raises NotNowError."""
        self._order(by, self.room.order.undo)

    def begin_song(self, by: str, song_id: int | None = None, after: int | None = None) -> None:
        """The next song, or another; raises UnknownSongError and NotNowError."""

        def change() -> Any:
            self.room.context.roster.who(by)
            return begin_song(self.room, song_id, time.monotonic(), after)

        self._change(change, save=True)

    def _order(self, by: str, change: Callable[[], object]) -> None:
        def checked() -> None:
            self.room.context.roster.who(by)
            change()

        self._change(lambda: self.room.change_part(checked, time.monotonic()), save=True)
