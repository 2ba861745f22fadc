import threading

import pytest

from station.errors import StreamsFullError
from station.web.events import StreamTimes
from station.web.hub import Hub
from station.web.presence import Presence
from tests.support.page_client import PATIENCE_S, ask, event_stream, wait_until
from tests.support.page_server import serve


def test_a_player_with_several_phones_is_present_once_until_the_last_leaves():
    presence = Presence()

    presence.enter("phone", "tove")
    presence.enter("tablet", "tove")
    presence.enter("other", "ilse")
    presence.leave("phone")
    with_one_left = presence.players()
    presence.leave("tablet")

    assert with_one_left == ["tove", "ilse"]
    assert presence.players() == ["ilse"]


def test_the_listener_hears_the_whole_list_and_only_when_it_is_another():
    presence, told = Presence(), []
    presence.listen(told.append)

    presence.enter("phone", "tove")
    wait_until(lambda: told == [["tove"]])
    presence.enter("tablet", "tove")
    presence.leave("phone")
    presence.leave("a stream that never counted")
    presence.enter("other", "ilse")
    wait_until(lambda: len(told) == 2)

    assert told == [["tove"], ["tove", "ilse"]]


def test_a_listener_that_comes_later_hears_who_is_here():
    presence, told = Presence(), []
    presence.enter("phone", "tove")

    presence.listen(told.append)

    wait_until(lambda: told == [["tove"]])


def test_a_slow_listener_holds_nobody_up_and_hears_the_newest_last():
    presence, told, go_on = Presence(), [], threading.Event()

    def listen(players):
        told.append(players)
        go_on.wait(PATIENCE_S)

    presence.listen(listen)
    presence.enter("phone", "tove")
    wait_until(lambda: told)
    for number in range(50):
        presence.enter(number, f"player {number}")
        presence.leave(number)
    presence.enter("other", "ilse")
    before = list(told)
    go_on.set()
    wait_until(lambda: len(told) == 2)

    assert before == [["tove"]]
    assert told == [["tove"], ["tove", "ilse"]]


def test_who_left_and_came_back_while_the_listener_was_busy_is_no_news():
    presence, told, go_on = Presence(), [], threading.Event()

    def listen(players):
        told.append(players)
        go_on.wait(PATIENCE_S)

    presence.listen(listen)
    presence.enter("phone", "tove")
    wait_until(lambda: told)
    presence.leave("phone")
    presence.enter("phone anew", "tove")
    go_on.set()
    presence.enter("other", "ilse")
    wait_until(lambda: len(told) == 2)

    assert told == [["tove"], ["tove", "ilse"]]


def test_a_listener_that_fails_is_logged_and_hears_the_next_change(caplog):
    presence, told = Presence(), []

    def listen(players):
        told.append(players)
        if len(told) == 1:
            raise OSError("the card is gone")

    presence.listen(listen)
    presence.enter("phone", "tove")
    wait_until(lambda: "the card is gone" in caplog.text)
    presence.leave("phone")

    wait_until(lambda: told == [["tove"], []])


def test_many_threads_may_come_and_go_and_the_last_word_is_right():
    presence, told = Presence(), []
    presence.listen(told.append)

    def come_and_go(name):
        for number in range(200):
            presence.enter((name, number), name)
            presence.leave((name, number))
        presence.enter(name, name)

    names = [f"player {number}" for number in range(4)]
    threads = [threading.Thread(target=come_and_go, args=(name,)) for name in names]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    wait_until(lambda: told and sorted(told[-1]) == names)


def test_a_stream_that_is_refused_makes_nobody_present():
    hub = Hub(max_streams=0)

    with pytest.raises(StreamsFullError):
        hub.subscribe(lambda: None)

    assert hub.presence.players() == []


# -- over the network ------------------------------------------------------


def test_the_station_is_told_whose_phone_opens_and_closes_a_stream(station):
    def present():
        return station.snapshot()["agreement"]["present"]

    with serve(station, StreamTimes(heartbeat_s=0.2)) as server:
        port = server.port
        with event_stream(port, player="tove") as tove:
            tove.until("room")
            with event_stream(port, player="tove") as other, event_stream(port) as screen:
                other.until("room")
                screen.until("room")
                wait_until(lambda: present() == ["tove"])
            wait_until(lambda: station.hub.streams == 1)
            with_one_phone = station.hub.presence.players()
        wait_until(lambda: station.hub.presence.players() == [])

    assert with_one_phone == ["tove"]


@pytest.mark.parametrize("player", ["nobody", "", "<script>", "x" * 500, "tove\n", "Tove"])
def test_a_phone_of_a_player_the_room_does_not_know_is_a_screen(station, server, player):
    with event_stream(server.port, player=player) as stream:
        head = stream.start()
        room = stream.until("room")
        present = station.hub.presence.players()

    assert head.status == 200
    assert room["agreement"]["present"] == []
    assert present == []


def test_everyone_sees_that_a_phone_has_come(station, server):
    with event_stream(server.port) as screen:
        screen.until("room")
        with event_stream(server.port, player="brannock") as phone:
            phone.until("room")
            room = screen.until("room")

    assert room["agreement"]["present"] == ["brannock"]


def test_a_lease_that_ends_takes_the_phone_along_until_it_is_back(station):
    with serve(station, StreamTimes(lease_s=0.2)) as server:
        with event_stream(server.port, player="ilse") as first:
            first.until("lease")
        wait_until(lambda: station.hub.presence.players() == [])
        with event_stream(server.port, player="ilse") as second:
            room = second.until("room")
            here = station.hub.presence.players()

    # The room goes on counting a phone that is away for a moment.
    assert room["agreement"]["present"] == ["ilse"]
    assert here == ["ilse"]


def test_a_station_that_ends_tells_nobody_that_the_phones_have_left(station):
    told = []
    station.hub.presence.listen(told.append)
    server = serve(station)
    server.start()
    with event_stream(server.port, player="ilse") as phone:
        phone.until("room")
        wait_until(lambda: told == [["ilse"]])

        server.stop()
        after_the_end = list(told)
        wait_until(lambda: station.hub.streams == 0)
        server.start()
        wait_until(lambda: len(told) == 2)
        server.stop()

    assert after_the_end == [["ilse"]]
    assert told == [["ilse"], []]


def test_a_station_that_is_slow_to_take_note_delays_no_stream(station, server):
    go_on = threading.Event()
    station.hub.presence.listen(lambda players: go_on.wait(PATIENCE_S))

    with event_stream(server.port, player="tove") as stream:
        stream.until("room")
        station.pluck("tove", 5, -20.0)
        reading = stream.until("reading")
        health = ask(server.port, "/health")
        go_on.set()

    assert reading["verdict"] == "tighten"
    assert health.status == 200
