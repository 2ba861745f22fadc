"""Players who want strings off equal temperament: targets, verdicts, roll call and restart."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from station.errors import UsageError
from station.measure.types import Note, Reading
from station.music.pitch import midi_to_hz, shift_cents
from station.music.tunings import load_instruments
from station.room.room import Player, Reference, Room
from station.room.seats import restored_seat, take_seat

VILDE = Player("vilde", "Vilde", "violin", "standard", line=1)
TOVE = Player("tove", "Tove", "guitar-12", "standard", line=1)
PIA = Player("pia", "Pia", "piano", line=1)

# Open strings of a violin, G3 D4 A4 E5, as MIDI note numbers (from memory, common practice).
VIOLIN = {4: 55, 3: 62, 2: 69, 1: 76}
# By hand: a pure fifth is 701.955 cents (Helmholtz, transl. Ellis, 2nd ed. 1885), 1.955
# more than the equal-tempered one; counted from the A string.
PURE_FIFTHS = {"1": 1.955, "3": -1.955, "4": -3.910}
HIGH_E = 64  # strings 1 and 2 of a 12-string guitar


def room_of(*players: Player, in_cents: float = 2.0) -> Room:
    return Room(players, Reference(440.0), lines=2, in_cents=in_cents)


def note(midi: int, cents: float) -> Note:
    return Note(1, 0.1, 2.0, shift_cents(midi_to_hz(midi), cents), 0.1, 1e-4, 12)


def reading(midi: int, cents: float, at_s: float = 0.5) -> Reading:
    return Reading(1, at_s, shift_cents(midi_to_hz(midi), cents), 0.1, 1e-4, 12, 0.1)


def shown(room: Room) -> dict[str, Any]:
    return json.loads(json.dumps(room.snapshot(1.0)["players"][0], allow_nan=False))


def string_of(room: Room, string: int) -> dict[str, Any]:
    return {s["string"]: s for s in shown(room)["strings"]}[string]


def rolls(room: Room) -> dict[int, str]:
    return {s["string"]: s["roll"] for s in shown(room)["strings"]}


def bring_in(room: Room) -> None:
    for string in shown(room)["strings"]:
        room.hear(Note(1, 0.1, 2.0, string["target_hz"], 0.1, 1e-4, 12), 1.0)
    assert set(rolls(room).values()) == {"in"}


def test_a_player_without_offsets_is_shown_with_none():
    room = room_of(VILDE)

    assert (shown(room)["offsets_cents"], shown(room)["offsets_label"]) == ({}, "")
    assert {s["offset_cents"] for s in shown(room)["strings"]} == {0.0}


def test_pure_fifths_move_the_targets_and_are_shown():
    room = room_of(VILDE)

    room.change_player("vilde", offsets_cents="pure fifths")

    assert shown(room)["offsets_cents"] == PURE_FIFTHS
    assert shown(room)["offsets_label"] == "pure fifths"
    for string, midi in VIOLIN.items():
        offset = PURE_FIFTHS.get(str(string), 0.0)
        row = string_of(room, string)
        assert row["offset_cents"] == offset
        assert row["target_hz"] == pytest.approx(shift_cents(midi_to_hz(midi), offset), rel=1e-12)


def test_the_verdict_is_on_the_target_with_its_offset():
    plain, pure = room_of(VILDE), room_of(replace(VILDE, offsets_cents=((4, -3.91),)))

    def says(room: Room, cents: float) -> str:
        return room.hear(reading(VIOLIN[4], cents), 1.0)[0].payload["verdict"]

    assert [says(plain, cents) for cents in (-7.0, -3.9, 0.0)] == ["tighten", "tighten", "in"]
    assert [says(pure, cents) for cents in (-7.0, -3.9, 0.0)] == ["tighten", "in", "slacken"]


def test_a_reading_tells_the_string_by_its_target_and_the_note_by_equal_temperament():
    room = room_of(replace(VILDE, offsets_cents=((4, -3.91),)))

    payload = room.hear(reading(VIOLIN[4], -2.0), 1.0)[0].payload

    target_hz = shift_cents(midi_to_hz(55), -3.91)
    assert (payload["string"], payload["note"]) == (4, "G3")
    assert payload["cents"] == pytest.approx(-2.0, abs=1e-8)
    assert payload["string_cents"] == pytest.approx(1.91, abs=1e-8)
    assert payload["target_hz"] == pytest.approx(target_hz, rel=1e-12)
    assert payload["beats_hz"] == pytest.approx(payload["hz"] - target_hz, abs=1e-9)


def test_only_strings_whose_target_changed_are_asked_for_again():
    room = room_of(VILDE)
    bring_in(room)

    room.change_player("vilde", offsets_cents="pure fifths")
    after_fifths = rolls(room)
    bring_in(room)
    room.change_player("vilde", offsets_cents={**PURE_FIFTHS, "1": 3.0})
    after_own = rolls(room)

    assert after_fifths == {4: "not heard", 3: "not heard", 2: "in", 1: "not heard"}
    assert after_own == {4: "in", 3: "in", 2: "in", 1: "not heard"}
    assert shown(room)["offsets_label"] == "own"


def test_the_same_offsets_again_make_no_event():
    room = room_of(VILDE)
    room.change_player("vilde", offsets_cents="pure fifths")
    bring_in(room)

    assert room.change_player("vilde", offsets_cents=PURE_FIFTHS) == []
    assert set(rolls(room).values()) == {"in"}


def test_a_table_stands_for_all_strings_and_none_takes_them_away():
    room = room_of(VILDE)

    room.change_player("vilde", offsets_cents={"4": -2.0, "3": 1.0})
    room.change_player("vilde", offsets_cents={"3": 1.0})
    one = shown(room)["offsets_cents"]
    room.change_player("vilde", offsets_cents="none")

    assert one == {"3": 1.0}
    assert (shown(room)["offsets_cents"], shown(room)["offsets_label"]) == ({}, "")


def test_a_change_of_name_or_line_leaves_offsets_and_roll_call():
    room = room_of(VILDE)
    room.change_player("vilde", offsets_cents="pure fifths")
    bring_in(room)

    room.change_player("vilde", name="Vilde K", line=2)

    assert shown(room)["offsets_cents"] == PURE_FIFTHS
    assert set(rolls(room).values()) == {"in"}


@pytest.mark.parametrize(
    ("tuning", "wanted", "kept", "label"),
    [
        ("half-step-down", {"4": -7.0}, {"4": -7.0}, "own"),
        ("cross-a", {"4": -7.0}, {"4": -7.0}, "own"),
        ("half-step-down", "pure fifths", PURE_FIFTHS, "pure fifths"),
        ("cross-a", "pure fifths", {}, ""),  # A E A E has a fourth in it
    ],
)
def test_another_tuning_keeps_own_offsets_and_works_pure_fifths_out_anew(
    tuning, wanted, kept, label
):
    room = room_of(VILDE)
    room.change_player("vilde", offsets_cents=wanted)

    room.change_player("vilde", tuning=tuning)

    assert (shown(room)["offsets_cents"], shown(room)["offsets_label"]) == (kept, label)


def test_tuning_and_offsets_changed_together_are_checked_together():
    room = room_of(replace(VILDE, tuning="cross-a"))

    room.change_player("vilde", tuning="standard", offsets_cents="pure fifths")

    assert shown(room)["offsets_label"] == "pure fifths"
    with pytest.raises(UsageError, match="is not a fifth"):
        room.change_player("vilde", tuning="cross-a", offsets_cents="pure fifths")
    assert shown(room)["tuning"] == "standard"


def test_a_capo_moves_the_targets_with_their_offsets():
    room = room_of(replace(VILDE, instrument="mandolin"))
    room.change_player("vilde", offsets_cents="pure fifths")

    room.change_player("vilde", capo=2)

    assert shown(room)["offsets_cents"] == PURE_FIFTHS
    assert shown(room)["offsets_label"] == "pure fifths"
    g_string = shift_cents(midi_to_hz(57), -3.91)
    assert string_of(room, 4)["target_hz"] == pytest.approx(g_string, rel=1e-12)


def test_another_instrument_comes_without_offsets():
    room = room_of(VILDE)
    room.change_player("vilde", offsets_cents={"4": -7.0})

    room.change_player("vilde", instrument="mandolin")
    dropped = shown(room)["offsets_cents"]
    room.change_player("vilde", instrument="viola", offsets_cents="pure fifths")

    assert dropped == {}
    assert shown(room)["offsets_cents"] == {"2": -1.955, "3": -3.91, "4": -5.865}


@pytest.mark.parametrize(
    "wanted", [{"4": 60}, {"5": 1}, {"G": 1}, {"4": "x"}, "pure fourths", None, [1], {"4": True}]
)
def test_offsets_that_cannot_be_meant_are_refused_in_one_line_and_change_nothing(wanted):
    room = room_of(VILDE)
    room.change_player("vilde", offsets_cents="pure fifths")
    before = room.state()

    with pytest.raises(UsageError) as refused:
        room.change_player("vilde", offsets_cents=wanted)

    assert "\n" not in str(refused.value)
    assert room.state() == before


def test_an_instrument_without_strings_has_no_offsets():
    room = room_of(PIA)

    with pytest.raises(UsageError, match="Pia plays Piano, which has no strings to tune"):
        room.change_player("pia", offsets_cents={"1": 1.0})

    assert room.change_player("pia", offsets_cents="none") == []
    assert (shown(room)["offsets_cents"], shown(room)["offsets_label"]) == ({}, "")


@pytest.mark.parametrize("offsets", [((5, 1.0),), ((1, 51.0),), ((1, float("nan")),)])
def test_a_player_with_impossible_offsets_is_not_seated(offsets):
    with pytest.raises(UsageError, match="string"):
        room_of(replace(VILDE, offsets_cents=offsets))


def test_undoing_a_reference_gives_back_no_string_whose_offset_changed_since():
    room = room_of(VILDE)
    bring_in(room)
    room.set_reference(441.0, "Vilde", "Pia's piano", "2031-05-06T18:00:00Z")
    room.change_player("vilde", offsets_cents={"4": -5.0})

    room.undo("vilde", "2031-05-06T18:05:00Z", 2.0)

    assert rolls(room) == {4: "not heard", 3: "in", 2: "in", 1: "in"}


# -- restart -------------------------------------------------------------------


def stored(room: Room) -> dict[str, Any]:
    return json.loads(json.dumps(room.state()))


def older(state: dict[str, Any]) -> dict[str, Any]:
    """The state as it was stored before there were offsets."""
    for player in state["players"]:
        del player["offsets_cents"], player["configured"]["offsets_cents"]
    for string in state["strings"]:
        del string["offset_cents"]
    return state


def test_offsets_and_what_was_heard_against_them_outlive_a_restart():
    room = room_of(VILDE)
    room.change_player("vilde", offsets_cents="pure fifths")
    bring_in(room)
    again = room_of(VILDE)

    refused = again.restore(stored(room))

    assert refused == []
    assert again.state() == room.state()
    assert shown(again)["offsets_label"] == "pure fifths"
    assert set(rolls(again).values()) == {"in"}


def test_a_store_from_before_there_were_offsets_is_restored_whole():
    room = room_of(VILDE)
    room.change_player("vilde", tuning="half-step-down", name="Vilde K")
    bring_in(room)
    again = room_of(VILDE)

    refused = again.restore(older(stored(room)))

    assert refused == []
    assert again.state() == room.state()
    assert set(rolls(again).values()) == {"in"}


def test_offsets_new_in_the_settings_count_more_than_an_older_store():
    room = room_of(VILDE)
    bring_in(room)
    again = room_of(replace(VILDE, offsets_cents=((3, 1.0), (4, -5.0))))

    again.restore(older(stored(room)))

    assert shown(again)["offsets_cents"] == {"3": 1.0, "4": -5.0}
    assert rolls(again) == {4: "not heard", 3: "not heard", 2: "in", 1: "in"}


def test_offsets_taken_out_of_the_settings_are_gone_with_what_was_heard_against_them():
    room = room_of(replace(VILDE, offsets_cents=((4, -5.0),)))
    bring_in(room)
    again = room_of(VILDE)

    again.restore(stored(room))

    assert shown(again)["offsets_cents"] == {}
    assert rolls(again) == {4: "not heard", 3: "in", 2: "in", 1: "in"}


def test_offsets_taken_away_in_the_room_do_not_come_back_from_the_settings():
    configured = replace(VILDE, offsets_cents=((4, -5.0),))
    room = room_of(configured)
    room.change_player("vilde", offsets_cents="none")
    again = room_of(configured)

    again.restore(stored(room))

    assert shown(again)["offsets_cents"] == {}


def test_stored_offsets_that_cannot_be_are_reported_and_left_out():
    state = stored(room_of(VILDE))
    state["players"][0]["offsets_cents"] = {"4": 4000.0}
    room = room_of(VILDE)

    (refused,) = room.restore(state)

    assert refused.startswith("what was changed for Vilde is left out: offset 4000.0 cents")
    assert shown(room)["offsets_cents"] == {}


def test_a_seat_is_stored_as_plain_data():
    seat = take_seat(replace(VILDE, offsets_cents=((4, -5.0),)), load_instruments(), 2)

    row = seat.state()

    assert row["offsets_cents"] == row["configured"]["offsets_cents"] == {"4": -5.0}
    assert json.loads(json.dumps(row)) == row
    assert restored_seat(seat, row, load_instruments(), 2).player == seat.player


# -- unison courses -----------------------------------------------------------


def test_a_course_that_is_meant_to_beat_has_both_its_strings_asked_for():
    room = room_of(replace(TOVE, offsets_cents=((2, 3.0),)))

    room.hear(note(HIGH_E, 0.0), 1.0)
    one = rolls(room)
    room.hear(note(HIGH_E, 3.0), 1.0)

    assert (one[1], one[2]) == ("in", "not heard")
    assert (rolls(room)[1], rolls(room)[2]) == ("in", "in")


def test_a_course_within_the_limit_is_heard_together():
    room = room_of(replace(TOVE, offsets_cents=((2, 1.5),)))

    room.hear(note(HIGH_E, 0.0), 1.0)

    assert (rolls(room)[1], rolls(room)[2]) == ("in", "in")
    assert string_of(room, 1)["cents"] == pytest.approx(0.0, abs=1e-8)
    assert string_of(room, 2)["cents"] == pytest.approx(-1.5, abs=1e-8)
