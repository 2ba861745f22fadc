"""What each player played last comes back as they left it."""

from __future__ import annotations

import json

import pytest

from station.errors import UnknownPlayerError
from station.room.members import SETUPS_MAX
from station.room.room import Room
from tests.support.order_band import TOVE, band


def setups(room: Room, player: str = "tove") -> list[tuple]:
    return [
        (each["instrument"], each["tuning"], each["capo"]) for each in room.members.setups(player)
    ]


def test_the_newest_setup_stands_first_and_each_once():
    room = band(songs=False)
    room.change_player("tove", tuning="drop-d", capo=2)
    room.change_player("tove", instrument="bass")
    room.change_player("tove", instrument="guitar", tuning="drop-d", capo=0)

    assert setups(room) == [
        ("guitar", "drop-d", 0), ("bass", "standard", 0), ("guitar", "standard", 0),
    ]  # fmt: skip
    assert room.members.setups("tove")[1]["instrument_label"] == "Bass"


def test_offsets_come_back_with_the_setup():
    room = band(songs=False)
    room.change_player("tove", offsets_cents={"6": -4.0})
    room.change_player("tove", instrument="violin")

    left = room.members.setups("tove")[1]

    assert left["offsets_cents"] == {"6": -4.0}
    wanted = {key: left[key] for key in ("instrument", "tuning", "capo", "offsets_cents")}
    room.change_player("tove", **wanted)
    assert dict(room.context.roster.seat("tove").player.offsets_cents) == {6: -4.0}


def test_only_so_many_are_kept():
    room = band(songs=False)
    for instrument in ("bass", "violin", "viola", "cello", "banjo", "mandolin", "ukulele",
                       "bass-5", "bass-6"):  # fmt: skip
        room.change_player("tove", instrument=instrument)

    assert len(setups(room)) == SETUPS_MAX
    assert setups(room)[0][0] == "bass-6"


def test_what_is_in_every_room_event_stays_small():
    room = band(songs=False)
    before = room.snapshot(0.0)["members"]
    room.change_player("tove", tuning="drop-d")
    room.change_player("tove", name="Tove B.")

    assert room.snapshot(0.0)["members"] == before + 1  # a name is no setup


def test_a_stranger_has_no_setups():
    with pytest.raises(UnknownPlayerError):
        band(songs=False).members.setups("nobody")


def test_setups_outlive_a_restart_but_for_what_is_possible_no_more():
    room = band(songs=False)
    room.change_player("tove", tuning="drop-d")
    room.change_player("tove", instrument="bass")
    state = json.loads(json.dumps(room.state()))
    state["members"]["tove"].insert(1, {"instrument": "lyre", "tuning": "", "capo": 0,
                                        "offsets_cents": {}})  # fmt: skip

    again = band(songs=False)

    assert again.restore(state) == []
    assert setups(again) == [
        ("bass", "standard", 0), ("guitar", "drop-d", 0), ("guitar", "standard", 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "junk",
    [
        None, 7, "x", [], {"tove": None}, {"tove": "x"}, {"tove": [None, 3, []]},
        {"tove": [{"instrument": ["guitar"], "tuning": {}, "capo": "2", "offsets_cents": 3}]},
        {"tove": [{"instrument": "guitar", "tuning": "standard", "capo": float("nan"),
                   "offsets_cents": {"6": float("inf")}}]},
        {"tove": [{"instrument": "guitar", "tuning": "standard", "capo": 0,
                   "offsets_cents": {"x": 1.0}}]},
    ],
)  # fmt: skip
def test_no_damaged_state_breaks_them(junk):
    room = band(TOVE, songs=False)

    lines = room.members.restore(junk)

    assert all(isinstance(line, str) for line in lines)
    assert setups(room) == [("guitar", "standard", 0)]
