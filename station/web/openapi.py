"""All routes of the JSON API, and their description (OpenAPI 3.1), ``/api/v1/openapi.json``."""

from __future__ import annotations

import json
import logging
import subprocess
import sys
import threading
from functools import cache
from typing import Any

from flask import Response

from station.errors import PageRequestError
from station.web.api import Api, telling
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

log = logging.getLogger(__name__)
MAKING_S = 60.0


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

    told = telling("OpenAPI 3.1.", "application/json")
    told["content"]["application/json"]["schema"] = {"type": "object"}

    @api.get("/api/v1/openapi.json", "This description", told, on_503="It cannot be made now.")
    def openapi() -> Response:
        return Response(off_loop(_as_json), mimetype="application/json")


def describe_api() -> dict[str, Any]:
    """The whole description as one JSON-ready object."""
    told: dict[str, Any] = json.loads(_as_json())
    return told


def _as_json() -> bytes:
    """Made once, by a process of its own: it leaves nothing behind in this one."""
    with _making:
        return _made()


_making = threading.Lock()


@cache
def _made() -> bytes:
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "station.web.description"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=MAKING_S,
            check=True,
        )
    except (subprocess.SubprocessError, OSError) as error:
        log.error("the description of the API was not made: %s", error)
        raise PageRequestError("the description of the API cannot be made now", 503) from error
    return done.stdout
