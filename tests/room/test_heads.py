"""A drummer's heads in the room: the pass, both heads, what is kept, and a restart half-way."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import count
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import DrumError, NotNowError, StationError, UnknownPlayerError, UsageError
from station.music.kit import MAX_DRUMS
from station.room.drum_book import KeptDrum
from station.room.heads_json import back_as_json, drum_as_json, drum_for_file
from station.room.parts import WantedEar
from station.room.room import Player, Reference, Room
from tests.support.fake_drums import make_stroke
from tests.support.head_taps import Drummer, random_drummer, stroke_of

IDA = Player("ida", "Ida", "drum-kit", line=2)
TOVE = Player("tove", "Tove", "guitar", line=1)
AT = "2031-03-04T18:42:00Z"
EAR = WantedEar("strokes", 2)
TOM_HZ = 110.0


@pytest.fixture
def room() -> Room:
    return Room((IDA, TOVE), Reference(440.0), lines=2)


@pytest.fixture
def clock() -> Iterator[float]:
    return map(float, count(1))


def hear(room: Room, stroke: Any) -> list[Any]:
    return room.hear_ear(EAR, [stroke], 1.0)


def go_round(room: Room, drummer: Drummer, clock: Iterator[float]) -> None:
    while (lug := shown(room)["tap_next"]) is not None:
        hear(room, stroke_of(drummer.modes(lug), next(clock)))


def turn_all(room: Room, drummer: Drummer) -> None:
    for lug, turns in room.heads._live["ida"].guide.advised():
        drummer.head = drummer.head.turned(lug, turns, drummer.response)
    room.heads.turned("ida")


def learn(room: Room, drummer: Drummer, clock: Iterator[float], rounds: int = 3) -> None:
    for _ in range(rounds):
        go_round(room, drummer, clock)
        if shown(room)["even"]:
            return
        turn_all(room, drummer)
    go_round(room, drummer, clock)


def shown(room: Room) -> dict[str, Any]:
    return room.snapshot(1.0)["heads"]["passes"]["ida"]


def tap_middle(room: Room, hz: float, first_s: float, taps: int = 3) -> None:
    for at in range(taps):
        hear(room, make_stroke(first_s + at, hz, line=2))


def restarted(room: Room) -> tuple[Room, list[str]]:
    again = Room((IDA, TOVE), Reference(440.0), lines=2)
    kept = json.loads(json.dumps(room.state(), allow_nan=False))
    return again, again.restore(kept)


# -- the pass ----------------------------------------------------------------------


def test_strokes_go_to_whoever_goes_round_a_head_and_are_told_at_once(room, clock):
    drummer = random_drummer("one slack", 6, 2)
    room.heads.begin("ida", 6)
    before = room.snapshot(1.0)["heads"]["told"]

    events = hear(room, stroke_of(drummer.modes(1), next(clock)))

    (told,) = [event.payload for event in events if "head" in event.payload]
    assert (told["player"], told["line"], told["head"]["taken"]) == ("ida", 2, [1, 0, 0, 0, 0, 0])
    assert told["head"]["told"] > before
    assert len(json.dumps(told)) < 1500
    assert hear(room, stroke_of((), next(clock)))[-1].payload["head"]["says"].endswith("tap again")


def test_another_lines_strokes_and_other_ears_are_no_taps(room):
    room.heads.begin("ida", 6)

    events = room.hear_ear(WantedEar("strokes", 1), [make_stroke(1.0, 160.0, line=1)], 1.0)
    ignored = room.heads.hear_ear(WantedEar("beats", 2), [make_stroke(1.0, 160.0)], 1.0)

    assert [event for event in events if "head" in event.payload] == []
    assert ignored is None
    assert shown(room)["taken"] == [0] * 6


def test_a_lug_that_was_chosen_takes_one_tap_and_the_order_goes_on(room, clock):
    drummer = random_drummer("random", 6, 1)
    room.heads.begin("ida", 6)
    room.heads.choose_lug("ida", 4)
    asked = shown(room)["tap_next"]

    hear(room, stroke_of(drummer.modes(4), next(clock), "rim"))
    still = shown(room)["tap_next"]
    hear(room, stroke_of(drummer.modes(4), next(clock)))

    assert (asked, still, shown(room)["tap_next"]) == (4, 4, 1)
    assert shown(room)["taken"] == [0, 0, 0, 1, 0, 0]


def test_a_pass_is_led_to_an_even_head(room, clock):
    drummer = random_drummer("one slack", 6, 3)
    room.heads.begin("ida", 6, "fine")

    learn(room, drummer, clock, rounds=5)

    assert shown(room)["even"]
    assert shown(room)["evenness_cents"] < 10.0


def test_a_pass_needs_a_drummer_and_one_at_a_time(room):
    with pytest.raises(UsageError, match="only drums"):
        room.heads.begin("tove", 6)
    with pytest.raises(UnknownPlayerError):
        room.heads.begin("nobody", 6)
    with pytest.raises(DrumError):
        room.heads.begin("ida", 7)
    for ask in (room.heads.leave, room.heads.restart, room.heads.turned, room.heads.tap_again):
        with pytest.raises(NotNowError):
            ask("ida")
    room.heads.begin("ida", 6)
    with pytest.raises(NotNowError, match="leave it first"):
        room.heads.begin("ida", 8)
    with pytest.raises(NotNowError, match="nothing is advised yet"):
        room.heads.turned("ida")
    with pytest.raises(DrumError):
        room.heads.choose_lug("ida", 7)


def test_the_ear_is_wanted_only_while_the_drummers_phone_is_here(room):
    room.heads.begin("ida", 6)
    away = room.heads.wanted_ears()
    room.set_present(["ida"], 1.0)

    assert away == set()
    assert room.heads.wanted_ears() == {EAR}
    assert room.wanted_ears() == {EAR}  # the same as the taps want: one ear for both


def test_leaving_forgets_the_lugs_as_taps_in_the_middle(room, clock):
    room.heads.begin("ida", 6)
    go_round(room, random_drummer("random", 6, 1), clock)

    room.heads.leave("ida")

    assert room.snapshot(1.0)["heads"]["passes"] == {}
    assert room.snapshot(1.0)["players"][0]["taps"]["strokes"] == []


def test_whoever_plays_no_drums_any_more_goes_round_no_head(room):
    room.heads.begin("ida", 6)

    room.change_player("ida", instrument="guitar")

    assert room.snapshot(1.0)["heads"]["passes"] == {}


# -- a restart -----------------------------------------------------------------------


@pytest.mark.parametrize("taps", [0, 1, 7, 12])
def test_a_pass_survives_a_restart_half_way(room, clock, taps):
    drummer = random_drummer("one slack", 6, 3)
    room.heads.begin("ida", 6, drum="floor tom")
    for _ in range(taps):
        hear(room, stroke_of(drummer.modes(shown(room)["tap_next"]), next(clock)))
    before = shown(room)

    again, refused = restarted(room)

    told = shown(again)
    assert refused == []
    for key in before:
        if key not in ("told", "turn_next", "heard"):
            assert told[key] == before[key], key
    go_round(again, drummer, map(float, count(1)))  # a new stream counts from nought again
    assert shown(again)["passes"] == 1


def test_everything_that_counts_is_to_be_on_storage(room, clock):
    marks = [room.save_mark]
    drummer = random_drummer("random", 6, 1)

    room.heads.begin("ida", 6)
    marks.append(room.save_mark)
    hear(room, stroke_of(drummer.modes(1), next(clock)))
    marks.append(room.save_mark)
    room.heads.leave("ida")
    marks.append(room.save_mark)

    assert len(set(marks)) == 4


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=8,
)


def full_state() -> Any:
    room, clock = Room((IDA, TOVE), Reference(440.0), lines=2), map(float, count(1))
    drummer = random_drummer("one slack", 4, 3)
    room.heads.begin("ida", 4, drum="floor tom")
    learn(room, drummer, clock, rounds=2)
    room.heads.keep("ida", "floor tom", AT, "settings")
    room.heads.set_songs([{"name": "Low tide", "key": "E minor", "bass": ["E1"]}])
    return json.loads(json.dumps(room.heads.state(), allow_nan=False))


FULL = full_state()
STROKE = stroke_of(random_drummer("random", 4, 1).modes(1), 5.0)


def places(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    inner = (
        data.items()
        if isinstance(data, dict)
        else enumerate(data)
        if isinstance(data, list)
        else ()
    )
    for key, value in inner:
        found += places(value, (*path, key))
    return found


PLACES = places(FULL)


@settings(max_examples=100, deadline=None)
@given(place=st.sampled_from(PLACES), value=JSON)
def test_whatever_was_stored_is_taken_back_or_left_out_in_a_line(place, value):
    stored = json.loads(json.dumps(FULL))
    inner = stored
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = value
    room = Room((IDA, TOVE), Reference(440.0), lines=2)

    refused = room.heads.restore(stored)

    assert all("\n" not in line and line for line in refused)
    json.dumps(room.snapshot(1.0), allow_nan=False)
    json.dumps(room.heads.state(), allow_nan=False)
    hear(room, STROKE)


@given(value=JSON)
def test_no_stored_value_at_all_breaks_the_room(value):
    room = Room((IDA, TOVE), Reference(440.0), lines=2)

    room.heads.restore(value)

    json.dumps(room.snapshot(1.0), allow_nan=False)


# -- both heads ----------------------------------------------------------------------


def test_both_heads_are_taken_one_after_the_other(room):
    room.heads.both_heads("ida", "begin", snare=True)
    with pytest.raises(NotNowError, match="no good tap"):
        room.heads.both_heads("ida", "next")
    tap_middle(room, 180.0, 1.0)
    room.heads.both_heads("ida", "next")
    half, refused = restarted(room)
    tap_middle(half, 320.0, 11.0)
    half.heads.both_heads("ida", "next")

    told = half.snapshot(1.0)["heads"]["both"]["ida"]
    assert refused == []
    # 1200 log2(320 / 180) = 996.1 cents
    assert told["result"]["cents"] == pytest.approx(996.1, abs=0.1)
    assert (told["asked_for"], told["result"]["higher"]) == (None, "resonant")
    assert any("thin" in each for each in told["result"]["advice"])
    with pytest.raises(NotNowError):
        half.heads.both_heads("ida", "next")
    half.heads.both_heads("ida", "back")
    assert half.snapshot(1.0)["heads"]["both"]["ida"]["asked_for"] == "resonant"
    half.heads.both_heads("ida", "leave")
    assert half.snapshot(1.0)["heads"]["both"] == {}
    with pytest.raises(NotNowError):
        half.heads.both_heads("ida", "next")


# -- what is kept ----------------------------------------------------------------------


def test_a_good_state_is_kept_with_the_room_it_was_in(room):
    with pytest.raises(NotNowError, match="nothing to keep yet"):
        room.heads.keep("ida", "floor tom", AT, "settings")
    tap_middle(room, TOM_HZ, 1.0)
    room.heads.keep("ida", "floor  tom", AT, "measured: Ilse's keyboard", "cellar")

    again, refused = restarted(room)

    drum = again.heads.book.drum("FLOOR TOM")
    assert refused == []
    assert drum == room.heads.book.drum("floor tom")
    assert drum.good is not None and drum.good.taps is not None
    assert (drum.name, drum.hz, drum.good.place) == ("floor tom", TOM_HZ, "cellar")
    assert (drum.good.at, drum.good.a4_hz) == (AT, 440.0)
    assert drum.good.reference == "measured: Ilse's keyboard"
    assert drum_as_json(drum, 440.0)["note"] == "A2"
    assert drum_for_file(drum)["hz"] == TOM_HZ


def test_a_head_pass_is_kept_with_its_drum_and_what_its_key_does_is_used_again(room, clock):
    drummer = random_drummer("one slack", 6, 3)
    room.heads.begin("ida", 6, drum="floor tom")
    learn(room, drummer, clock, rounds=5)
    room.heads.keep("ida", "floor tom", AT, "settings")
    room.heads.leave("ida")
    again, refused = restarted(room)

    again.heads.begin("ida", 6, drum="floor tom")

    kept = again.heads.book.drum("floor tom")
    assert refused == []
    assert kept.good is not None and kept.good.head is not None
    assert len(kept.good.head.lug_hz) == 6
    assert kept.rim is not None and kept.rim.learned > 0
    assert shown(again)["learned"] == kept.rim.learned


def test_the_way_back_leads_a_detuned_head_to_where_it_was(room, clock):
    drummer = random_drummer("one slack", 6, 3)
    room.heads.begin("ida", 6, drum="floor tom")
    learn(room, drummer, clock, rounds=5)
    good_hz = room.heads._live["ida"].guide.known.overtone_hz()
    room.heads.keep("ida", "floor tom", AT, "settings")
    room.heads.leave("ida")
    for lug in range(1, 7):  # the van was cold
        drummer.head = drummer.head.turned(lug, -0.02, drummer.response)

    room.heads.begin("ida", 6, drum="floor tom")
    for _ in range(2):
        go_round(room, drummer, clock)
        back = room.heads.way_back("ida", "floor tom")
        if not any(each.turns for each in back.lugs):
            break
        for each in back.lugs:
            turns = (each.turns or 0.0) * (1 if each.verdict == "tighten" else -1)
            drummer.head = drummer.head.turned(each.lug, turns, drummer.response)
        room.heads.turned_back("ida", "floor tom")
    go_round(room, drummer, clock)

    now_hz = room.heads._live["ida"].guide.known.overtone_hz()
    assert 1200 * np.log2(now_hz / good_hz) == pytest.approx(0.0, abs=6.0)
    json.dumps(back_as_json("floor tom", back), allow_nan=False)


def test_without_a_head_pass_the_way_back_is_of_the_whole_head(room):
    tap_middle(room, TOM_HZ, 1.0)
    room.heads.keep("ida", "tom", AT, "settings")
    room.start_taps_again("ida", "ida", 1.0)
    with pytest.raises(NotNowError, match="tap it five times"):
        room.heads.way_back("ida", "tom")
    tap_middle(room, 113.0, 21.0)

    back = room.heads.way_back("ida", "tom")

    # 1200 log2(113 / 110) = 46.6 cents
    assert back.cents == pytest.approx(46.6, abs=0.1)
    assert (back.verdict, back.source, back.turns) == ("slacken", "taps", None)
    with pytest.raises(UsageError, match="there are tom"):
        room.heads.way_back("ida", "snare")


def test_taps_of_a_drum_tuned_anew_drop_its_old_head_pass_and_keep_what_was_learned(room, clock):
    drummer = random_drummer("one slack", 6, 3)
    room.heads.begin("ida", 6, drum="tom")
    learn(room, drummer, clock, rounds=5)
    then_hz = room.heads._live["ida"].guide.head.fundamental_hz
    room.heads.keep("ida", "tom", AT, "settings")
    room.heads.leave("ida")
    room.heads._done.clear()

    tap_middle(room, then_hz * 1.01, 100.0)
    room.heads.keep("ida", "tom", AT, "settings")
    near = room.heads.book.drum("tom")
    room.start_taps_again("ida", "ida", 1.0)
    tap_middle(room, then_hz * 1.1, 200.0)
    room.heads.keep("ida", "tom", AT, "settings")
    far = room.heads.book.drum("tom")

    assert near.good.head is not None
    assert far.good.head is None
    assert far.rim is not None


def test_a_head_pass_of_another_drum_is_not_kept_with_this_one(room, clock):
    room.heads.begin("ida", 6, drum="high tom")
    go_round(room, random_drummer("one slack", 6, 2), clock)
    room.heads.leave("ida")
    tap_middle(room, TOM_HZ, 100.0)

    room.heads.keep("ida", "floor tom", AT, "settings")

    assert room.heads.book.drum("floor tom").good.head is None


def test_the_book_is_bounded_and_forgets_on_request(room):
    for number in range(MAX_DRUMS):
        room.heads.put(KeptDrum(f"drum {number}", diameter_mm=300.0, hz=120.0))
    with pytest.raises(UsageError, match="forget one first"):
        room.heads.put(KeptDrum("one more"))

    room.heads.forget("drum 3")
    room.heads.put(KeptDrum("one more"))

    assert len(room.heads.book) == MAX_DRUMS
    with pytest.raises(UsageError):
        room.heads.forget("drum 3")
    assert len(json.dumps(room.snapshot(1.0)["heads"])) < 200


@pytest.mark.parametrize("name", ["", "  ", "x" * 41, "tom\x00", 7, None])
def test_a_name_no_page_could_show_is_refused(room, name):
    tap_middle(room, TOM_HZ, 1.0)

    with pytest.raises(StationError):
        room.heads.keep("ida", name, AT, "settings")


@pytest.mark.parametrize(
    "songs",
    [
        "Low tide",
        [7],
        [{"name": ""}],
        [{"name": "Low tide", "key": "H minor"}],
        [{"name": "Low tide", "key": "E minor", "bass": "E1"}],
        [{"name": "Low tide", "key": "E minor", "bass": ["E9"]}],
        [{"name": "Low tide", "key": "E minor", "bass": ["E1"] * 13}],
        [{"name": "Low tide", "key": "E minor"}] * 41,
    ],
)
def test_songs_that_cannot_be_are_refused_and_change_nothing(room, songs):
    room.heads.set_songs([{"name": "Paper lantern", "key": "D dorian"}])

    with pytest.raises(UsageError) as refused:
        room.heads.set_songs(songs)

    assert "\n" not in str(refused.value)
    assert [song.name for song in room.heads.songs] == ["Paper lantern"]
