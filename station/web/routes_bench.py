"""The string bench: a strum, two strings together, the round of pairs, strings as wire."""

from __future__ import annotations

from flask import Response, jsonify

from station.room.bench_sets import KEYS
from station.web.api import Api
from station.web.facade import Station, off_loop
from station.web.models.bench import (
    BenchNow,
    Gauge,
    GaugeQuery,
    KeepSet,
    OpenHealth,
    OpenPair,
    OpenSaddle,
    Round,
)
from station.web.models.words import By, PlayerAddress

_BASE = "/api/v1/players/<player_id>/bench"


def add_bench_routes(api: Api, station: Station) -> None:
    """Routes of the bench; those that change something tell what the player has open."""
    _add_open_routes(api, station)

    @api.get(
        f"{_BASE}/tour",
        "The round of pairs of the player's tuning",
        Round,
        on_409="Not now.",
    )
    def tour(path: PlayerAddress) -> Response:
        return jsonify(off_loop(station.tour, path.player_id))

    @api.get(
        f"{_BASE}/gauge",
        "The player's strings as wire, with a set that is typed, kept or usual",
        Gauge,
        on_409="Not now.",
    )
    def gauge(path: PlayerAddress, query: GaugeQuery) -> Response:
        strings = {key: getattr(query, key) for key in KEYS}
        bending = query.bending == "yes"
        told = off_loop(station.gauge, path.player_id, strings, query.to, query.degrees, bending)
        return jsonify(told)

    @api.put(f"{_BASE}/set", "Keep the set that is on", Gauge)
    def keep_set(path: PlayerAddress, body: KeepSet) -> Response:
        strings = {key: getattr(body, key) for key in KEYS}
        off_loop(station.keep_set, path.player_id, strings)
        return jsonify(off_loop(station.gauge, path.player_id, {}))


def _add_open_routes(api: Api, station: Station) -> None:
    def bench(path: PlayerAddress) -> Response:
        told = off_loop(station.snapshot)["bench"]
        return jsonify(told=told["told"], open=told["open"].get(path.player_id))

    @api.post(f"{_BASE}/strum", "Listen for strums on the player's line", BenchNow)
    def open_strum(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.open_strum, path.player_id)
        return bench(path)

    @api.post(f"{_BASE}/pair", "Listen for two strings that sound together", BenchNow)
    def open_pair(path: PlayerAddress, body: OpenPair) -> Response:
        off_loop(station.open_pair, path.player_id, body.pair, body.way, body.hold)
        return bench(path)

    @api.post(f"{_BASE}/saddle", "Take the notes of a string for its saddle", BenchNow)
    def open_saddle(path: PlayerAddress, body: OpenSaddle) -> Response:
        off_loop(station.open_saddle, path.player_id, body.string, body.against)
        return bench(path)

    @api.post(f"{_BASE}/saddle/drop", "Leave out the last of the saddle's notes", BenchNow)
    def drop_saddle_note(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.drop_saddle_note, path.player_id)
        return bench(path)

    @api.post(f"{_BASE}/health", "Hear a string's plucks against its first day", BenchNow)
    def open_health(path: PlayerAddress, body: OpenHealth) -> Response:
        off_loop(station.open_health, path.player_id, body.string)
        return bench(path)

    @api.post(f"{_BASE}/new-strings", "New strings are on: their first day begins", BenchNow)
    def new_strings(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.new_strings, path.player_id)
        return bench(path)

    @api.post(f"{_BASE}/close", "Listen to it no more", BenchNow)
    def close_bench(path: PlayerAddress, body: By) -> Response:  # noqa: ARG001 -- who asks
        off_loop(station.close_bench, path.player_id)
        return bench(path)
