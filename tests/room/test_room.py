"""The roll call, the snapshot's shape, and who is heard."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import ReferenceRangeError, TuningError, UnknownPlayerError, UsageError
from station.measure.types import Gap, Level, Note, Reading
from station.music.pitch import midi_to_hz, shift_cents
from station.room.mains import STAYS_S
from station.room.model import Station
from station.room.room import Player, Reference, Room

ODA = Player("oda", "Oda", "guitar", "standard", line=1)
BRAM = Player("bram", "Bram", "bass", "standard", line=2)
PIA = Player("pia", "Pia", "piano", line=3)
TRES = Player("tres", "Tres", "drum-kit", line=4)

# Open strings of a guitar in standard tuning, E2 A2 D3 G3 B3 E4, as MIDI note
# numbers (from memory, common practice).
GUITAR = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}


def band(a4_hz: float = 440.0, players: tuple[Player, ...] = (ODA, BRAM, PIA, TRES)) -> Room:
    return Room(players, Reference(a4_hz), lines=4)


def reading(
    midi: int,
    cents: float = 0.0,
    *,
    line: int = 1,
    at_s: float = 0.5,
    onset_s: float = 0.1,
    uncertainty_cents: float = 0.3,
    a4_hz: float = 440.0,
) -> Reading:
    hz = shift_cents(midi_to_hz(midi, a4_hz), cents)
    return Reading(line, at_s, hz, uncertainty_cents, 1e-4, 12, onset_s)


def note(midi: int, cents: float = 0.0, *, line: int = 1, uncertainty_cents: float = 0.1) -> Note:
    hz = shift_cents(midi_to_hz(midi), cents)
    return Note(line, 0.1, 2.0, hz, uncertainty_cents, 1e-4, 12)


def string_of(room: Room, player: str, string: int, now_s: float = 10.0) -> dict:
    players = {p["id"]: p for p in room.snapshot(now_s)["players"]}
    return {s["string"]: s for s in players[player]["strings"]}[string]


def roll_of(room: Room, player: str, string: int) -> str:
    return string_of(room, player, string)["roll"]


def bring_everyone_in(room: Room) -> None:
    for player in room.snapshot(0.0)["players"]:
        for string in player["strings"]:
            hz = string["target_hz"]
            room.hear(Note(player["line"], 0.1, 2.0, hz, 0.1, 1e-4, 12), 1.0)


def test_nobody_has_been_heard_at_the_start():
    room = band()

    assert room.roll_call() == {"in": 0, "out": 0, "not_heard": 10, "total": 10, "complete": False}


def test_a_flat_string_that_passes_its_target_in_the_attack_is_not_in():
    room = band()

    # Struck 2.6 cents flat, it sounds in at first and glides down to where it belongs.
    for at_s, cents in ((0.2, -0.2), (0.22, -0.3), (0.3, -1.9), (0.5, -2.6), (0.6, -2.6)):
        payload = room.hear(reading(45, cents, at_s=at_s), at_s)[0].payload

        assert roll_of(room, "oda", 5) == ("out" if at_s > 0.5 else "not heard")
    assert payload["verdict"] == "tighten"


def test_a_string_on_its_way_past_its_target_is_not_in_nor_stays_in():
    room = band()

    # A peg is turned from 5 cents flat to 2.6 sharp, through where it would be in.
    for at_s, cents in ((1.0, -0.9), (1.02, -0.3), (1.04, 0.3), (1.06, 1.5)):
        moving = replace(reading(45, cents, at_s=at_s), moving=True)
        room.hear(moving, at_s)
        assert roll_of(room, "oda", 5) == "not heard"
    for at_s in (1.2, 1.22):
        payload = room.hear(reading(45, 2.6, at_s=at_s), at_s)[0].payload

    assert payload["verdict"] == "slacken"
    assert roll_of(room, "oda", 5) == "out"


def test_one_reading_alone_does_not_move_the_roll_call():
    room = band()

    events = room.hear(reading(45), 1.0)

    assert roll_of(room, "oda", 5) == "not heard"
    assert [event.kind for event in events] == ["reading"]


def test_two_agreeing_readings_of_one_note_bring_a_string_in():
    room = band()

    room.hear(reading(45, 0.4), 1.0)
    events = room.hear(reading(45, 0.6, at_s=0.6), 1.1)

    assert roll_of(room, "oda", 5) == "in"
    assert [event.kind for event in events] == ["reading", "room"]
    assert events[1].payload["roll_call"]["in"] == 1


@pytest.mark.parametrize(
    ("second", "why"),
    [
        ({"cents": 2.9}, "they lie more than a cent apart"),
        ({"onset_s": 0.55}, "they belong to two notes"),
        ({"uncertainty_cents": 1.2}, "the second is too uncertain"),
    ],
)
def test_two_readings_that_do_not_agree_leave_the_roll_call(second, why):
    room = band()

    room.hear(reading(45, 0.5), 1.0)
    room.hear(reading(45, **{"cents": 0.5, "at_s": 0.6, **second}), 1.1)

    assert roll_of(room, "oda", 5) == "not heard", why


def test_readings_either_side_of_a_gap_do_not_make_a_pair():
    room = band()

    room.hear(reading(45), 1.0)
    room.hear(Gap(1, 0.55, 4800), 1.05)
    room.hear(reading(45, at_s=0.7), 1.2)

    assert roll_of(room, "oda", 5) == "not heard"


def test_a_note_brings_a_string_in_or_out_by_itself():
    room = band()

    room.hear(note(40, -1.5), 1.0)
    room.hear(note(64, 12.0), 2.0)

    assert roll_of(room, "oda", 6) == "in"
    assert roll_of(room, "oda", 1) == "out"
    assert string_of(room, "oda", 1)["verdict"] == "slacken"


def test_a_note_too_uncertain_to_tell_in_from_out_decides_nothing():
    room = band()

    room.hear(note(40, -3.0, uncertainty_cents=4.0), 1.0)
    room.hear(note(45, -30.0, uncertainty_cents=4.0), 2.0)

    assert roll_of(room, "oda", 6) == "not heard"
    assert roll_of(room, "oda", 5) == "out"


def test_a_string_that_slips_goes_out_again():
    room = band()
    room.hear(note(55, 0.0), 1.0)

    room.hear(note(55, -9.0), 60.0)

    assert roll_of(room, "oda", 3) == "out"
    assert string_of(room, "oda", 3)["verdict"] == "tighten"


def test_a_fretted_note_does_not_take_a_string_out():
    room = band()
    room.hear(note(40), 1.0)

    room.hear(note(41), 2.0)

    assert roll_of(room, "oda", 6) == "in"
    assert string_of(room, "oda", 6)["cents"] == pytest.approx(100.0)


def test_the_verdict_does_not_flicker_within_a_note_but_a_fresh_note_is_judged_afresh():
    room = band()
    room.hear(reading(45, 1.9), 1.0)

    (event, *_) = room.hear(reading(45, 2.6, at_s=0.6), 1.1)
    (fresh, *_) = room.hear(reading(45, 2.6, at_s=2.6, onset_s=2.0), 3.1)

    assert event.payload["verdict"] == "in"
    assert fresh.payload["verdict"] == "slacken"


def test_changing_the_reference_resets_everyone():
    room = band()
    bring_everyone_in(room)
    assert room.roll_call()["complete"]

    (event,) = room.set_reference(441.0, "Oda", "Pia's piano", "2031-05-06T18:00:00Z")

    assert room.roll_call()["not_heard"] == 10
    assert event.kind == "room"
    assert event.payload["reference"] == {
        "a4_hz": 441.0,
        "set_at": "2031-05-06T18:00:00Z",
        "by": "Oda",
        "source": "Pia's piano",
        "agreed": [],
        "undo_hz": 440.0,
    }
    assert all(player["now"] is None for player in event.payload["players"])


def test_a_reading_from_before_the_change_does_not_pair_with_one_after():
    room = band()
    room.hear(reading(45), 1.0)
    room.set_reference(441.0, "Oda", "", "")

    room.hear(reading(45, a4_hz=441.0, at_s=0.6), 1.1)

    assert roll_of(room, "oda", 5) == "not heard"


def test_agreeing_on_the_same_frequency_again_keeps_the_roll_call():
    room = band()
    bring_everyone_in(room)

    room.set_reference(440.0, "Bram", "fork", "")

    assert room.roll_call()["complete"]
    assert room.reference.by == "Bram"


@pytest.mark.parametrize("a4_hz", [4400.0, 0.0, 389.9, 470.1, math.nan, "440", None, True])
def test_an_impossible_reference_is_refused_and_changes_nothing(a4_hz):
    room = band()
    bring_everyone_in(room)

    with pytest.raises(ReferenceRangeError):
        room.set_reference(a4_hz, "Oda", "", "")

    assert room.reference.a4_hz == 440.0
    assert room.roll_call()["complete"]


@pytest.mark.parametrize("by", ["x" * 61, "a\x1b[2J", 7])
def test_a_name_that_no_page_could_show_is_refused(by):
    with pytest.raises(UsageError, match="by"):
        band().set_reference(442.0, by, "", "")


def test_targets_follow_the_reference():
    room = band()
    room.set_reference(415.0, "Oda", "", "")

    assert string_of(room, "oda", 5)["target_hz"] == pytest.approx(415.0 / 4)
    # A2 is two octaves under A4, so its target is a quarter of the reference.


def test_a_reading_says_how_far_and_which_way():
    room = band()

    (event,) = room.hear(reading(45, -10.0), 1.0)

    # f * 2**(-10/1200) = 109.3665 Hz, computed by hand from 110 Hz.
    assert event.key == "oda"
    assert event.payload == {
        "player": "oda",
        "line": 1,
        "at_s": 0.5,
        "hz": pytest.approx(109.3665, abs=1e-4),
        "uncertainty_cents": 0.3,
        "note": "A2",
        "cents": pytest.approx(-10.0),
        "string": 5,
        "target": "A2",
        "target_hz": pytest.approx(110.0),
        "string_cents": pytest.approx(-10.0),
        "beats_hz": pytest.approx(110.0 - 109.3665, abs=1e-4),
        "verdict": "tighten",
        "clipped": False,
    }


def test_a_pitch_far_from_every_open_string_is_read_without_one():
    room = band()

    (event,) = room.hear(reading(84), 1.0)

    assert event.payload["note"] == "C6"
    assert event.payload["string"] is None
    assert event.payload["verdict"] is None


@pytest.mark.parametrize("line", [3, 4])
def test_an_instrument_without_strings_gets_readings_without_a_verdict(line):
    room = band()

    (event,) = room.hear(reading(45, 7.0, line=line), 1.0)

    assert event.payload["cents"] == pytest.approx(7.0)
    assert event.payload["verdict"] is None


def test_what_sounds_now_is_shown_for_one_second_by_a_clock_that_never_jumps():
    room = band()
    room.hear(reading(45), 100.0)

    shown = {at: room.snapshot(at)["players"][0]["now"] for at in (100.0, 101.0, 101.1)}

    assert shown[100.0]["note"] == shown[101.0]["note"] == "A2"
    assert shown[101.1] is None


def test_two_players_on_a_line_are_told_apart_only_where_no_doubt_is_possible():
    room = band(players=(ODA, Player("bram", "Bram", "bass", "standard", line=1)))

    low = room.hear(reading(28), 1.0)  # E1: the bass alone has it
    high = room.hear(reading(59), 2.0)  # B3: the guitar alone has it
    both = room.hear(reading(40), 3.0)  # E2: guitar string 6, or fretted on the bass's D2

    assert [(e.payload["player"], e.payload["string"]) for e in low] == [("bram", 4)]
    assert [(e.payload["player"], e.payload["string"]) for e in high] == [("oda", 2)]
    assert [(e.payload["player"], e.payload["string"]) for e in both] == [
        ("oda", None),
        ("bram", None),
    ]


def test_a_piano_on_the_same_line_leaves_every_string_in_doubt():
    room = band(players=(ODA, Player("pia", "Pia", "piano", line=1)))

    events = room.hear(note(45), 1.0)

    assert [event.payload["string"] for event in events] == [None, None]
    assert roll_of(room, "oda", 5) == "not heard"


def test_strings_of_one_pitch_are_heard_together():
    room = band(players=(Player("nel", "Nel", "guitar-12", "standard", line=1),))
    strings = room.snapshot(0.0)["players"][0]["strings"]
    unison = [s["string"] for s in strings if s["note"] == "E4"]
    assert len(unison) == 2

    room.hear(note(64), 1.0)

    assert [roll_of(room, "nel", number) for number in unison] == ["in", "in"]


def test_a_line_without_a_player_is_still_read():
    room = band(players=(ODA,))

    (event,) = room.hear(reading(45, line=2), 1.0)

    assert event.payload["player"] is None
    assert event.payload["note"] == "A2"


def test_a_level_makes_a_room_event_only_when_the_line_changes():
    room = band()
    quiet = Level(2, 0.25, -70.0, -60.0, 0.0, False, "quiet")

    first = room.hear(quiet, 1.0)
    again = room.hear(quiet, 1.25)
    louder = room.hear(Level(2, 0.5, -20.0, 0.0, 0.0, True, "signal"), 1.5)

    assert [len(first), len(again), len(louder)] == [1, 0, 1]
    assert louder[0].payload["lines"][1] == {
        "line": 2,
        "rms_dbfs": -20.0,
        "peak_dbfs": 0.0,
        "dc": 0.0,
        "clipped": True,
        "state": "signal",
        "hum_hz": None,
        "hum_dbfs": None,
    }


def humming(hum_hz: float | None, hum_dbfs: float | None, line: int = 2) -> Level:
    return Level(line, 0.25, -40.0, -36.0, 0.0, False, "signal", hum_hz, hum_dbfs)


def hum_of(room: Room, line: int = 2) -> tuple[float | None, float | None]:
    told = room.snapshot(0.0)["lines"][line - 1]
    return told["hum_hz"], told["hum_dbfs"]


def test_the_hum_last_heard_of_a_line_is_kept_and_told_when_it_has_moved():
    room = band()
    room.hear(humming(None, None), 1.0)

    events = [room.hear(humming(*hum), 2.0) for hum in ((50.03, -41.2), (50.05, -41.9))]

    assert [len(each) for each in events] == [1, 0]
    assert hum_of(room) == (50.05, -41.9)
    assert hum_of(room, line=1) == (None, None)
    assert len(room.hear(humming(50.05, -42.5), 2.5)) == 1
    assert len(room.hear(humming(50.11, -42.5), 2.75)) == 1


def test_hum_hidden_for_a_moment_stays_and_hum_that_is_gone_goes():
    room = band()
    room.hear(humming(50.03, -41.2), 1.0)

    hidden = room.hear(humming(None, None), 1.0 + STAYS_S / 2)
    kept = hum_of(room)
    gone = room.hear(humming(None, None), 1.0 + STAYS_S)

    assert (hidden, kept) == ([], (50.03, -41.2))
    assert gone[0].payload["lines"][1]["hum_hz"] is None
    assert hum_of(room) == (None, None)


def test_dropping_one_string_keeps_what_was_heard_of_the_others():
    room = band()
    bring_everyone_in(room)

    room.change_player("oda", tuning="drop-d")

    assert roll_of(room, "oda", 6) == "not heard"
    assert string_of(room, "oda", 6)["note"] == "D2"
    assert [roll_of(room, "oda", number) for number in (5, 4, 3, 2, 1)] == ["in"] * 5


def test_a_capo_raises_the_targets_and_asks_for_the_strings_again():
    room = band()
    bring_everyone_in(room)

    room.change_player("oda", capo=2)

    assert string_of(room, "oda", 5)["target_hz"] == pytest.approx(midi_to_hz(47))
    assert roll_of(room, "oda", 5) == "not heard"


def test_a_new_instrument_comes_with_its_usual_tuning_and_no_capo():
    room = band()
    room.change_player("oda", tuning="dadgad", capo=3)

    room.change_player("oda", instrument="violin")

    player = room.snapshot(0.0)["players"][0]
    assert (player["instrument"], player["tuning"], player["capo"]) == ("violin", "standard", 0)
    assert [s["note"] for s in player["strings"]] == ["G3", "D4", "A4", "E5"]


@pytest.mark.parametrize(
    ("changes", "error", "says"),
    [
        ({"tuning": "drop-q"}, TuningError, "drop-d"),
        ({"instrument": "gitar"}, TuningError, "guitar"),
        ({"capo": 13}, UsageError, "12"),
        ({"capo": "2"}, UsageError, "capo"),
        ({"name": ""}, UsageError, "empty"),
        ({"name": "x" * 61}, UsageError, "61"),
        ({"line": 5}, UsageError, "1 to 4"),
        ({"line": True}, UsageError, "whole number"),
        ({"tunning": "dadgad"}, UsageError, "'tuning'"),
        ({"tuning": 3}, UsageError, "text"),
        ({"id": "else"}, UsageError, "'id'"),
        ({"instrument": "piano", "tuning": "standard"}, UsageError, "no strings"),
    ],
)
def test_a_change_that_cannot_be_meant_is_refused_in_one_line_and_changes_nothing(
    changes, error, says
):
    room = band()
    bring_everyone_in(room)
    before = room.snapshot(5.0)

    with pytest.raises(error) as refused:
        room.change_player("oda", **changes)

    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert room.snapshot(5.0) == before


def test_an_unknown_player_is_answered_with_those_there_are():
    with pytest.raises(UnknownPlayerError, match="oda, bram, pia, tres"):
        band().change_player("nobody", name="x")


def test_a_change_to_the_same_makes_no_event():
    assert band().change_player("oda", tuning="standard", capo=0) == []


def test_the_station_says_why_it_does_not_listen_or_light():
    room = band()

    room.set_input_state("waiting", "hw:CARD=Line,DEV=0", "not plugged in", 3, 1)
    room.set_lamp_state("off", "no GPIO chip")
    room.add_banner("saved state was damaged")
    room.add_banner("saved state was damaged")
    room.set_station(tracker="aubio", addresses=["http://192.0.2.7:8000"])

    station = room.snapshot(0.0)["station"]
    assert station["input"] == {
        "state": "waiting",
        "device": "hw:CARD=Line,DEV=0",
        "reason": "not plugged in",
        "overruns": 3,
        "restarts": 1,
    }
    assert station["lamps"] == {"state": "off", "reason": "no GPIO chip"}
    assert station["banners"] == ["saved state was damaged"]
    assert station["addresses"] == ["http://192.0.2.7:8000"]
    assert room.set_lamp_state("off", "no GPIO chip") == []


def test_removing_a_banner_takes_it_off_the_page():
    room = band()
    room.add_banner("storage is full")

    (event,) = room.remove_banner("storage is full")

    assert event.payload["station"]["banners"] == []
    assert room.remove_banner("storage is full") == []


def test_the_snapshot_has_the_keys_the_page_is_promised_and_is_json():
    room = band()
    room.hear(reading(45), 1.0)

    snapshot = json.loads(json.dumps(room.snapshot(1.0), allow_nan=False))

    assert set(snapshot) - set(room.parts) == {
        "station", "reference", "agreement", "measuring", "measured", "compromise", "tone",
        "lines", "players", "roll_call",
    }  # fmt: skip
    assert set(snapshot["station"]) == {
        "name", "version", "simulated", "in_cents", "tracker", "tracker_reason", "note_names",
        "quiet", "input", "lamps", "addresses", "banners", "clock", "tone_out",
    }  # fmt: skip
    assert set(snapshot["station"]["clock"]) == {
        "state", "ppm", "uncertainty_ppm", "synchronised", "source", "reason", "card_cents",
        "budget",
    }  # fmt: skip
    assert set(snapshot["reference"]) == {"a4_hz", "set_at", "by", "source", "agreed", "undo_hz"}
    assert set(snapshot["agreement"]) == {"decides", "leader", "present", "proposals"}
    assert set(snapshot["players"][0]) == {
        "id", "name", "instrument", "instrument_label", "kind", "tuning", "tuning_label",
        "line", "capo", "offsets_cents", "offsets_label", "strings", "now", "taps",
    }  # fmt: skip
    assert set(snapshot["players"][0]["strings"][0]) == {
        "string", "note", "target_hz", "offset_cents", "roll", "cents", "uncertainty_cents",
        "verdict", "age_s",
    }  # fmt: skip
    assert [s["string"] for s in snapshot["players"][0]["strings"]] == [6, 5, 4, 3, 2, 1]
    assert snapshot["lines"][3]["state"] == "unknown"


def test_the_snapshot_says_how_notes_are_named_and_names_them_in_english_all_the_same():
    bass = Player("bram", "Bram", "bass", "half-step-down", line=1)
    room = Room([bass], Reference(), lines=1, station=Station(note_names="solfege"))

    events = room.hear(reading(27), 1.0)
    snapshot = room.snapshot(1.0)

    assert snapshot["station"]["note_names"] == "solfege"
    assert [s["note"] for s in snapshot["players"][0]["strings"]] == ["Eb1", "Ab1", "Db2", "Gb2"]
    assert (events[0].payload["note"], events[0].payload["target"]) == ("D#1", "Eb1")


def test_a_snapshot_does_not_change_after_it_was_taken():
    room = band()
    before = room.snapshot(0.0)
    kept = json.dumps(before)

    bring_everyone_in(room)

    assert json.dumps(before) == kept


def test_two_players_may_not_share_an_id():
    with pytest.raises(UsageError, match="'oda'"):
        band(players=(ODA, ODA))


def test_a_restored_room_is_the_one_that_was_kept():
    room = band()
    room.set_reference(442.0, "Oda", "fork", "2031-05-06T18:00:00Z")
    room.change_player("oda", tuning="dadgad", capo=2, name="Oda K")
    bring_everyone_in(room)
    room.hear(note(45 + 4, 20.0), 3.0)

    again = band()
    refused = again.restore(json.loads(json.dumps(room.state())))

    assert refused == []
    assert again.state() | {"log": room.state()["log"]} == room.state()
    assert again.roll_call() == room.roll_call()
    assert string_of(again, "oda", 1)["age_s"] is None


def test_settings_edited_since_count_more_than_what_was_stored():
    room = band()
    room.change_player("oda", tuning="dadgad")
    state = room.state()

    edited = band(players=(Player("oda", "Oda", "guitar", "open-g", line=1), BRAM))
    edited.restore(state)

    players = {player["id"]: player for player in edited.snapshot(0.0)["players"]}
    assert players["oda"]["tuning"] == "open-g"
    assert set(players) == {"oda", "bram"}


def test_a_stored_tuning_that_is_gone_is_reported_and_left_out():
    room = band()
    state = room.state()
    state["players"][0]["tuning"] = "gone-by-now"

    again = band()
    (refused,) = again.restore(state)

    assert "Oda" in refused
    assert "gone-by-now" in refused
    assert again.snapshot(0.0)["players"][0]["tuning"] == "standard"


sounds = st.one_of(
    st.builds(
        reading,
        st.integers(24, 84),
        st.floats(-49, 49),
        line=st.integers(1, 4),
        onset_s=st.sampled_from([0.1, 0.2]),
        uncertainty_cents=st.sampled_from([0.2, 3.0]),
    ),
    st.builds(note, st.integers(24, 84), st.floats(-49, 49), line=st.integers(1, 4)),
    st.builds(Gap, st.integers(1, 4), st.just(1.0), st.just(64)),
    st.sampled_from([439.0, 440.0, 441.0]),
)


@given(st.lists(sounds, max_size=40))
def test_whatever_is_heard_the_roll_call_counts_every_string_once(sequence):
    room = band()
    for now_s, sound in enumerate(sequence):
        if isinstance(sound, float):
            changes = sound != room.reference.a4_hz
            room.set_reference(sound, "Oda", "", "")
            if changes:
                assert room.roll_call()["not_heard"] == 10
        else:
            room.hear(sound, float(now_s))

    call = room.roll_call()
    assert call["in"] + call["out"] + call["not_heard"] == call["total"] == 10
    assert call["complete"] == (call["in"] == 10)
