"""All routes of the JSON API, and their description (OpenAPI 3.1), ``/api/v1/openapi.json``."""

from __future__ import annotations

import json
from functools import cache
from typing import Any, cast

from flask import Response

from station.web.api import Api, described
from station.web.events import StreamTimes
from station.web.facade import Station, off_loop
from station.web.routes_bench import add_bench_routes
from station.web.routes_drums import add_drum_routes
from station.web.routes_heads import add_head_routes
from station.web.routes_kit import add_kit_routes
from station.web.routes_measuring import add_measuring_routes, add_tone_routes
from station.web.routes_pegs import add_peg_routes
from station.web.routes_reference import add_reference_routes
from station.web.routes_room import add_room_routes
from station.web.routes_songs import add_song_routes
from station.web.routes_turns import add_turn_routes


def add_api_routes(api: Api, station: Station, times: StreamTimes) -> None:
    """Every area's routes, and the one that describes them all."""
    add_room_routes(api, station, times)
    add_reference_routes(api, station)
    add_measuring_routes(api, station)
    add_tone_routes(api, station)
    add_drum_routes(api, station)
    add_head_routes(api, station)
    add_kit_routes(api, station)
    add_song_routes(api, station)
    add_turn_routes(api, station)
    add_peg_routes(api, station)
    add_bench_routes(api, station)

    @api.get("/api/v1/openapi.json", "This description", DESCRIPTION)
    def openapi() -> Response:
        return Response(off_loop(_as_json), mimetype="application/json")


DESCRIPTION = {
    "description": "OpenAPI 3.1.",
    "content": {"application/json": {"schema": {"type": "object"}}},
}


def describe_api() -> dict[str, Any]:
    """The whole description as one JSON-ready object."""
    told: dict[str, Any] = json.loads(_as_json())
    return told


@cache
def _as_json() -> bytes:
    api = Api(described=True)
    add_api_routes(api, cast("Station", None), StreamTimes())  # described, not asked
    return json.dumps(described(api), ensure_ascii=False).encode()
