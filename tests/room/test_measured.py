"""Instruments of fixed pitch in the room: the one being measured, those kept, the compromise."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from station.errors import NotNowError, UnknownMeasurementError, UnknownPlayerError, UsageError
from station.measure.fixed.types import FixedNote, Reed
from station.music.pitch import cents_between, midi_to_hz
from station.room.instrument import Source, stored_instrument
from station.room.measured import IDLE_S, KEPT_MAX, Measured
from station.room.room import Player, Reference, Room

AT = "2031-05-06T18:00:00Z"
LATER = "2031-05-06T18:05:00Z"
HARP = Source("sanna", "Sanna's harmonica", 2, "sanna")
SCALE = (60, 62, 64, 65, 67, 69, 71, 72)

BAND = (
    Player("oda", "Oda", "guitar", line=1),
    Player("sanna", "Sanna", "harmonica", line=2),
    Player("pia", "Pia", "piano", line=3),
)


def heard(
    midi: int, a4_hz: float = 441.0, *, line: int = 2, onset_s: float | None = None
) -> FixedNote:
    hz = midi_to_hz(midi, a4_hz)
    start_s = float(midi) if onset_s is None else onset_s
    return FixedNote(line, start_s, start_s + 1.0, hz, 0.1, 0.0, 8, (Reed(hz, 0.1, 0.0),), None)


def measured_one(
    measured: Measured, source: Source, a4_hz: float, at: str = AT, scale: tuple[int, ...] = SCALE
) -> dict[str, Any]:
    measured.begin([source], at, 0.0)
    measured.hear(source.line, [heard(m, a4_hz, line=source.line) for m in scale], False, 1.0)
    return measured.finish(at)


def source(number: int) -> Source:
    return Source(f"line-{number}", f"instrument on line {number}", number)


def room(players: tuple[Player, ...] = BAND, a4_hz: float = 440.0, lines: int = 4) -> Room:
    return Room(players, Reference(a4_hz), lines=lines)


def shown(room: Room) -> dict[str, Any]:
    return json.loads(json.dumps(room.snapshot(0.0), allow_nan=False))


def test_an_instrument_is_measured_from_its_notes_while_they_are_played():
    measured = Measured()
    measured.begin([HARP], AT, 0.0)

    distinct = []
    for midi in SCALE:
        assert measured.hear(2, [heard(midi)], True, 1.0)
        instrument = measured.measuring_as_json(440.0)["instrument"]
        distinct.append((instrument["distinct"], instrument["enough"]))

    assert [count for count, _ in distinct] == list(range(1, len(SCALE) + 1))
    assert (distinct[0][1], distinct[-1][1]) == (False, True)
    assert instrument["a4_hz"] == pytest.approx(441.0, abs=0.05)
    assert instrument["cents"] == pytest.approx(cents_between(441.0, 440.0), abs=0.2)
    assert instrument["beats_hz"] == pytest.approx(1.0, abs=0.05)
    assert measured.kept() == []


def test_what_is_finished_is_kept_under_its_id_and_listening_is_over():
    measured = Measured()

    instrument = measured_one(measured, HARP, 441.0, LATER)

    (kept,) = measured.as_json(440.0)
    assert (kept["id"], kept["name"], kept["line"]) == ("sanna", "Sanna's harmonica", 2)
    assert kept["measured_at"] == LATER
    assert measured.get("sanna") == instrument
    assert measured.measuring_as_json(440.0) is None
    assert measured.lines() == frozenset()


def test_a_note_told_again_takes_the_place_of_what_was_told_before():
    measured = Measured()
    measured.begin([HARP], AT, 0.0)
    chord = [heard(60, onset_s=1.0), heard(64, onset_s=1.0)]
    measured.hear(2, chord, True, 1.0)

    measured.hear(2, chord, True, 2.0)
    measured.hear(2, [heard(60, 441.2, onset_s=1.0)], True, 3.0)

    assert len(measured.measuring.notes) == 2
    assert measured.measuring.notes[0] == heard(60, 441.2, onset_s=1.0)


def test_sounding_is_told_when_it_changes_and_otherwise_nothing_is():
    measured = Measured()
    measured.begin([HARP], AT, 0.0)

    changed = [measured.hear(2, [], sounding, 1.0) for sounding in (True, True, False, False)]

    assert changed == [True, False, True, False]


def test_what_sounds_on_other_lines_is_not_the_instrument():
    measured = Measured()
    measured.begin([HARP], AT, 0.0)

    changed = measured.hear(3, [heard(60, line=3)], True, 1.0)

    assert not changed
    assert measured.measuring_as_json(440.0)["instrument"] is None


def test_one_instrument_is_measured_at_a_time():
    measured = Measured()

    began = measured.begin([HARP], AT, 0.0), measured.begin([HARP], LATER, 1.0)
    with pytest.raises(NotNowError, match="Sanna's harmonica is being measured"):
        measured.begin([source(3)], AT, 2.0)

    assert began == (True, False)


def test_nothing_heard_cannot_be_finished_and_goes_on_listening():
    measured = Measured()
    with pytest.raises(NotNowError, match="no instrument is being measured"):
        measured.finish(AT)
    measured.begin([HARP], AT, 0.0)

    with pytest.raises(NotNowError, match="no note of Sanna's harmonica"):
        measured.finish(AT)

    assert measured.lines() == {2}


def test_a_cancelled_measurement_leaves_the_earlier_one():
    measured = Measured()
    before = measured_one(measured, HARP, 441.0)
    measured.begin([HARP], LATER, 10.0)
    measured.hear(2, [heard(69, 445.0)], True, 11.0)

    measured.cancel()

    assert measured.kept() == [before]
    with pytest.raises(NotNowError):
        measured.cancel()


@pytest.mark.parametrize("played", [True, False])
def test_a_measurement_nobody_plays_for_ends_by_itself_with_what_was_heard(played):
    measured = Measured()
    measured.begin([HARP], AT, 0.0)
    if played:
        measured.hear(2, [heard(m) for m in SCALE], False, 100.0)
    last_s = 100.0 if played else 0.0

    early, late = (
        measured.lapse(LATER, last_s + IDLE_S - 1.0),
        measured.lapse(LATER, last_s + IDLE_S),
    )

    assert (early, late) == (False, True)
    assert measured.measuring is None
    assert len(measured.kept()) == played


def test_the_newest_stands_first_and_the_same_instrument_once():
    measured = Measured()
    for number, a4_hz in ((1, 441.0), (2, 442.0), (1, 443.0)):
        measured_one(measured, source(number), a4_hz)

    kept = measured.kept()

    assert [each["id"] for each in kept] == ["line-1", "line-2"]
    assert kept[0]["a4_hz"] == pytest.approx(443.0, abs=0.05)


def test_no_more_are_kept_than_a_page_can_show():
    measured = Measured()
    for number in range(1, KEPT_MAX + 2):
        measured_one(measured, source(number), 440.0, scale=(69,))

    kept = [each["line"] for each in measured.kept()]

    assert kept == list(range(KEPT_MAX + 1, 1, -1))


def test_a_forgotten_instrument_is_gone_and_an_unknown_one_is_answered_with_those_there_are():
    measured = Measured()
    measured_one(measured, source(1), 441.0, scale=(69,))
    measured_one(measured, source(2), 441.0, scale=(69,))

    measured.forget("line-1")

    with pytest.raises(UnknownMeasurementError, match=r"'line-1'.*line-2"):
        measured.forget("line-1")


def test_the_json_of_an_instrument_is_made_once_for_a_reference():
    measured = Measured()
    measured_one(measured, HARP, 441.0)

    first, again = measured.as_json(440.0), measured.as_json(440.0)
    other = measured.as_json(441.0)

    assert first[0] is again[0]
    assert first[0]["cents"] != other[0]["cents"]
    assert measured.compromise() is None


# -- the compromise ---------------------------------------------------------------


def put(measured: Measured, **pitches_hz: float) -> None:
    """Take instruments as stored, so that their pitch is exactly what is asked for."""
    template = measured_one(Measured(), HARP, 441.0)
    rows = [
        template | {"id": key, "name": f"the {key}", "a4_hz": a4_hz}
        for key, a4_hz in pitches_hz.items()
    ]
    assert measured.restore(rows) == []


def test_two_instruments_meet_half_way_by_either_rule():
    measured = Measured()
    put(measured, harp=443.0, piano=440.0)

    compromise = measured.compromise()

    # By hand: half-way in cents is the geometric mean, sqrt(443 * 440) = 441.49745 Hz, and
    # each is half of 1200 log2(443 / 440) = 11.7638 cents off.
    for rule in ("worst", "mean"):
        found = compromise[rule]
        assert found["a4_hz"] == pytest.approx(441.49745, abs=1e-4)
        assert found["worst_cents"] == pytest.approx(5.8819, abs=1e-3)
        assert [each["cents"] for each in found["instruments"]] == pytest.approx(
            [5.8819, -5.8819], abs=1e-3
        )
        assert [each["beats_hz"] for each in found["instruments"]] == pytest.approx(
            [1.5025, 1.4975], abs=1e-3
        )
    assert [each["id"] for each in compromise["worst"]["instruments"]] == ["harp", "piano"]
    assert [each["name"] for each in compromise["mean"]["instruments"]] == ["the harp", "the piano"]


def test_of_three_the_two_rules_differ():
    measured = Measured()
    put(measured, harp=444.0, piano=440.0, organ=440.0)

    compromise = measured.compromise()

    assert compromise["worst"]["a4_hz"] == pytest.approx(math.sqrt(444.0 * 440.0), abs=1e-3)
    assert compromise["mean"]["a4_hz"] == pytest.approx(
        math.exp((math.log(444.0) + 2.0 * math.log(440.0)) / 3.0), abs=1e-3
    )


def test_an_instrument_no_band_could_tune_to_is_shown_but_no_part_of_a_compromise():
    measured = Measured()
    put(measured, harp=443.0, piano=440.0, relic=380.0)

    ids = [each["id"] for each in measured.compromise()["worst"]["instruments"]]

    assert ids == ["harp", "piano"]
    assert len(measured.as_json(440.0)) == 3


def test_forgetting_one_of_two_ends_the_compromise():
    measured = Measured()
    put(measured, harp=443.0, piano=440.0)
    before = measured.compromise()

    measured.forget("harp")

    assert before is not None
    assert measured.compromise() is None


# -- what is kept ------------------------------------------------------------------


def test_what_was_measured_outlives_a_restart():
    measured = Measured()
    measured_one(measured, HARP, 441.0)
    measured_one(measured, source(3), 443.0)

    again = Measured()
    lines = again.restore(json.loads(json.dumps(measured.state())))

    assert lines == []
    assert again.as_json(440.0) == measured.as_json(440.0)
    assert again.compromise() == measured.compromise()


ROW = measured_one(Measured(), HARP, 441.0)
SPOILT_NOTE = [ROW["notes"][0] | {"hz": "high"}]


@pytest.mark.parametrize("key", sorted(ROW))
def test_a_stored_instrument_that_lacks_anything_is_left_out_with_one_line(key):
    measured = Measured()

    (line,) = measured.restore([{k: v for k, v in ROW.items() if k != key}, ROW])

    assert key in line
    assert "\n" not in line
    assert measured.kept() == [ROW]


@pytest.mark.parametrize(
    "spoilt",
    [
        {"id": 3}, {"id": ""}, {"name": "x" * 200}, {"a4_hz": 0.0}, {"a4_hz": "441"},
        {"a4_hz": math.inf}, {"a4_hz": True}, {"line": -1}, {"enough": 1}, {"says": "a\nb"},
        {"notes": 3}, {"notes": [{}]}, {"notes": SPOILT_NOTE}, {"notes": [None]},
        {"play_next": [3]}, {"evidence": [{"temperament": "equal"}]}, {"temperament": 7},
        {"spread_cents": "wide"}, {"uncertainty_cents": math.nan},
    ],
)  # fmt: skip
def test_a_stored_instrument_that_is_torn_is_left_out_with_one_line(spoilt):
    measured = Measured()

    (line,) = measured.restore([ROW | spoilt])

    assert next(iter(spoilt)) in line
    assert measured.kept() == []


@pytest.mark.parametrize("stored", ["{", 3, {}, [ROW, ROW], [None]])
def test_stored_instruments_that_are_none_or_twice_are_said_in_one_line(stored):
    measured = Measured()

    (line,) = measured.restore(stored)

    assert "\n" not in line
    assert measured.kept() == ([ROW] if stored == [ROW, ROW] else [])


def test_what_is_measured_can_be_stored():
    assert stored_instrument(ROW) == ROW


# -- in the room ---------------------------------------------------------------------


def play(band: Room, line: int, a4_hz: float = 441.0) -> None:
    band.measure(line, [heard(m, a4_hz, line=line) for m in SCALE], True, 2.0)


def test_a_players_instrument_is_measured_on_its_line():
    band = room()

    (event,) = band.begin_measuring(AT, 1.0, player="sanna")
    play(band, 2)
    band.finish_measuring("oda", LATER, 3.0)

    assert event.payload["measuring"] == {
        "id": "sanna",
        "name": "Sanna's harmonica",
        "lines": [2],
        "player": "sanna",
        "sounding": False,
        "instrument": None,
    }
    (instrument,) = shown(band)["measured"]
    assert instrument["id"] == "sanna"
    assert shown(band)["measuring"] is None
    assert set(instrument) == {
        "id", "name", "line", "measured_at", "a4_hz", "uncertainty_cents", "cents", "beats_hz",
        "temperament", "root", "evidence", "stretch_cents_per_octave", "distinct",
        "spread_cents", "enough", "says", "play_next", "notes",
    }  # fmt: skip
    assert set(instrument["notes"][0]) == {
        "note", "midi", "hz", "cents", "uncertainty_cents", "temperament_cents", "bad", "times",
        "reeds_hz", "beat_hz",
    }  # fmt: skip


def test_an_instrument_that_is_no_players_is_measured_under_its_line():
    band = room()

    band.begin_measuring(AT, 1.0, line=4, name="the chapel's organ")
    play(band, 4)
    band.finish_measuring("oda", LATER, 3.0)
    band.begin_measuring(AT, 4.0, line=3)

    (instrument,) = shown(band)["measured"]
    assert (instrument["id"], instrument["name"]) == ("line-4", "the chapel's organ")
    assert shown(band)["measuring"]["name"] == "instrument on line 3"
    assert band.measuring_lines() == {3}


@pytest.mark.parametrize(
    ("what", "error", "says"),
    [
        ({}, UsageError, "either the player or the line"),
        ({"player": "sanna", "line": 2}, UsageError, "either the player or the line"),
        ({"player": "nobody"}, UnknownPlayerError, "oda, sanna, pia"),
        ({"player": "oda"}, UsageError, "Guitar, which is tuned"),
        ({"line": 5}, UsageError, "lines 1 to 4"),
        ({"line": 0}, UsageError, "lines 1 to 4"),
        ({"line": True}, UsageError, "lines 1 to 4"),
        ({"line": 2, "name": 7}, UsageError, "not text"),
    ],
)
def test_a_measurement_that_cannot_be_meant_is_refused_in_one_line(what, error, says):
    band = room()

    with pytest.raises(error, match=says) as refused:
        band.begin_measuring(AT, 1.0, **what)

    assert "\n" not in str(refused.value)
    assert shown(band)["measuring"] is None


def test_the_event_in_which_enough_is_known_says_so():
    band = room()
    band.begin_measuring(AT, 1.0, player="sanna")

    events = [band.measure(2, [heard(midi)], True, 2.0) for midi in SCALE]

    enough = [event.payload["measuring"]["instrument"]["enough"] for (event,) in events]
    assert enough == sorted(enough)
    assert enough[-1]
    assert band.measure(2, [], True, 3.0) == []


def test_a_measurement_nobody_plays_for_ends_as_time_passes():
    band = room()
    band.begin_measuring(AT, 1.0, player="sanna")

    (event,) = band.tick(LATER, 1.0 + IDLE_S)

    assert event.payload["measuring"] is None


def test_the_box_listens_to_every_instrument_of_fixed_pitch_and_takes_the_first_heard():
    band = room()

    (listening,) = band.press_reference_button(AT, 1.0)
    play(band, 3, 442.0)
    play(band, 2, 450.0)
    (adopted,) = band.press_reference_button(LATER, 5.0)

    assert listening.payload["measuring"] == {
        "id": "box",
        "name": "the reference instrument",
        "lines": [2, 3],
        "player": None,
        "sounding": False,
        "instrument": None,
    }
    reference = adopted.payload["reference"]
    assert reference["a4_hz"] == pytest.approx(442.0, abs=0.05)
    assert (reference["by"], reference["agreed"]) == ("the box", [])
    assert reference["source"].startswith("measured from Pia's piano, ±")
    assert adopted.payload["measured"][0]["id"] == "pia"
    entry = band.log()[-1]
    assert (entry.kind, entry.by, entry.at) == ("adopted", "the box", LATER)
    assert entry.evidence["instruments"][0]["id"] == "pia"


def test_without_such_a_player_the_box_listens_on_every_line():
    band = room(players=(BAND[0],))

    band.press_reference_button(AT, 1.0)
    before = band.measuring_lines()
    play(band, 4)

    assert before == {1, 2, 3, 4}
    assert shown(band)["measuring"]["id"] == "line-4"
    assert band.measuring_lines() == {4}


def test_the_second_press_before_anything_was_heard_goes_on_listening():
    band = room()
    band.press_reference_button(AT, 1.0)

    assert band.press_reference_button(AT, 2.0) == []
    assert band.measuring_lines() == {2, 3}
    assert band.reference.a4_hz == 440.0


def test_a_long_press_cancels_and_does_nothing_else():
    band = room()

    idle = band.press_reference_button(AT, 1.0, long=True)
    band.press_reference_button(AT, 2.0)
    play(band, 2)
    (event,) = band.press_reference_button(AT, 5.0, long=True)

    assert idle == []
    assert event.payload["measuring"] is None
    assert (event.payload["measured"], band.reference.a4_hz) == ([], 440.0)


def test_the_box_adopts_over_open_proposals_which_are_told_so():
    band = room()
    band.set_present({"oda", "sanna"}, 0.0)
    band.propose("oda", "typed", AT, 1.0, a4_hz=445.0)
    band.press_reference_button(AT, 2.0)
    play(band, 2)

    (event,) = band.press_reference_button(LATER, 5.0)

    assert event.payload["agreement"]["proposals"] == []
    with pytest.raises(NotNowError, match="was adopted by the box"):
        band.answer(1, "sanna", "yes", AT, 6.0)
