"""A bare HTTP client for the page's tests: one request, or one event stream, by hand."""

from __future__ import annotations

import http.client
import json
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

PATIENCE_S = 20.0


def one_line(told: Any) -> str:
    """The line a refusal tells; fails for anything else."""
    assert list(told) == ["error"]
    line: str = told["error"]
    assert line and "\n" not in line
    return line


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def ask(
    port: int,
    path: str,
    method: str = "GET",
    body: bytes | None = None,
    headers: dict[str, str] | None = None,
) -> Answer:
    """One request on a connection of its own."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
    try:
        connection.request(method, path, body, headers or {})
        response = connection.getresponse()
        told = {name.lower(): value for name, value in response.getheaders()}
        return Answer(response.status, told, response.read())
    finally:
        connection.close()


def change(port: int, path: str, body: Any, code: str = "oak-47", method: str = "POST") -> Answer:
    """One change with the room code, as the page sends it."""
    headers = {"Content-Type": "application/json", "X-Room-Code": code}
    return ask(port, path, method, json.dumps(body).encode(), headers)


def ask_raw(port: int, request: bytes) -> Answer:
    """Send bytes as they are and read the whole answer."""
    with socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S) as connection:
        connection.sendall(request)
        response = http.client.HTTPResponse(connection)
        response.begin()
        told = {name.lower(): value for name, value in response.getheaders()}
        return Answer(response.status, told, response.read())


class EventReader:
    """An open event stream; iterating gives (kind, payload).

    With ``player`` it is the stream of that player's phone, else a screen's.
    """

    def __init__(
        self, port: int, receive_buffer: int | None = None, player: str | None = None
    ) -> None:
        self.socket = socket.socket()
        if receive_buffer is not None:
            self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        self.socket.settimeout(PATIENCE_S)
        self.socket.connect(("127.0.0.1", port))
        # HTTP/1.0 keeps the body free of chunk headers.
        whose = "" if player is None else f"?player={quote(player)}"
        head = f"GET /api/v1/events{whose} HTTP/1.0\r\nHost: localhost\r\n\r\n"
        self.socket.sendall(head.encode())
        self._file = self.socket.makefile("rb")
        self._started = False

    def start(self) -> Answer:
        """Read the response's head."""
        status = int(self._file.readline().split()[1])
        headers = {}
        while (line := self._file.readline().strip()) != b"":
            name, _, value = line.decode().partition(": ")
            headers[name.lower()] = value
        self._started = True
        return Answer(status, headers, b"")

    def __iter__(self) -> Iterator[tuple[str, Any]]:
        if not self._started:
            self.start()
        kind = ""
        for line in self._file:
            name, _, value = line.decode().rstrip("\n").partition(": ")
            if name == "event":
                kind = value
            elif name == "data":
                yield kind, json.loads(value)

    def until(self, wanted: str) -> Any:
        """The payload of the next event of this kind."""
        for kind, payload in self:
            if kind == wanted:
                return payload
        raise AssertionError(f"the stream ended before a {wanted!r} event")

    def close(self) -> None:
        self._file.close()
        self.socket.close()


@contextmanager
def event_stream(
    port: int, receive_buffer: int | None = None, player: str | None = None
) -> Iterator[EventReader]:
    reader = EventReader(port, receive_buffer, player)
    try:
        yield reader
    finally:
        reader.close()


def wait_until(holds: Callable[[], object], look_every_s: float = 0.02) -> None:
    """Return as soon as ``holds()``; fail when it does not within the patience."""
    deadline = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < deadline, "it did not happen"
        time.sleep(look_every_s)
