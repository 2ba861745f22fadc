"""The running order: read, changed, imported, exported, and the song that is on."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api, telling
from station.web.facade import Station, off_loop
from station.web.models.songs import (
    MoveSong,
    NextSong,
    OrderNow,
    PutSong,
    PutSongs,
    SongAddress,
    Songs,
)
from station.web.models.words import By


def add_song_routes(api: Api, station: Station) -> None:
    """Routes of the running order; a change answers with the whole of it."""
    _add_list_routes(api, station)
    _add_single_routes(api, station)

    @api.post("/api/v1/songs/next", "The next song, or another", OrderNow)
    def next_song(body: NextSong) -> Response:
        off_loop(station.begin_song, body.by, body.song, body.after)
        return jsonify(order=off_loop(station.snapshot)["order"])


def _add_list_routes(api: Api, station: Station) -> None:
    @api.get("/api/v1/songs", "The running order", Songs)
    def songs() -> Response:
        return jsonify(off_loop(station.songs))

    table = telling(
        "RFC 4180: title, key, bass, notes, drums and a column for each player.", "text/csv"
    )

    @api.get("/api/v1/songs.csv", "The same as a table", table)
    def songs_csv() -> Response:
        answer = Response(off_loop(station.songs_csv), mimetype="text/csv")
        answer.headers["Content-Disposition"] = 'attachment; filename="running-order.csv"'
        return answer

    @api.put(
        "/api/v1/songs",
        "All songs anew, from a list or a table; all or, with a fault, nothing",
        Songs,
    )
    def read_songs(body: PutSongs) -> Response:
        off_loop(station.read_songs, body.by, body.revision, body.changes().get("songs"), body.csv)
        return jsonify(off_loop(station.songs))

    @api.post("/api/v1/songs/undo", "Take the last change back", Songs)
    def undo_songs(body: By) -> Response:
        off_loop(station.undo_songs, body.by)
        return jsonify(off_loop(station.songs))


def _add_single_routes(api: Api, station: Station) -> None:
    @api.post("/api/v1/songs", "Add a song at the end", Songs)
    def add_song(body: PutSong) -> Response:
        off_loop(station.add_song, body.by, body.changes()["song"])
        return jsonify(off_loop(station.songs))

    @api.put("/api/v1/songs/<song_id>", "Change a song", Songs)
    def change_song(path: SongAddress, body: PutSong) -> Response:
        off_loop(station.change_song, body.by, path.song_id, body.changes()["song"])
        return jsonify(off_loop(station.songs))

    @api.post("/api/v1/songs/<song_id>/move", "Move a song to a place, from 1", Songs)
    def move_song(path: SongAddress, body: MoveSong) -> Response:
        off_loop(station.move_song, body.by, path.song_id, body.to)
        return jsonify(off_loop(station.songs))

    @api.post("/api/v1/songs/<song_id>/remove", "Take a song out", Songs)
    def remove_song(path: SongAddress, body: By) -> Response:
        off_loop(station.remove_song, body.by, path.song_id)
        return jsonify(off_loop(station.songs))
