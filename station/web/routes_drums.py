"""Drums: a drummer's taps begin anew."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.drums import TapsNow
from station.web.models.words import By, PlayerAddress


def add_drum_routes(api: Api, station: Station) -> None:
    """Routes for what a drummer taps."""

    @api.post("/api/v1/players/<player_id>/taps/again", "Forget what a drummer tapped", TapsNow)
    def taps_again(path: PlayerAddress, body: By) -> Response:
        off_loop(station.start_taps_again, path.player_id, body.by)
        players = off_loop(station.snapshot)["players"]
        return jsonify(taps=next(each["taps"] for each in players if each["id"] == path.player_id))
