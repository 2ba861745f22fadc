"""Strings off equal temperament: pure fifths, a player's own offsets, and bad values."""

from __future__ import annotations

import json
import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import TuningError
from station.music import Tuning, custom_tuning, find_instrument, find_tuning_by_name, with_capo
from station.music.offsets import (
    OFFSET_MAX_CENTS,
    PURE_FIFTH_CENTS,
    offsets_as_json,
    offsets_label,
    offsets_of,
    pure_fifths,
    read_offsets,
    refitted,
    with_offsets,
)

VIOLIN = find_tuning_by_name("violin")
GUITAR = find_tuning_by_name("guitar")
IN_FIFTHS = (
    "violin", "viola", "cello", "mandolin", "violin:half-step-down", "viola:half-step-down",
    "cello:half-step-down", "mandolin:half-step-down", "mandolin:whole-step-down",
    "double-bass:fifths",
)  # fmt: skip


def tempered(tuning: Tuning, wanted: object) -> Tuning:
    return with_offsets(tuning, read_offsets(wanted, tuning))


def test_a_pure_fifth_has_the_cents_that_ellis_gives():
    # 3 : 2 = 701.955 cents: H. Helmholtz, On the Sensations of Tone, transl. A. J. Ellis,
    # 2nd ed. 1885, table of intervals not exceeding an octave.
    assert pytest.approx(701.955, abs=0.0005) == PURE_FIFTH_CENTS


@pytest.mark.parametrize(
    ("name", "by_note"),
    [
        # By hand: each fifth up from the A adds 701.955 - 700 = 1.955, each down takes it off.
        ("violin", {"E5": 1.955, "D4": -1.955, "G3": -3.910}),
        ("mandolin", {"E5": 1.955, "D4": -1.955, "G3": -3.910}),
        ("viola", {"D4": -1.955, "G3": -3.910, "C3": -5.865}),
        ("cello", {"D3": -1.955, "G2": -3.910, "C2": -5.865}),
        ("double-bass:fifths", {"D2": -1.955, "G1": -3.910, "C1": -5.865}),
    ],
)
def test_pure_fifths_are_counted_from_the_a_string(name, by_note):
    tuning = find_tuning_by_name(name)

    offsets = pure_fifths(tuning)

    assert {tuning.string(number).note: cents for number, cents in offsets} == by_note


@pytest.mark.parametrize("name", IN_FIFTHS)
@pytest.mark.parametrize("a4_hz", [415.0, 440.0, 443.2])
def test_neighbouring_strings_stand_three_to_two(name, a4_hz):
    tuning = find_tuning_by_name(name)

    hz = [string.target_hz(a4_hz) for string in tempered(tuning, "pure fifths").strings]

    for higher_hz, lower_hz in pairwise(hz):
        assert 1200.0 * math.log2(higher_hz / lower_hz * 2.0 / 3.0) == pytest.approx(0, abs=0.0011)


def test_the_a_string_stands_on_the_reference():
    (a_string,) = [s for s in tempered(VIOLIN, "pure fifths").strings if s.note == "A4"]

    assert a_string.target_hz(442.3) == 442.3


@pytest.mark.parametrize(
    ("name", "anchor"),
    [("violin:half-step-down", "Ab4"), ("mandolin:whole-step-down", "G4")],
)
def test_without_an_a_string_they_are_counted_from_the_one_nearest_to_an_a(name, anchor):
    strings = tempered(find_tuning_by_name(name), "pure fifths").strings

    assert [string.note for string in strings if string.offset_cents == 0.0] == [anchor]


def test_two_strings_as_near_to_an_a_leave_it_to_the_higher():
    # Db Ab Eb Bb F C: Ab and Bb are both a semitone from A.
    tuning = custom_tuning("flat fifths", "guitar", ["Db2", "Ab2", "Eb3", "Bb3", "F4", "C5"])

    offsets = dict(pure_fifths(tuning))

    assert 3 not in offsets  # Bb3
    assert offsets[5] == -3.910


def test_unison_courses_in_fifths_count_as_one_string():
    notes = [note for note in ("C2", "G2", "D3", "A3", "E4", "B4") for _ in range(2)]
    tuning = custom_tuning("in fifths", "guitar-12", notes)

    offsets = dict(pure_fifths(tuning))

    assert offsets == {
        1: 3.910, 2: 3.910, 3: 1.955, 4: 1.955, 7: -1.955, 8: -1.955, 9: -3.910, 10: -3.910,
        11: -5.865, 12: -5.865,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("guitar", "from B3 to E4 (strings 2 and 1) is not a fifth"),
        ("double-bass", "from D2 to G2 (strings 2 and 1) is not a fifth"),
        ("violin:cross-a", "from E4 to A4 (strings 3 and 2) is not a fifth"),
        ("mandolin:gdad", "from A4 to D5 (strings 2 and 1) is not a fifth"),
    ],
)
def test_strings_that_are_not_fifths_apart_refuse_pure_fifths_and_say_which(name, says):
    with pytest.raises(TuningError) as refused:
        pure_fifths(find_tuning_by_name(name))

    assert says in str(refused.value)


def test_strings_of_one_note_have_no_fifths():
    tuning = custom_tuning("drone", "violin", ["D4", "D4", "D4", "D4"])

    with pytest.raises(TuningError, match="one note"):
        pure_fifths(tuning)


@pytest.mark.parametrize("name", IN_FIFTHS)
def test_pure_fifths_are_known_by_their_cents(name):
    tuning = find_tuning_by_name(name)
    typed = offsets_as_json(pure_fifths(tuning))

    assert offsets_label(tempered(tuning, typed)) == "pure fifths"
    assert offsets_label(tempered(tuning, {**typed, "4": 0.5})) == "own"
    assert offsets_label(tempered(tuning, "none")) == ""


def test_no_tuning_comes_with_offsets():
    tunings = [
        tuning
        for key in ("violin", "guitar", "guitar-12", "mandolin", "banjo")
        for tuning in find_instrument(key).tunings.values()
    ]

    assert tunings
    assert all(offsets_of(tuning) == () for tuning in tunings)


def test_a_target_is_the_equal_tempered_note_and_its_offset():
    tuning = tempered(GUITAR, {"5": -6.0})

    # By hand: 110 Hz * 2**(-6/1200).
    assert tuning.string(5).target_hz(440.0) == pytest.approx(109.619428, abs=1e-6)
    assert tuning.string(4).target_hz(440.0) == GUITAR.string(4).target_hz(440.0)


def test_a_capo_leaves_the_offsets_with_their_strings_wherever_it_is_put():
    mandolin = find_tuning_by_name("mandolin")

    put_on = with_capo(tempered(mandolin, "pure fifths"), 2)
    already_on = tempered(with_capo(mandolin, 2), "pure fifths")

    assert put_on == already_on
    assert offsets_of(put_on) == pure_fifths(mandolin)
    assert offsets_label(put_on) == "pure fifths"
    assert [string.note for string in put_on.strings] == ["F#5", "B4", "E4", "A3"]
    assert with_capo(put_on, 0) == tempered(mandolin, "pure fifths")


def test_new_offsets_take_the_place_of_the_old():
    tuning = tempered(tempered(GUITAR, {"1": 3.0, "2": -4.0}), {"6": 1.0})

    assert offsets_of(tuning) == ((6, 1.0),)


def test_another_tuning_keeps_own_offsets_and_works_pure_fifths_out_anew():
    half_down = find_tuning_by_name("violin:half-step-down")
    in_g = find_tuning_by_name("violin:cross-a")
    a_above = custom_tuning("a on g", "violin", ["A3", "E4", "B4", "F#5"])

    assert refitted(tempered(VIOLIN, {"4": 7.0}), half_down) == ((4, 7.0),)
    assert refitted(tempered(VIOLIN, "pure fifths"), half_down) == pure_fifths(VIOLIN)
    # A is the lowest string now: 1.955 for each fifth above it.
    assert refitted(tempered(VIOLIN, "pure fifths"), a_above) == ((1, 5.865), (2, 3.91), (3, 1.955))
    assert refitted(tempered(VIOLIN, "pure fifths"), in_g) == ()
    assert refitted(VIOLIN, half_down) == ()


@pytest.mark.parametrize("wanted", ["pure fifths", "Pure Fifths", " pure-fifths ", "PURE_FIFTHS"])
def test_a_preset_may_be_written_loosely(wanted):
    assert read_offsets(wanted, VIOLIN) == pure_fifths(VIOLIN)


@pytest.mark.parametrize("wanted", ["none", "None", {}, {"1": 0}, {"1": -0.0}, {"1": 0.0004}])
def test_no_offset_is_no_entry(wanted):
    assert read_offsets(wanted, GUITAR) == ()


def test_offsets_are_kept_by_string_to_a_thousandth_of_a_cent():
    assert read_offsets({"4": -5.8650026, 2: 3}, GUITAR) == ((2, 3.0), (4, -5.865))


@pytest.mark.parametrize("limit", [OFFSET_MAX_CENTS, -OFFSET_MAX_CENTS])
def test_the_limit_itself_is_taken_and_nothing_past_it(limit):
    assert read_offsets({"1": limit}, GUITAR) == ((1, limit),)

    with pytest.raises(TuningError, match="between -50 and 50 cents: did you mean a tuning"):
        read_offsets({"1": limit * 1.0001}, GUITAR)


@pytest.mark.parametrize(
    ("wanted", "says"),
    [
        ({"4": 200}, "200 cents of string 4: it lies between -50 and 50"),
        ({"4": math.inf}, "inf cents of string 4"),
        ({"4": math.nan}, "nan of string 4 is not a number"),
        ({"4": 10**400}, "did you mean a tuning"),
        ({"4": "-5.865"}, "'-5.865' of string 4 is not a number"),
        ({"4": True}, "True of string 4 is not a number"),
        ({"4": None}, "None of string 4 is not a number"),
        ({"4": {"5": 1}}, "of string 4 is not a number"),
        ({"5": 1.0}, "string 5: the strings of violin:standard are 1 to 4"),
        ({"0": 1.0}, "offset for '0': name the string by its number"),
        ({"-1": 1.0}, "offset for '-1'"),
        ({"04": 1.0}, "offset for '04'"),
        ({"٤": 1.0}, "name the string by its number"),
        ({"G": 1.0}, "offset for 'G'"),
        ({True: 1.0}, "offset for True"),
        ({4.0: 1.0}, "offset for 4.0"),
        ({4: 1.0, "4": 2.0}, "string 4 has two offsets"),
        ([1.0, 2.0], "are no table"),
        (None, "are no table"),
        (5, "are no table"),
        ("", "are unknown (write 'none', 'pure fifths'"),
        ("pure fifth", "did you mean 'pure fifths'?"),
        ("non", "did you mean 'none'?"),
        ("x" * 5000 + "\n", "are unknown"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(wanted, says):
    with pytest.raises(TuningError) as refused:
        read_offsets(wanted, VIOLIN)

    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert len(str(refused.value)) < 200


@given(st.dictionaries(st.integers(1, 12), st.floats(-50.0, 50.0)))
def test_offsets_come_back_from_json_as_they_were(wanted):
    tuning = find_tuning_by_name("guitar-12")
    offsets = read_offsets(wanted, tuning)

    again = read_offsets(json.loads(json.dumps(offsets_as_json(offsets))), tuning)

    assert again == offsets == offsets_of(with_offsets(tuning, offsets))
    assert all(abs(cents - wanted[number]) <= 0.00051 for number, cents in offsets)
