"""Turns on a shared line, and what a player played last."""

from __future__ import annotations

from flask import Flask, Response, jsonify

from station.web import fields
from station.web.facade import Station, off_loop


def add_turn_routes(app: Flask, station: Station) -> None:
    """Routes of turns and of players' instruments."""

    def turns() -> Response:
        return jsonify(turns=off_loop(station.snapshot)["turns"])

    @app.post("/api/v1/players/<player_id>/turn")
    def take_turn(player_id: str) -> Response:
        fields.by()
        off_loop(station.take_turn, player_id)
        return turns()

    @app.post("/api/v1/players/<player_id>/turn/hand-on")
    def hand_on(player_id: str) -> Response:
        body = fields.body_with("by", "to")
        fields.short_text(body, "by")
        to = fields.short_text(body, "to") if body.get("to") is not None else None
        off_loop(station.hand_on, player_id, to)
        return turns()

    @app.get("/api/v1/players/<player_id>/setups")
    def setups(player_id: str) -> Response:
        return jsonify(setups=off_loop(station.setups, player_id))
