"""The room itself: read as a whole or as a stream of events; its players changed."""

from __future__ import annotations

from typing import Any

from flask import Flask, Response, jsonify, request

from station.web import fields
from station.web.events import EventStream, StreamTimes
from station.web.facade import Station, off_loop
from station.web.openapi import describe_api

OFFSET_WORDS = ("pure fifths", "none")


def add_room_routes(app: Flask, station: Station, times: StreamTimes) -> None:
    """Routes that read the room, and the one that changes a player."""

    @app.get("/api/v1/room")
    def room() -> Response:
        return jsonify(off_loop(station.snapshot))

    @app.get("/api/v1/instruments")
    def instruments() -> Response:
        return jsonify(off_loop(station.instruments))

    @app.get("/api/v1/events")
    def events() -> Response:
        if request.method == "HEAD":
            return Response(mimetype="text/event-stream")
        gone = request.environ.get("station.gone", lambda: False)
        player_id = request.args.get("player")
        snapshot = lambda: off_loop(station.snapshot)  # noqa: E731
        stream = EventStream(station.hub, snapshot, times, gone, player_id)
        response = Response(stream, mimetype="text/event-stream")
        response.call_on_close(stream.close)
        return response

    @app.get("/api/v1/openapi.json")
    def openapi() -> Response:
        return jsonify(describe_api())

    @app.get("/health")
    def health() -> Response:
        told = off_loop(station.snapshot)["station"]
        return jsonify(
            status="ok",
            version=told["version"],
            input=told["input"]["state"],
            streams=station.hub.streams,
            max_streams=station.hub.max_streams,
        )

    @app.put("/api/v1/players/<player_id>")
    def player(player_id: str) -> Response:
        off_loop(station.change_player, player_id, _player_changes())
        players = off_loop(station.snapshot)["players"]
        return jsonify(next(each for each in players if each["id"] == player_id))


def _player_changes() -> dict[str, Any]:
    body = fields.body_with("name", "instrument", "tuning", "capo", "offsets_cents")
    changes: dict[str, Any] = {
        key: fields.short_text(body, key) for key in ("name", "instrument", "tuning") if key in body
    }
    if "capo" in body:
        changes["capo"] = fields.whole_number(body, "capo")
    if "offsets_cents" in body:
        changes["offsets_cents"] = fields.offsets_cents(body, "offsets_cents", OFFSET_WORDS)
    return changes
