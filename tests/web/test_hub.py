import json
import threading

import pytest

from station.errors import StreamsFullError
from station.web.hub import READING_LIFE_S, ROOM_INTERVAL_S, Hub, encode_event


class Clock:
    def __init__(self):
        self.now_s = 100.0

    def __call__(self):
        return self.now_s


@pytest.fixture
def clock():
    return Clock()


def payloads(frames):
    lines = frames.decode().split("\n")
    return [json.loads(line.removeprefix("data: ")) for line in lines if line.startswith("data: ")]


def test_an_event_is_two_lines_and_a_blank_one_whatever_the_text_holds():
    frame = encode_event("note", {"name": "a\nb\r\nc\u2028"})

    assert frame.startswith(b"event: note\ndata: ")
    assert frame.endswith(b"\n\n")
    assert frame.count(b"\n") == 3 and b"\r" not in frame


def test_a_number_json_does_not_know_is_refused_where_it_is_published():
    hub = Hub()
    hub.subscribe(lambda: None)

    with pytest.raises(ValueError):
        hub.publish("reading", "tove", {"hz": float("nan")})


def test_a_mailbox_keeps_the_newest_of_each_kind_and_key(clock):
    hub = Hub(clock=clock)
    box = hub.subscribe(lambda: None)

    for number in range(5):
        hub.publish("reading", "tove", {"tove": number})
    hub.publish("reading", "brannock", {"brannock": 0})
    hub.publish("note", "tove", {"note": 0})

    assert payloads(box.take(clock())) == [{"tove": 4}, {"brannock": 0}, {"note": 0}]
    assert box.take(clock()) == b""


def test_a_mailbox_nobody_empties_does_not_grow(clock):
    hub = Hub(clock=clock)
    box = hub.subscribe(lambda: None)

    for number in range(10_000):
        hub.publish("reading", f"player {number % 8}", {"number": number})

    assert len(box) == 8


def test_a_reading_too_old_to_be_live_is_never_sent(clock):
    hub = Hub(clock=clock)
    box = hub.subscribe(lambda: None)
    hub.publish("reading", "tove", {"hz": 110.0})
    hub.publish("note", "tove", {"hz": 110.0, "ended": True})

    clock.now_s += READING_LIFE_S + 0.1

    assert payloads(box.take(clock())) == [{"hz": 110.0, "ended": True}]


def test_snapshots_are_spaced_out_and_the_newest_follows(clock):
    hub = Hub(clock=clock)
    box = hub.subscribe(lambda: None)
    hub.publish("room", "", {"number": 1})
    first = payloads(box.take(clock()))

    hub.publish("room", "", {"number": 2})
    hub.publish("room", "", {"number": 3})
    at_once = box.take(clock())
    wait_s = box.due_in_s(clock(), 60.0)
    clock.now_s += wait_s
    later = payloads(box.take(clock()))

    assert first == [{"number": 1}]
    assert at_once == b""
    assert wait_s == pytest.approx(ROOM_INTERVAL_S)
    assert later == [{"number": 3}]


def test_a_stream_too_many_is_refused_until_one_leaves():
    hub = Hub(max_streams=2)
    first = hub.subscribe(lambda: None)
    hub.subscribe(lambda: None)

    with pytest.raises(StreamsFullError, match="all 2 event streams"):
        hub.subscribe(lambda: None)
    hub.unsubscribe(first)
    hub.unsubscribe(first)
    hub.subscribe(lambda: None)

    assert hub.streams == 2


def test_many_threads_may_publish_while_a_stream_reads():
    hub = Hub()
    box = hub.subscribe(lambda: None)
    last = 500
    seen = {}

    def publish(name):
        for number in range(last + 1):
            hub.publish("note", name, {"name": name, "number": number})

    threads = [threading.Thread(target=publish, args=(f"player {n}",)) for n in range(4)]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads) or len(box):
        for payload in payloads(box.take(hub.clock())):
            assert payload["number"] > seen.get(payload["name"], -1)
            seen[payload["name"]] = payload["number"]
    for thread in threads:
        thread.join()

    assert seen == {f"player {n}": last for n in range(4)}


def test_the_bell_rings_once_for_each_message_and_only_when_somebody_listens():
    hub = Hub()
    rings = []
    hub.set_bell(lambda: rings.append("ring"))

    hub.publish("note", "tove", {})
    hub.subscribe(lambda: None)
    hub.publish("note", "tove", {})

    assert rings == ["ring"]
