"""The page's application without a server around it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from station.web.app import create_app
from tests.support.fake_station import FakeStation
from tests.support.page_server import CODE


class ClosingClient(FlaskClient):
    """Reads each answer to its end and closes what it was read from."""

    def open(self, *args: Any, **settings: Any) -> TestResponse:
        return super().open(*args, buffered=True, **settings)


@pytest.fixture
def client(station: FakeStation) -> FlaskClient:
    app = create_app(station)
    app.test_client_class = ClosingClient
    return app.test_client()


@pytest.fixture
def post(client: FlaskClient) -> Callable[..., TestResponse]:
    """A change by POST, with the room code."""
    return lambda path, **body: client.post(f"/api/v1/{path}", json=body, headers=CODE)


@pytest.fixture
def put(client: FlaskClient) -> Callable[..., TestResponse]:
    """A change by PUT, with the room code."""
    return lambda path, **body: client.put(f"/api/v1/{path}", json=body, headers=CODE)
