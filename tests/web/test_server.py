import json
import socket
import threading
import time
from contextlib import ExitStack

import pytest

from station.errors import PortTakenError
from station.web.app import create_app
from station.web.events import StreamTimes
from station.web.server import PageServer
from tests.support.page_client import ask, ask_raw, event_stream, wait_until
from tests.support.page_server import serve


def test_a_stream_begins_with_the_whole_room_and_goes_on_with_news(station, server):
    with event_stream(server.port) as stream:
        head = stream.start()
        first = stream.until("room")
        station.pluck("tove", 5, -20.0)
        reading = stream.until("reading")
        room = stream.until("room")

    assert head.status == 200
    assert head.headers["content-type"].startswith("text/event-stream")
    assert first["roll_call"]["out"] == 0
    assert reading["verdict"] == "tighten"
    assert room["roll_call"]["out"] == 1


def test_64_phones_are_served_and_the_65th_is_told_to_come_back(station, server):
    with ExitStack() as room:
        streams = [room.enter_context(event_stream(server.port)) for _ in range(64)]
        for stream in streams:
            stream.until("room")

        refused = ask(server.port, "/api/v1/events")
        page = ask(server.port, "/")
        health = ask(server.port, "/health")
        station.pluck("tove", 5, -20.0)
        heard = [stream.until("reading")["verdict"] for stream in streams]

    assert refused.status == 503
    assert int(refused.headers["retry-after"]) > 0
    assert list(refused.json) == ["error"]
    assert page.status == 200
    assert health.json["streams"] == 64
    assert heard == ["tighten"] * 64


def test_a_place_is_free_again_once_its_phone_has_left(station, server):
    with event_stream(server.port) as stream:
        stream.until("room")
        assert station.hub.streams == 1

    station.tell_room()

    wait_until(lambda: station.hub.streams == 0)


def test_a_phone_that_leaves_while_nothing_happens_is_noticed_at_a_heartbeat(station):
    with serve(station, StreamTimes(heartbeat_s=0.1)) as server:
        with event_stream(server.port) as stream:
            stream.until("room")

        wait_until(lambda: station.hub.streams == 0)


def test_a_silent_room_still_has_a_heartbeat(station):
    with (
        serve(station, StreamTimes(heartbeat_s=0.05)) as server,
        event_stream(server.port) as stream,
    ):
        stream.until("room")

        kinds = [kind for (kind, _), _ in zip(stream, range(3), strict=False)]

    assert kinds == ["heartbeat"] * 3


def test_a_stream_ends_with_its_lease_and_says_so(station):
    with (
        serve(station, StreamTimes(lease_s=0.2)) as server,
        event_stream(server.port) as stream,
    ):
        kinds = [kind for kind, _ in stream]

    assert kinds[0] == "room"
    assert kinds[-1] == "lease"
    assert station.hub.streams == 0


def test_a_stalled_phone_gets_the_present_and_not_the_whole_past(station):
    last = 600
    padding = "x" * 4000

    with (
        serve(station, StreamTimes(flush_s=0.0)) as server,
        event_stream(server.port, receive_buffer=4096) as stream,
    ):
        stream.until("room")
        waiting = []
        for number in range(last + 1):
            station.hub.publish("note", "tove", {"number": number, "padding": padding})
            waiting.append(max(len(box) for box in station.hub._boxes))
            time.sleep(0.001)
        heard = []
        while not heard or heard[-1] != last:
            heard.append(stream.until("note")["number"])

    assert max(waiting) == 1
    assert heard == sorted(heard)
    assert len(heard) < last / 2


def test_publishing_never_waits_for_a_stalled_phone(station, server):
    with event_stream(server.port, receive_buffer=4096) as stalled:
        stalled.start()
        done = threading.Event()

        def publish():
            for number in range(3000):
                station.hub.publish("note", "tove", {"number": number, "padding": "x" * 4000})
            done.set()

        threading.Thread(target=publish).start()

        assert done.wait(20)
        assert ask(server.port, "/health").status == 200


def test_a_phone_whose_connection_is_dead_is_freed_by_the_kernel(station):
    times = StreamTimes(flush_s=0.0, heartbeat_s=0.1)

    with (
        serve(station, times, user_timeout_s=0.5) as server,
        event_stream(server.port, receive_buffer=4096) as stream,
    ):
        stream.until("room")
        number = 0

        def gone():
            nonlocal number
            number += 1
            station.hub.publish("note", "tove", {"number": number, "padding": "x" * 4000})
            return station.hub.streams == 0

        wait_until(gone)


def test_connections_carry_the_ten_second_limit(station):
    listener = serve(station)._bind()
    with listener, socket.create_connection(listener.getsockname()) as phone:
        listener.setblocking(True)
        accepted, _ = listener.accept()
        with accepted:
            limit_ms = accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT)
            assert phone.getpeername() == accepted.getsockname()

    assert limit_ms == 10_000


@pytest.mark.parametrize(
    ("request_bytes", "status"),
    [
        (b"\x00\xff\xfe\r\n\r\n", 400),
        (b"hello\r\n\r\n", 400),
        (b"GET /\r\n\r\n", 400),
        (b"GET / HTTP/9.9\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: elsewhere.example.com\r\n\r\n", 403),
        (b"GET /" + b"a" * 9000 + b" HTTP/1.1\r\n\r\n", 414),
        (b"FISH / HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n\r\n", 405),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: -5\r\n\r\n", 400),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: ten\r\n\r\n", 400),
        (
            b"PUT /api/v1/reference HTTP/1.1\r\nHost: localhost\r\nX-Room-Code: oak-47\r\n"
            b"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
            400,
        ),
        (
            b"PUT /api/v1/reference HTTP/1.1\r\nHost: localhost\r\nX-Room-Code: oak-47\r\n"
            b"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
            b"5000\r\n" + b" " * 0x5000 + b"\r\n0\r\n\r\n",
            413,
        ),
    ],
)
def test_junk_on_the_wire_gets_one_line_of_json(server, request_bytes, status):
    answer = ask_raw(
        server.port, request_bytes.replace(b"HTTP/1.1\r\n", b"HTTP/1.1\r\nConnection: close\r\n")
    )

    assert answer.status == status
    assert answer.headers["content-type"] == "application/json"
    assert list(answer.json) == ["error"]
    assert "\n" not in answer.json["error"]
    assert ask(server.port, "/health").status == 200


def test_a_slow_station_does_not_hold_up_other_phones(station, server):
    slow = threading.Event()
    quick_snapshot = station.snapshot

    def set_reference(a4_hz, by, source):
        slow.wait(20)

    station.set_reference = set_reference
    answers = []
    body = json.dumps({"a4_hz": 441}).encode()
    headers = {"X-Room-Code": "oak-47", "Content-Type": "application/json"}
    asker = threading.Thread(
        target=lambda: answers.append(
            ask(server.port, "/api/v1/reference", "PUT", body, headers).status
        )
    )
    asker.start()

    meanwhile = ask(server.port, "/api/v1/room")
    slow.set()
    asker.join()

    assert meanwhile.json == quick_snapshot()
    assert answers == [200]


def test_what_keeps_the_page_from_being_served_is_raised_where_it_was_started(station, monkeypatch):
    def broken(*args, **options):
        raise MemoryError("no room for a server")

    monkeypatch.setattr("station.web.server.ConnectionServer", broken)
    server = serve(station)
    with pytest.raises(MemoryError, match="no room for a server"):
        server.start()
    server.stop()
    monkeypatch.undo()

    with PageServer(create_app(station), "127.0.0.1", server.port, station.hub) as second:
        assert ask(second.port, "/health").status == 200


def test_a_port_in_use_is_said_in_one_line(station, server):
    second = PageServer(create_app(station), "127.0.0.1", server.port, station.hub)

    with pytest.raises(PortTakenError, match=f"port {server.port} is in use"):
        second.start()


def test_an_address_that_is_not_ours_is_said_in_one_line(station):
    # TEST-NET-3 (RFC 5737): no machine has it.
    with pytest.raises(PortTakenError, match=r"cannot serve the page on 203\.0\.113\.1"):
        PageServer(create_app(station), "203.0.113.1", 0, station.hub).start()


def test_after_a_stop_the_port_is_free_and_a_new_server_serves_there(station):
    first = serve(station)
    first.start()
    with event_stream(first.port) as stream:
        stream.until("room")
        first.stop()
        rest = [kind for kind, _ in stream]

    with PageServer(create_app(station), "127.0.0.1", first.port, station.hub) as second:
        answered = ask(second.port, "/health").json

    assert rest == []
    assert answered["streams"] == 0
    assert not [thread for thread in threading.enumerate() if thread.name == "page"]
