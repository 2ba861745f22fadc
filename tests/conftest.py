"""What tests of more than one package share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from station.web.app import create_app
from station.web.server import PageServer
from tests.support.fake_station import FakeStation
from tests.support.processes import no_child_left


@pytest.fixture
def no_process_survives() -> Iterator[None]:
    """Whatever a test starts it ends; what is left is killed and fails the test."""
    with no_child_left():
        yield


@pytest.fixture
def station() -> FakeStation:
    """An invented station."""
    return FakeStation()


@pytest.fixture
def server(station: FakeStation) -> Iterator[PageServer]:
    """Its page, on a free port."""
    with PageServer(create_app(station), "127.0.0.1", 0, station.hub) as running:
        yield running
