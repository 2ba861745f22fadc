"""The running order: read, changed, imported, exported, and the song that is on."""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, jsonify

from station.errors import PageRequestError
from station.web import fields
from station.web.facade import Station, off_loop

_LONGEST_PLACE = 9999


def add_song_routes(app: Flask, station: Station) -> None:
    """Routes of the running order; a change answers with the whole of it."""
    _add_list_routes(app, station)
    _add_single_routes(app, station)

    @app.post("/api/v1/songs/next")
    def next_song() -> Response:
        body = fields.body_with("by", "song", "after")
        by = fields.short_text(body, "by")
        song, after = (
            fields.whole_number(body, key, 0) if body.get(key) is not None else None
            for key in ("song", "after")
        )
        off_loop(station.begin_song, by, song, after)
        return jsonify(order=off_loop(station.snapshot)["order"])


def _add_list_routes(app: Flask, station: Station) -> None:
    @app.get("/api/v1/songs")
    def songs() -> Response:
        return jsonify(off_loop(station.songs))

    @app.get("/api/v1/songs.csv")
    def songs_csv() -> Response:
        table = Response(off_loop(station.songs_csv), mimetype="text/csv")
        table.headers["Content-Disposition"] = 'attachment; filename="running-order.csv"'
        return table

    @app.put("/api/v1/songs")
    def read_songs() -> Response:
        body = fields.body_with("by", "revision", "songs", "csv")
        by = fields.short_text(body, "by")
        revision = fields.whole_number(body, "revision", 0) if "revision" in body else None
        off_loop(station.read_songs, by, revision, body.get("songs"), body.get("csv"))
        return jsonify(off_loop(station.songs))

    @app.post("/api/v1/songs/undo")
    def undo_songs() -> Response:
        by = fields.by()
        off_loop(station.undo_songs, by)
        return jsonify(off_loop(station.songs))


def _add_single_routes(app: Flask, station: Station) -> None:
    @app.post("/api/v1/songs")
    def add_song() -> Response:
        by, song = _by_and_song()
        off_loop(station.add_song, by, song)
        return jsonify(off_loop(station.songs))

    @app.put("/api/v1/songs/<song_id>")
    def change_song(song_id: str) -> Response:
        number = fields.path_id(song_id, "song")
        by, song = _by_and_song()
        off_loop(station.change_song, by, number, song)
        return jsonify(off_loop(station.songs))

    @app.post("/api/v1/songs/<song_id>/move")
    def move_song(song_id: str) -> Response:
        number = fields.path_id(song_id, "song")
        body = fields.body_with("by", "to")
        to = fields.whole_number(body, "to", 1)
        if to > _LONGEST_PLACE:
            raise PageRequestError(f"to is {to}: the most is {_LONGEST_PLACE}")
        off_loop(station.move_song, fields.short_text(body, "by"), number, to)
        return jsonify(off_loop(station.songs))

    @app.post("/api/v1/songs/<song_id>/remove")
    def remove_song(song_id: str) -> Response:
        number = fields.path_id(song_id, "song")
        by = fields.by()
        off_loop(station.remove_song, by, number)
        return jsonify(off_loop(station.songs))


def _by_and_song() -> tuple[str, Any]:
    body = fields.body_with("by", "song")
    return fields.short_text(body, "by"), body.get("song")
