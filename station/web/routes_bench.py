"""The string bench: a strum, two strings together, the round of pairs, strings as wire."""

from __future__ import annotations

from typing import Any, get_args

from flask import Flask, Response, jsonify, request

from station.errors import PageRequestError
from station.music.intonation import Against
from station.music.pairs import Way
from station.room.bench_sets import KEYS, TEXT_MAX
from station.web import fields
from station.web.facade import Station, off_loop

WAYS = tuple(each for each in get_args(Way) if each != "lines")


def add_bench_routes(app: Flask, station: Station) -> None:
    """Routes of the bench; those that change something tell what the player has open."""
    base = "/api/v1/players/<player_id>/bench"

    def bench(player_id: str) -> Response:
        told = off_loop(station.snapshot)["bench"]
        return jsonify(told=told["told"], open=told["open"].get(player_id))

    @app.post(f"{base}/strum")
    def open_strum(player_id: str) -> Response:
        fields.by()
        off_loop(station.open_strum, player_id)
        return bench(player_id)

    @app.post(f"{base}/pair")
    def open_pair(player_id: str) -> Response:
        body = fields.body_with("pair", "way", "hold", "by")
        pair = fields.short_text(body, "pair")
        way = fields.one_of(body, "way", WAYS) if body.get("way") is not None else None
        hold = fields.whole_number(body, "hold", 1) if body.get("hold") is not None else None
        off_loop(station.open_pair, player_id, pair, way, hold)
        return bench(player_id)

    @app.post(f"{base}/saddle")
    def open_saddle(player_id: str) -> Response:
        body = fields.body_with("string", "against", "by")
        string = fields.whole_number(body, "string", 1)
        against = fields.one_of(body, "against", get_args(Against))
        off_loop(station.open_saddle, player_id, string, against)
        return bench(player_id)

    @app.post(f"{base}/saddle/drop")
    def drop_saddle_note(player_id: str) -> Response:
        fields.by()
        off_loop(station.drop_saddle_note, player_id)
        return bench(player_id)

    @app.post(f"{base}/health")
    def open_health(player_id: str) -> Response:
        string = fields.whole_number(fields.body_with("string", "by"), "string", 1)
        off_loop(station.open_health, player_id, string)
        return bench(player_id)

    @app.post(f"{base}/new-strings")
    def new_strings(player_id: str) -> Response:
        fields.by()
        off_loop(station.new_strings, player_id)
        return bench(player_id)

    @app.post(f"{base}/close")
    def close_bench(player_id: str) -> Response:
        fields.by()
        off_loop(station.close_bench, player_id)
        return bench(player_id)

    @app.get(f"{base}/tour")
    def tour(player_id: str) -> Response:
        return jsonify(off_loop(station.tour, player_id))

    @app.get(f"{base}/gauge")
    def gauge(player_id: str) -> Response:
        strings = {key: _asked(key) for key in KEYS}
        to, degrees, bending = _asked("to"), _asked("degrees"), _asked("bending")
        return jsonify(off_loop(station.gauge, player_id, strings, to, degrees, bending == "yes"))

    @app.put(f"{base}/set")
    def keep_set(player_id: str) -> Response:
        body = fields.body_with(*KEYS, "by")
        strings = _strings(body)
        off_loop(station.keep_set, player_id, strings)
        return jsonify(off_loop(station.gauge, player_id, {}))


def _asked(key: str) -> str:
    """What the address says; nothing where it says nothing."""
    text = request.args.get(key, "")
    if len(text) > TEXT_MAX or not (text == "" or text.isprintable()):
        raise PageRequestError(f"{key} must be at most {TEXT_MAX} printable characters")
    return text


def _strings(body: dict[str, Any]) -> dict[str, str]:
    found = {}
    for key in KEYS:
        value = body.get(key, "")
        if not isinstance(value, str) or len(value) > TEXT_MAX:
            raise PageRequestError(f"{key} must be text of at most {TEXT_MAX} characters")
        found[key] = value
    return found
