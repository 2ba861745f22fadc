"""Turns on a shared line, and what a player played last."""

from __future__ import annotations

from flask import Response, jsonify

from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.turns import HandOn, Setups, TurnsNow
from station.web.models.words import By, PlayerAddress

_BASE = "/api/v1/players/<player_id>"


def add_turn_routes(api: Api, station: Station) -> None:
    """Routes of turns and of players' instruments."""

    def turns() -> Response:
        return jsonify(turns=off_loop(station.snapshot)["turns"])

    @api.post(f"{_BASE}/turn", "Take the turn on a shared line, or wait for it", TurnsNow)
    def take_turn(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.take_turn, path.player_id)
        return turns()

    @api.post(f"{_BASE}/turn/hand-on", "Hand the turn on, or wait no longer", TurnsNow)
    def hand_on(path: PlayerAddress, body: HandOn) -> Response:
        off_loop(station.hand_on, path.player_id, body.to)
        return turns()

    @api.get(f"{_BASE}/setups", "What a player played last", Setups)
    def setups(path: PlayerAddress) -> Response:
        return jsonify(setups=off_loop(station.setups, path.player_id))
