"""Drums: a drummer's taps begin anew."""

from __future__ import annotations

from flask import Flask, Response, jsonify

from station.web import fields
from station.web.facade import Station, off_loop


def add_drum_routes(app: Flask, station: Station) -> None:
    """Routes for what a drummer taps."""

    @app.post("/api/v1/players/<player_id>/taps/again")
    def taps_again(player_id: str) -> Response:
        by = fields.by()
        off_loop(station.start_taps_again, player_id, by)
        players = off_loop(station.snapshot)["players"]
        return jsonify(taps=next(each["taps"] for each in players if each["id"] == player_id))
