"""Strings that were turned to another note creep, and are asked for again."""

from __future__ import annotations

import pytest

from station.room.retuned import CREEP_S, SOONEST_S
from station.room.room import Room
from station.room.running_order import begin_song
from tests.support.order_band import band, play, sound, told

DROP_D_6 = 38
PAPER_LANTERN = 2


def strings(room: Room, player: str) -> list[dict]:
    return told(room)["players"].get(player, {"strings": []})["strings"]


@pytest.fixture
def retuned() -> Room:
    """Tove has turned string 6 down, and it was in at 10 s."""
    room = band()
    begin_song(room, PAPER_LANTERN, 2.0)
    play(room, 1, DROP_D_6, 10.0)
    return room


def test_a_retuned_string_is_asked_for_again_after_a_minute(retuned):
    assert retuned.tick("", 10.0 + CREEP_S - 0.1) == []
    (event,) = retuned.tick("", 10.0 + CREEP_S)

    tove = event.payload["order"]["players"]["tove"]
    assert tove["ready"] is True  # ready to play; it is a second look
    assert [(s["string"], s["state"]) for s in tove["strings"]] == [(6, "again")]


class Doing:
    """What the band does, as a test says."""

    def __init__(self, room: Room) -> None:
        self.now = "not known"
        room.order.doing = lambda: self.now


def test_in_the_gap_after_it_was_played_on_it_is_asked_for_at_once(retuned):
    band_is = Doing(retuned)
    band_is.now = "playing"
    assert retuned.tick("", 20.0) == []
    band_is.now = "gap"
    assert retuned.tick("", 10.0 + SOONEST_S - 0.1) == []

    (event,) = retuned.tick("", 10.0 + SOONEST_S)

    assert strings(retuned, "tove")[0]["state"] == "again"
    assert event.payload["order"]["players"]["tove"]["strings"][0]["state"] == "again"


def test_in_the_gap_in_which_it_was_turned_it_gets_its_minute(retuned):
    band_is = Doing(retuned)
    band_is.now = "tuning"

    assert retuned.tick("", 10.0 + SOONEST_S) == []
    assert retuned.tick("", 10.0 + CREEP_S) != []


def test_in_again_is_enough(retuned):
    retuned.tick("", 80.0)

    sound(retuned, 1, DROP_D_6, 81.0)
    assert strings(retuned, "tove") != []  # a reading may be a hand passing by
    play(retuned, 1, DROP_D_6, 82.0, cents=-1.0)

    assert strings(retuned, "tove") == []
    assert retuned.tick("", 82.0 + 2 * CREEP_S) == []


def test_what_it_crept_is_told_and_it_is_asked_for_once_more(retuned):
    retuned.tick("", 80.0)

    play(retuned, 1, DROP_D_6, 82.0, cents=-7.0)
    assert strings(retuned, "tove")[0]["crept_cents"] == -7.0
    play(retuned, 1, DROP_D_6, 84.0, cents=0.3)
    assert strings(retuned, "tove") == []
    retuned.tick("", 84.0 + CREEP_S)
    assert strings(retuned, "tove")[0]["state"] == "again"
    play(retuned, 1, DROP_D_6, 150.0, cents=-3.0)
    play(retuned, 1, DROP_D_6, 152.0)

    assert retuned.tick("", 152.0 + 2 * CREEP_S) == []
    assert strings(retuned, "tove") == []


def test_a_fretted_note_says_nothing_of_creep(retuned):
    retuned.tick("", 80.0)

    play(retuned, 1, DROP_D_6 + 1, 82.0)

    assert strings(retuned, "tove")[0]["crept_cents"] is None


def test_a_tuning_changed_on_the_phone_creeps_alike():
    room = band(songs=False)
    room.change_player("tove", tuning="drop-d", now_s=1.0)
    assert [s["state"] for s in strings(room, "tove")] == ["turn"]
    assert told(room)["of"] == 0  # no song asked for it

    play(room, 1, DROP_D_6, 3.0)
    room.tick("", 3.0 + CREEP_S)

    assert [s["state"] for s in strings(room, "tove")] == ["again"]
