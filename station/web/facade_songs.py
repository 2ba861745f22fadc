"""What the page needs of a station for the running order, for turns and for instruments."""

from __future__ import annotations

from typing import Any, Protocol


class SongAsks(Protocol):
    """The running order; raised are SongsError, UnknownSongError and NotNowError."""

    def songs(self) -> dict[str, Any]:
        """{"revision", "now": the id of the song that is on, "undo": bool, "songs": [...]}"""

    def songs_csv(self) -> str: ...
    def read_songs(
        self, by: str, revision: int | None = None, songs: object = None, csv: object = None
    ) -> object:
        """In the place of all, from a list or a table; all of it or nothing."""

    def add_song(self, by: str, song: object) -> object: ...
    def change_song(self, by: str, song_id: int, song: object) -> object: ...
    def move_song(self, by: str, song_id: int, to: int) -> object:
        """``to`` is a place, counted from 1."""

    def remove_song(self, by: str, song_id: int) -> object: ...
    def undo_songs(self, by: str) -> object: ...
    def begin_song(self, by: str, song_id: int | None = None, after: int | None = None) -> object:
        """The next one without ``song_id``; not again where another than ``after`` is on."""


class TurnAsks(Protocol):
    """Turns on a shared line, and what each player played last."""

    def take_turn(self, player_id: str) -> object:
        """At once, or when those before have had it."""

    def hand_on(self, player_id: str, to: str | None = None) -> object:
        """By who has the turn; or by who waits and does so no longer."""

    def setups(self, player_id: str) -> list[dict[str, Any]]: ...
