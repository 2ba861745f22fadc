"""The running order: the song that is on, who has to change what, and what is kept of it."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import NotNowError, SongsError, UnknownSongError, UsageError
from station.room.retuned import CREEP_S
from station.room.room import Room
from station.room.running_order import begin_song
from tests.support.order_band import (
    BRANNOCK,
    GUITAR,
    SONGS,
    TOVE,
    band,
    bring_in,
    play,
    told,
)

DROP_D_6 = 38
PAPER_LANTERN, SLOW_FERRY = 2, 3


def tuning(room: Room, player: str) -> tuple[str, int]:
    found = room.context.roster.seat(player).player
    return found.tuning, found.capo


def strings(room: Room, player: str) -> list[dict]:
    return told(room)["players"].get(player, {"strings": []})["strings"]


# -- the next song ---------------------------------------------------------------


def test_each_player_is_told_only_what_must_change():
    room = band()
    bring_in(room, 1, GUITAR, 1.0)

    begin_song(room, PAPER_LANTERN, 2.0)

    order = told(room)
    assert (order["place"], order["song"]["title"]) == (2, "Paper lantern")
    assert order["coming"] == {"id": 3, "title": "Slow ferry"}
    assert (order["ready"], order["of"]) == (0, 1)
    assert list(order["players"]) == ["tove"]
    tove = order["players"]["tove"]
    assert (tove["tuning"], tove["instrument"], tove["capo"]) == ("Drop D", None, None)
    assert tove["strings"] == [
        {"string": 6, "from": "E2", "to": "D2", "cents": -200.0, "state": "turn",
         "crept_cents": None}
    ]  # fmt: skip


def test_the_station_expects_the_new_targets_at_once_and_keeps_the_others():
    room = band()
    bring_in(room, 1, GUITAR, 1.0)

    (event,) = begin_song(room, PAPER_LANTERN, 2.0)

    rolls = {s["string"]: (s["note"], s["roll"]) for s in event.payload["players"][0]["strings"]}
    assert rolls[6] == ("D2", "not heard")
    assert {rolls[n][1] for n in (1, 2, 3, 4, 5)} == {"in"}


def test_a_player_is_ready_once_all_that_must_change_is_in():
    room = band()
    bring_in(room, 1, GUITAR, 1.0)
    begin_song(room, PAPER_LANTERN, 2.0)

    play(room, 1, DROP_D_6, 5.0, cents=-9.0)
    assert told(room)["ready"] == 0
    play(room, 1, DROP_D_6, 7.0, cents=0.4)

    assert (told(room)["ready"], told(room)["of"]) == (1, 1)
    assert strings(room, "tove") == []


def test_a_song_that_names_nobody_brings_everybody_back():
    room = band()
    room.change_player("tove", offsets_cents={"5": -3.0})

    begin_song(room, PAPER_LANTERN, 1.0)
    begin_song(room, SLOW_FERRY, 2.0)
    assert (tuning(room, "tove"), tuning(room, "brannock")) == (("standard", 2), ("drop-d", 0))
    begin_song(room, 1, 3.0)

    assert (tuning(room, "tove"), tuning(room, "brannock")) == (("standard", 0), ("standard", 0))
    assert dict(room.context.roster.seat("tove").player.offsets_cents) == {5: -3.0}


def test_what_players_choose_themselves_is_theirs_from_then_on():
    room = band()
    begin_song(room, PAPER_LANTERN, 1.0)

    room.change_player("tove", tuning="dadgad", now_s=2.0)
    begin_song(room, 1, 3.0)

    assert tuning(room, "tove") == ("dadgad", 0)


def test_a_string_that_never_got_there_is_told_from_where_it_is():
    room = band()
    begin_song(room, PAPER_LANTERN, 1.0)
    room.change_player("tove", tuning="standard", now_s=2.0)

    (six,) = strings(room, "tove")

    # It was to go down to D2 and never did: it is at E2, where it belongs now.
    assert (six["state"], six["cents"], six["to"]) == ("check", 0.0, "E2")
    room.change_player("tove", tuning="drop-d", now_s=3.0)
    assert [s["cents"] for s in strings(room, "tove")] == [-200.0]


def test_two_steps_without_a_stop_add_up():
    room = band()
    asked = [{"tove": "drop-d"}, {"tove": "half-step-down"}]
    room.order.read(None, songs=[{"title": str(n), "players": p} for n, p in enumerate(asked)])
    begin_song(room, None, 1.0)
    begin_song(room, None, 2.0)

    six = strings(room, "tove")[0]

    assert (six["from"], six["to"], six["cents"]) == ("E2", "Eb2", -100.0)


def test_a_capo_asks_to_play_every_string_and_to_turn_none():
    room = band()
    bring_in(room, 1, GUITAR, 1.0)

    begin_song(room, SLOW_FERRY, 2.0)

    tove = told(room)["players"]["tove"]
    assert tove["capo"] == 2
    assert {(s["state"], s["cents"]) for s in tove["strings"]} == {("check", 0.0)}
    bring_in(room, 1, {n: midi + 2 for n, midi in GUITAR.items()}, 4.0)
    assert told(room)["players"]["tove"]["ready"] is True
    room.tick("", 4.0 + CREEP_S)
    assert strings(room, "tove") == []  # no peg was turned: nothing creeps


def test_another_instrument_asks_to_play_every_string():
    room = band()
    room.order.read(None, songs=[{"title": "A", "players": {"tove": "bass"}}])

    begin_song(room, None, 1.0)

    tove = told(room)["players"]["tove"]
    assert tove["instrument"] == "Bass"
    assert [s["string"] for s in tove["strings"]] == [4, 3, 2, 1]


def test_who_cannot_have_what_the_song_says_keeps_what_there_is():
    room = band()
    song = room.order.songs[1]
    setups = (("tove", type(song.players[0][1])("guitar", "gone-since", 0)),)
    room.order.songs = (room.order.songs[0], type(song)(2, "Old", players=setups))

    begin_song(room, 2, 1.0)

    tove = told(room)["players"]["tove"]
    assert "gone-since" in tove["problem"]
    assert (tove["ready"], told(room)["ready"], told(room)["of"]) == (False, 0, 1)
    assert tuning(room, "tove") == ("standard", 0)
    assert room.order.song.title == "Old"


def test_two_who_press_next_at_once_mean_one_step():
    room = band()

    begin_song(room, None, 1.0, after=0)
    assert begin_song(room, None, 1.1, after=0) == []

    assert room.order.song.id == 1


def test_after_the_last_song_there_is_no_next():
    room = band()
    begin_song(room, 3, 1.0)

    with pytest.raises(NotNowError, match="last song"):
        begin_song(room, None, 2.0)
    with pytest.raises(NotNowError, match="no songs"):
        begin_song(band(songs=False), None, 1.0)
    with pytest.raises(UnknownSongError):
        begin_song(room, 99, 2.0)


def test_where_the_song_that_is_on_was_taken_out_the_one_after_it_is_next():
    room = band()
    begin_song(room, 2, 1.0)

    room.order.remove(2)

    assert (told(room)["place"], told(room)["coming"]["title"]) == (None, "Slow ferry")


# -- the list ----------------------------------------------------------------------


def test_songs_are_added_changed_moved_removed_and_all_of_it_taken_back():
    room = band()
    order = room.order

    order.add({"title": "Last bus"})
    order.change(1, {"title": "High tide"})
    order.move(4, 1)
    order.remove(2)

    assert [song.title for song in order.songs] == ["Last bus", "High tide", "Slow ferry"]
    for _ in range(4):
        order.undo()
    assert [song.title for song in order.songs] == [row["title"] for row in SONGS]
    order.undo()
    with pytest.raises(NotNowError):
        order.undo()


def test_a_bad_import_loses_nothing():
    room = band()
    before, mark = room.order.all_json(), room.save_mark

    with pytest.raises(SongsError, match="row 2, title"):
        room.order.read(None, songs=[{"title": "New"}, {"key": "E"}])
    with pytest.raises(SongsError, match="row 3, key"):
        room.order.read(None, csv="title,key\r\nNew,E\r\nOther,Q\r\n")
    with pytest.raises(NotNowError, match="somebody else"):
        room.order.read(7, songs=[{"title": "New"}])
    with pytest.raises(UsageError):
        room.order.read(None)

    assert (room.order.all_json(), room.save_mark) == (before, mark)


def test_an_import_goes_on_at_the_song_that_is_on():
    room = band()
    begin_song(room, 2, 1.0)

    room.order.read(None, csv="title\r\nOpener\r\nPaper lantern\r\nCloser\r\n")

    assert (told(room)["place"], told(room)["coming"]["title"]) == (2, "Closer")


def test_a_place_or_song_that_is_not_there_is_told():
    room = band()

    with pytest.raises(UsageError, match="places 1 to 3"):
        room.order.move(1, 4)
    with pytest.raises(UnknownSongError):
        room.order.remove(9)
    with pytest.raises(UnknownSongError):
        room.order.change(9, {"title": "x"})


def test_every_change_is_to_be_stored_at_once_and_none_that_changes_nothing():
    room = band()
    mark = room.save_mark

    room.order.move(2, 2)
    assert room.save_mark == mark
    begin_song(room, 2, 1.0)

    assert room.save_mark != mark


# -- storage -------------------------------------------------------------------------


def stored(room: Room) -> dict:
    return json.loads(json.dumps(room.state()))


def test_after_a_restart_everything_goes_on():
    retuned = band()
    begin_song(retuned, PAPER_LANTERN, 2.0)
    play(retuned, 1, DROP_D_6, 10.0)
    state = stored(retuned)
    again = band(songs=False)

    assert again.restore(state) == []

    assert again.order.all_json()["songs"] == retuned.order.all_json()["songs"]
    assert told(again)["song"] == told(retuned)["song"]
    assert again.tick("", 0.0) != []  # how long ago it was in is not known: it falls due now
    assert [s["state"] for s in strings(again, "tove")] == ["again"]
    begin_song(again, 1, 3.0)
    assert tuning(again, "tove") == ("standard", 0)


def test_a_song_of_a_player_who_left_the_band_is_kept_without_them():
    room = band()
    state = stored(room)
    smaller = band(TOVE, songs=False)

    lines = smaller.restore(state)

    assert [song.title for song in smaller.order.songs] == [row["title"] for row in SONGS]
    assert any("row 3" in line and "brannock" in line for line in lines)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(
        st.sampled_from(
            ["songs", "now", "own", "given", "asked", "retuned", "tove", "title", "id", "string",
             "instrument", "tuning", "capo", "problem", "state", "player", "from", "to", "cents"]
        ),
        inner,
        max_size=6,
    ),
    max_leaves=15,
)  # fmt: skip


@pytest.mark.parametrize("cents", [float("nan"), float("inf"), "x", None, 1e400])
def test_no_odd_number_of_a_string_comes_back(cents):
    room = band()
    row = {"player": "tove", "string": 6, "from": "E2", "to": "E2", "cents": cents,
           "state": "again", "crept_cents": cents, "rounds": 0}  # fmt: skip

    room.order.restore({**room.order.state(), "retuned": [row, {**row, "cents": 1.0}, "x"]})

    json.dumps(room.snapshot(1.0), allow_nan=False)


@given(
    junk=JSON,
    key=st.sampled_from(["songs", "now", "own", "given", "asked", "retuned"]),
    whole=st.booleans(),
)
@settings(max_examples=150, deadline=None)
def test_no_damaged_state_keeps_the_room_from_starting(junk, key, whole):
    room = band(TOVE, BRANNOCK)
    begin_song(room, 2, 1.0)
    state = room.order.state()

    again = band(TOVE, BRANNOCK, songs=False)
    lines = again.order.restore(junk if whole else {**state, key: junk})

    assert all(isinstance(line, str) for line in lines)
    json.dumps(again.snapshot(1.0), allow_nan=False)
    again.order.add({"title": "Goes on"})
    begin_song(again, None, 2.0)
    json.dumps(again.state(), allow_nan=False)
