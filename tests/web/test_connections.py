import json
import socket
import threading
from contextlib import ExitStack

import pytest

from station.web.events import StreamTimes
from tests.support.fake_station import FakeStation
from tests.support.page_client import PATIENCE_S, ask, event_stream
from tests.support.page_server import serve

GET_HEALTH = b"GET /health HTTP/1.1\r\nHost: localhost\r\n\r\n"
CHANGE = (
    b"PUT /api/v1/reference HTTP/1.1\r\nHost: localhost\r\n"
    b"Content-Type: application/json\r\nContent-Length: 9000\r\n"
)


def connect(server, sent=b""):
    """An open connection on which ``sent`` was said."""
    connection = socket.create_connection(("127.0.0.1", server.port), timeout=PATIENCE_S)
    connection.sendall(sent)
    return connection


def read_to_the_end(connection):
    """All the server says until it closes the connection; times out when it does not."""
    told = b""
    while more := connection.recv(65536):
        told += more
    return told


def is_open(connection):
    connection.setblocking(False)
    try:
        return connection.recv(65536) != b""
    except BlockingIOError:
        return True
    except ConnectionError:
        return False


@pytest.fixture
def nobody_is_late(monkeypatch):
    """No connection is closed for asking nothing: longer than any test here waits."""
    monkeypatch.setattr("station.web.connections.REQUEST_TIME_S", 10 * PATIENCE_S)
    monkeypatch.setattr("station.web.connections.ANSWER_TIME_S", 10 * PATIENCE_S)


@pytest.mark.usefixtures("nobody_is_late")
def test_a_full_room_with_300_idle_connections_still_gets_answers(station, server):
    with ExitStack() as room:
        streams = [room.enter_context(event_stream(server.port)) for _ in range(64)]
        for stream in streams:
            stream.until("room")
        for _ in range(300):
            room.enter_context(connect(server))

        page = ask(server.port, "/")
        refused = ask(server.port, "/api/v1/events")
        health = ask(server.port, "/health")
        station.pluck("tove", 5, -20.0)
        heard = [stream.until("reading")["verdict"] for stream in streams]

    assert page.status == 200
    assert refused.status == 503
    assert int(refused.headers["retry-after"]) > 0
    assert health.json["streams"] == 64
    assert heard == ["tighten"] * 64


@pytest.mark.usefixtures("nobody_is_late")
def test_64_browsers_with_six_kept_alive_connections_each_are_all_answered(station):
    with serve(station, idle_s=10 * PATIENCE_S) as server, ExitStack() as room:
        browsers = [room.enter_context(connect(server, GET_HEALTH)) for _ in range(64 * 6)]
        heads = {browser.recv(15) for browser in browsers}

    assert heads == {b"HTTP/1.1 200 OK"}


def test_a_kept_alive_connection_serves_again_and_is_closed_when_nothing_is_asked(station):
    with serve(station, idle_s=0.3) as server, connect(server, GET_HEALTH) as phone:
        first = phone.recv(65536)
        phone.sendall(GET_HEALTH)
        rest = read_to_the_end(phone)

    assert first.startswith(b"HTTP/1.1 200 OK")
    assert rest.count(b"HTTP/1.1 200 OK") == 1


def test_a_stream_is_never_idle(station):
    times = StreamTimes(heartbeat_s=0.2)
    with (
        serve(station, times, idle_s=0.01) as server,
        event_stream(server.port) as stream,
    ):
        kinds = [kind for (kind, _), _ in zip(stream, range(4), strict=False)]

    assert kinds == ["room"] + ["heartbeat"] * 3


@pytest.mark.usefixtures("nobody_is_late")
@pytest.mark.parametrize("beginning", [b"", b"GET / HTTP/1.1\r\nHost: local"])
def test_who_never_finishes_asking_makes_room_the_longest_waiting_first(beginning):
    station = FakeStation(max_streams=2)

    with serve(station, spare_connections=40) as server, ExitStack() as room:
        streams = [room.enter_context(event_stream(server.port)) for _ in range(2)]
        for stream in streams:
            stream.until("room")
        slow = [room.enter_context(connect(server, beginning)) for _ in range(200)]

        health = ask(server.port, "/health")
        station.pluck("tove", 5, -20.0)
        heard = [stream.until("reading")["verdict"] for stream in streams]
        still_open = [is_open(each) for each in slow]

    assert health.json["streams"] == 2
    assert heard == ["tighten"] * 2
    assert 0 < sum(still_open) <= 40
    assert still_open == sorted(still_open)


def test_a_body_nobody_wants_is_not_waited_for(station):
    with (
        serve(station, idle_s=0.1) as server,
        connect(server, CHANGE + b"X-Room-Code: wrong\r\n\r\n{") as phone,
    ):
        told = read_to_the_end(phone)

    assert told.startswith(b"HTTP/1.1 403 ")


def busy_station(answering):
    """A station with two places, both taken by changes that last until ``end`` is set."""
    station = FakeStation(max_streams=1)
    begun, end = threading.Semaphore(0), threading.Event()

    def set_reference(a4_hz, by, source):
        begun.release()
        end.wait(PATIENCE_S)

    station.set_reference = set_reference
    server = answering.enter_context(serve(station, spare_connections=1))
    answering.callback(end.set)
    body = b'{"a4_hz": 441}'.ljust(9000)
    changes = [
        answering.enter_context(connect(server, CHANGE + b"X-Room-Code: oak-47\r\n\r\n" + body))
        for _ in range(2)
    ]
    for _ in changes:
        assert begun.acquire(timeout=PATIENCE_S)
    return server, changes, end


def test_when_all_places_are_being_answered_the_next_is_turned_away_at_once():
    with ExitStack() as answering:
        server, changes, end = busy_station(answering)

        with connect(server) as newcomer:
            told = read_to_the_end(newcomer)
        end.set()
        heads = [change.recv(15) for change in changes]

    head, _, body = told.partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 503 ")
    assert b"\r\nRetry-After: " in head
    assert list(json.loads(body)) == ["error"]
    assert heads == [b"HTTP/1.1 200 OK"] * 2


def test_an_answer_that_gets_nowhere_makes_room_when_all_places_are_taken(monkeypatch):
    monkeypatch.setattr("station.web.places.SLOW_ANSWER_S", 0.0)

    with ExitStack() as answering:
        server, changes, end = busy_station(answering)
        with connect(server, GET_HEALTH) as newcomer:
            answer = newcomer.recv(15)
            told = read_to_the_end(changes[0])
            end.set()
            other = changes[1].recv(15)

    assert answer == b"HTTP/1.1 200 OK"
    assert told == b""
    assert other == b"HTTP/1.1 200 OK"
