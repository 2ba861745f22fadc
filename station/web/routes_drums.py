"""Drums: a drummer's taps begin anew, or are held against what was tapped before."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.drums import CompareDamping, TapsNow
from station.web.models.words import By, PlayerAddress


def add_drum_routes(api: Api, station: Station) -> None:
    """Routes for what a drummer taps."""

    @api.post("/api/v1/players/<player_id>/taps/again", "Forget what a drummer tapped", TapsNow)
    def taps_again(path: PlayerAddress, body: By) -> Response:
        off_loop(station.start_taps_again, path.player_id, body.by)
        return taps_now(path.player_id)

    @api.post(
        "/api/v1/players/<player_id>/taps/damping",
        "Remember what was tapped before a change of damping, or forget it",
        TapsNow,
    )
    def compare_damping(path: PlayerAddress, body: CompareDamping) -> Response:
        off_loop(station.compare_damping, path.player_id, body.step == "remember")
        return taps_now(path.player_id)

    def taps_now(player_id: str) -> Response:
        players = off_loop(station.snapshot)["players"]
        return jsonify(taps=next(each["taps"] for each in players if each["id"] == player_id))
