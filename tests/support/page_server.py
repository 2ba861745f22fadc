"""A server for a station's page, and the code that lets a request change the room."""

from __future__ import annotations

from typing import Any

from station.web.app import create_app
from station.web.events import StreamTimes
from station.web.server import PageServer
from tests.support.fake_station import FakeStation

CODE = {"X-Room-Code": "oak-47"}


def serve(station: FakeStation, times: StreamTimes | None = None, **settings: Any) -> PageServer:
    """The page of ``station``, not started yet, on a free port."""
    return PageServer(create_app(station, times), "127.0.0.1", 0, station.hub, **settings)
