"""How far players turned their pegs, and what was learned of it."""

from __future__ import annotations

from flask import Flask, Response, jsonify

from station.web import fields
from station.web.facade import Station, off_loop


def add_peg_routes(app: Flask, station: Station) -> None:
    """Routes of a player's pegs; every change answers with what is known of them now."""

    def known(player_id: str) -> Response:
        return jsonify(off_loop(station.pegs, player_id))

    @app.get("/api/v1/players/<player_id>/pegs")
    def pegs(player_id: str) -> Response:
        return known(player_id)

    @app.post("/api/v1/players/<player_id>/pegs")
    def tell_peg(player_id: str) -> Response:
        body = fields.body_with("by", "string", "quarters")
        fields.short_text(body, "by")
        string, quarters = (
            fields.whole_number(body, "string", 1),
            fields.whole_number(body, "quarters", 0),
        )
        off_loop(station.tell_peg, player_id, string, quarters)
        return known(player_id)

    @app.put("/api/v1/players/<player_id>/pegs/asks")
    def ask_pegs(player_id: str) -> Response:
        body = fields.body_with("by", "asks")
        fields.short_text(body, "by")
        off_loop(station.ask_pegs, player_id, fields.yes_or_no(body, "asks"))
        return known(player_id)

    @app.post("/api/v1/players/<player_id>/pegs/forget")
    def forget_pegs(player_id: str) -> Response:
        body = fields.body_with("by", "string")
        fields.short_text(body, "by")
        told = body.get("string") is not None
        off_loop(
            station.forget_pegs, player_id, fields.whole_number(body, "string", 1) if told else None
        )
        return known(player_id)
