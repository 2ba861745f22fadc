"""An invented station's running order, turns and setups: there are none.

Tests of these have a real station with a real room (`tests.support.band_station`).
"""

from __future__ import annotations

from typing import Any

from station.errors import NotNowError


class FakeOrder:
    """The part of the facade about songs, turns and setups, of a band without any."""

    def order_snapshot(self) -> dict[str, Any]:
        nothing = {"place": None, "song": None, "coming": None, "ready": 0, "of": 0}
        order = {"revision": 0, "count": 0, **nothing, "players": {}}
        return {"order": order, "pegs": {}, "turns": [], "members": 0}

    def songs(self) -> dict[str, Any]:
        return {"revision": 0, "now": None, "undo": False, "songs": []}

    def songs_csv(self) -> str:
        return "title\r\n"

    def read_songs(self, *_: Any) -> None:
        raise NotNowError("this band plays without a running order")

    add_song = change_song = move_song = remove_song = undo_songs = begin_song = read_songs

    def setups(self, player_id: str) -> list[dict[str, Any]]:
        return []

    def pegs(self, player_id: str) -> dict[str, Any]:
        return {"asks": True, "strings": []}

    def tell_peg(self, player_id: str, string: int, quarters: int) -> None:
        raise NotNowError(f"string {string}: its peg is not asked about (any more)")

    def ask_pegs(self, player_id: str, wanted: bool) -> None:
        self.pegs(player_id)

    def forget_pegs(self, player_id: str, string: int | None = None) -> None:
        raise NotNowError("nothing is known of these pegs: there is nothing to forget")

    def take_turn(self, player_id: str) -> None:
        raise NotNowError(f"{player_id} shares no line: no turns are needed")

    def hand_on(self, player_id: str, to: str | None = None) -> None:
        raise NotNowError(f"{player_id} shares no line: no turns are needed")
