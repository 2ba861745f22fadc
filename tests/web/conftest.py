"""A page around an invented station, on a free port."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from station.web.app import create_app
from station.web.server import PageServer
from tests.support.fake_station import FakeStation


@pytest.fixture
def station() -> FakeStation:
    return FakeStation()


@pytest.fixture
def server(station: FakeStation) -> Iterator[PageServer]:
    with PageServer(create_app(station), "127.0.0.1", 0, station.hub) as running:
        yield running
