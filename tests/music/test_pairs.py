"""Where two strings' partials meet, how fast they rightly beat, and which string to move."""

from __future__ import annotations

import math

import pytest

from station.errors import NoteNameError, PairError, ReferenceRangeError, TuningError
from station.music.names import parse_note
from station.music.pairs import (
    StringPair,
    Way,
    fretted_pair,
    harmonic_pair,
    interval_cents,
    meeting,
    move,
    open_pair,
    pair_by_way,
    stretch,
    strings_named,
    ways_of,
)
from station.music.tunings import find_tuning_by_name


def made(name: str, way: Way = "harmonics") -> StringPair:
    pair = pair_by_way(*strings_named(name), way)
    assert pair is not None
    return pair


# By hand: E1 = 440 x 2^(-41/12) = 41.2034 Hz, A1 = 55: |164.8138 - 165|; an octave up twice that.
@pytest.mark.parametrize(("name", "beat_hz"), [("E1-A1", 0.186), ("E2-A2", 0.372)])
def test_harmonics_at_frets_5_and_7_of_a_fourth_rightly_beat(name, beat_hz):
    pair = made(name)

    assert pair.partials == (4, 3)
    assert pair.first.touched_fret == 5
    assert pair.second.touched_fret == 7
    assert pair.equal_beat_hz(440.0) == pytest.approx(beat_hz, abs=0.0005)
    assert pair.signed_beat_hz(440.0) < 0  # the pure fourth is too narrow: the upper is flat


def test_a_fourth_left_beatless_is_1_955_cents_flat_and_a_fifth_sharp():
    # 1200 log2(4/3) = 498.045 and 1200 log2(3/2) = 701.955 cents (Ellis).
    assert made("E2-A2").meeting_cents == pytest.approx(498.045, abs=0.0005)
    assert made("E2-A2").beatless_cents == pytest.approx(-1.955, abs=0.0005)
    assert made("G3-D4", "open").beatless_cents == pytest.approx(1.955, abs=0.0005)
    assert made("E2-A2", "fretted").beatless_cents == pytest.approx(0.0, abs=1e-9)
    assert made("D3-D4", "open").beatless_cents == pytest.approx(0.0, abs=1e-9)


def test_the_beat_follows_the_reference():
    assert made("E2-A2").equal_beat_hz(445.0) == pytest.approx(
        made("E2-A2").equal_beat_hz(440.0) * 445 / 440
    )
    with pytest.raises(ReferenceRangeError):
        made("E2-A2").equal_beat_hz(600.0)


def test_stiff_strings_meet_higher_by_the_law_of_stiff_strings():
    # k f sqrt((1 + B k^2) / (1 + B)), Fletcher 1964: by hand for k = 4, B = 1e-4.
    assert stretch(4, 1e-4) == pytest.approx(math.sqrt(1.0016 / 1.0001))
    stiff = made("E2-A2").signed_beat_hz(440.0, (1e-4, 1e-4))

    # 329.6276 x 1.00074966 - 330 x 1.00039991, by hand.
    assert stiff == pytest.approx(-0.2573, abs=0.0005)


@pytest.mark.parametrize(
    ("semitones", "partials"),
    [(0, (1, 1)), (4, (5, 4)), (5, (4, 3)), (7, (3, 2)), (12, (2, 1)), (19, (3, 1)), (6, None)],
)
def test_partials_of_an_interval_meet_in_the_lowest_that_are_near(semitones, partials):
    assert meeting(semitones) == partials


def test_the_lower_string_comes_first_however_they_are_named():
    assert made("A2-E2").name == "E2-A2"


def test_a_fretted_unison_is_the_lower_string_pressed():
    pair = made("G3-B3", "fretted")

    assert (pair.first.fret, pair.first.handling) == (4, "pressed at fret 4")
    assert pair.partials == (1, 1)
    assert pair.first.target_hz() == pytest.approx(pair.second.target_hz())


def test_ways_that_do_not_sound_are_not_there():
    e, b_flat = strings_named("E2-Bb2")

    assert open_pair(e, b_flat) is None
    assert harmonic_pair(e, b_flat) is None
    assert fretted_pair(e, e) is None
    assert [pair.way for pair in ways_of(*strings_named("E2-A2"))] == [
        "open",
        "harmonics",
        "fretted",
    ]


def test_strings_go_by_note_or_by_number_in_a_tuning():
    guitar, twelve = find_tuning_by_name("guitar"), find_tuning_by_name("guitar-12")
    mandolin = find_tuning_by_name("mandolin")

    assert [s.number for s in strings_named("6-5", guitar)] == [6, 5]
    assert [s.number for s in strings_named("E2-A2", guitar)] == [6, 5]
    assert [s.number for s in strings_named("B3-B3", twelve)] == [3, 4]
    assert [s.number for s in strings_named("A4-A4", mandolin)] == [2, 2]
    assert [s.number for s in strings_named("E2-Bb2", guitar)] == [6, 0]
    assert [s.midi for s in strings_named("E2–A2")] == [parse_note("E2"), parse_note("A2")]


@pytest.mark.parametrize(
    ("name", "error"),
    [
        ("E2", PairError),
        ("E2-A2-D3", PairError),
        ("", PairError),
        ("6-5", PairError),
        ("H2-A2", NoteNameError),
    ],
)
def test_names_that_are_no_pair_are_refused_in_one_line(name, error):
    with pytest.raises(error) as caught:
        strings_named(name)

    assert "\n" not in str(caught.value)


def test_numbers_that_the_tuning_lacks_are_refused():
    guitar = find_tuning_by_name("guitar")

    with pytest.raises(TuningError):
        strings_named("9-5", guitar)
    with pytest.raises(PairError):
        strings_named("6-6", guitar)


def test_a_pair_that_beats_as_it_should_is_in():
    pair = made("E2-A2")

    said = move(pair, 0.372, -0.372, 329.63)

    assert (said.verdict, said.string) == ("in", None)
    assert said.leave_hz == pytest.approx(0.372, abs=0.0005)
    assert said.lower is pair.first


def test_a_beatless_fourth_is_not_in():
    said = move(made("E2-A2"), 0.0, 0.0, 330.0)

    assert said.cents == pytest.approx(-1.955, abs=0.001)
    assert said.verdict == "tighten"  # the upper string is flat


def test_the_string_farther_from_its_place_moves_unless_it_is_held():
    pair = made("G3-D4", "open")
    beat = pair.signed_beat_hz() + 3.0  # the first too high, or the second too low

    first_off = move(pair, abs(beat), beat, 590.0, (8.8, 0.0))
    second_off = move(pair, abs(beat), beat, 590.0, (0.0, -8.8))
    held = move(pair, abs(beat), beat, 590.0, (8.8, 0.0), hold=0)

    assert (first_off.string, first_off.verdict) == (pair.first, "slacken")
    assert (second_off.string, second_off.verdict) == (pair.second, "tighten")
    assert (held.string, held.verdict) == (pair.second, "tighten")


def test_without_knowing_which_is_which_no_string_is_blamed():
    said = move(made("E2-A2"), 0.9, None, 330.0)

    assert (said.cents, said.string, said.verdict) == (None, None, None)
    assert min(said.either_cents) < -1 < 1 < max(said.either_cents)


def test_where_both_signs_ask_for_the_same_the_verdict_is_told():
    # Slower than the beat to leave: whichever string is above, the interval is too narrow.
    said = move(made("E2-A2"), 0.1, None, 330.0)

    assert said.cents is None
    assert said.verdict == "tighten"


def test_cents_of_a_beat_follow_from_the_two_lines():
    pair = made("E4-E4", "open")

    # 1 Hz at 330 Hz: 1200 log2(330 / 329) = 5.254 cents.
    assert interval_cents(pair, -1.0, 329.0) == pytest.approx(5.254, abs=0.001)
    for signed, line in ((math.nan, 330.0), (1.0, 0.0), (400.0, 330.0)):
        with pytest.raises(PairError):
            interval_cents(pair, signed, line)
