"""Which string is sounding."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FrequencyError, ReferenceRangeError, TuningError
from station.music import (
    Tuning,
    custom_tuning,
    find_tuning,
    find_tuning_by_name,
    match_string,
    midi_to_hz,
    shift_cents,
    tuning_names,
    with_capo,
)
from station.music.offsets import with_offsets
from station.music.strings import alike_strings


def twins(tuning: Tuning, number: int) -> tuple[int, ...]:
    """The strings with the same target."""
    return tuple(other for other, _ in alike_strings(tuning, number, 1e-6))


@given(
    st.sampled_from(tuning_names()),
    st.integers(0, 11),
    st.floats(-49.0, 49.0),
    st.floats(390.0, 470.0),
)
def test_a_slightly_detuned_string_is_recognised_in_every_tuning(
    name: str, index: int, cents: float, a4_hz: float
) -> None:
    tuning = find_tuning_by_name(name)
    string = tuning.strings[index % len(tuning.strings)]

    match = match_string(shift_cents(midi_to_hz(string.midi, a4_hz), cents), tuning, a4_hz)

    assert match is not None
    assert string.number in (match.string, *twins(tuning, match.string))
    assert match.midi == string.midi
    assert match.target_hz == midi_to_hz(string.midi, a4_hz)
    assert match.cents == pytest.approx(cents, abs=1e-8)


@given(st.floats(20.0, 5000.0), st.sampled_from(tuning_names()), st.floats(1.0, 1200.0))
def test_no_other_string_is_nearer_and_none_is_out_of_reach(
    hz: float, name: str, reach_cents: float
) -> None:
    tuning = find_tuning_by_name(name)
    distances = [1200 * abs(math.log2(hz / midi_to_hz(s.midi))) for s in tuning.strings]

    match = match_string(hz, tuning, reach_cents=reach_cents)

    if match is None:
        assert min(distances) > reach_cents - 1e-6
    else:
        assert abs(match.cents) <= min(distances) + 1e-5
        assert abs(match.cents) <= reach_cents


def test_the_guitar_a_string_at_110_hz_is_string_5_and_in_tune() -> None:
    # A2 = 110 Hz exactly at ISO 16's reference.
    match = match_string(110.0, find_tuning("guitar"))

    assert match is not None
    assert (match.string, match.note, match.midi, match.target_hz) == (5, "A2", 45, 110.0)
    assert match.cents == pytest.approx(0.0, abs=1e-9)
    assert twins(find_tuning("guitar"), match.string) == ()


@pytest.mark.parametrize("hz", [41.2, 55.0, 659.3])
def test_an_octave_of_a_string_is_not_the_string(hz: float) -> None:
    assert match_string(hz, find_tuning("guitar")) is None


def test_halfway_between_two_strings_the_higher_one_is_flat() -> None:
    halfway_hz = shift_cents(midi_to_hz(40), 250.0)

    match = match_string(halfway_hz, find_tuning("guitar"), reach_cents=250.0001)

    assert match is not None
    assert (match.string, round(match.cents)) == (5, -250)


def test_strings_of_one_pitch_answer_with_the_lowest_number() -> None:
    match = match_string(midi_to_hz(64), find_tuning("guitar-12"))

    assert match is not None
    assert match.string == 1
    assert twins(find_tuning("guitar-12"), 1) == (2,)


def test_octave_partners_of_a_12_string_guitar_are_strings_of_their_own() -> None:
    low = match_string(midi_to_hz(40), find_tuning("guitar-12"))
    high = match_string(midi_to_hz(52), find_tuning("guitar-12"))

    assert low is not None
    assert high is not None
    assert (low.string, high.string) == (11, 12)


def test_a_reentrant_string_is_matched_by_its_pitch() -> None:
    ukulele = match_string(midi_to_hz(67), find_tuning("ukulele"))
    low_g = match_string(midi_to_hz(67), find_tuning("ukulele", "low-g"))
    banjo = match_string(midi_to_hz(67), find_tuning("banjo"))

    assert ukulele is not None
    assert banjo is not None
    assert (ukulele.string, banjo.string) == (4, 5)
    assert low_g is not None
    assert low_g.string == 1  # two semitones flat of A4: that tuning has no G4


def test_the_string_a_player_names_goes_before_a_nearer_one() -> None:
    dadgad = find_tuning("guitar", "dadgad")
    hz = shift_cents(midi_to_hz(55), 120.0)  # G3 wound up too far, nearer to the A string

    alone = match_string(hz, dadgad)
    named = match_string(hz, dadgad, expected=3)

    assert alone is not None
    assert named is not None
    assert (alone.string, round(alone.cents)) == (2, -80)
    assert (named.string, round(named.cents)) == (3, 120)


def test_a_named_string_out_of_reach_gives_way_to_the_one_that_sounds() -> None:
    match = match_string(midi_to_hz(40), find_tuning("guitar"), expected=1)

    assert match is not None
    assert match.string == 6


def test_a_capo_moves_the_targets() -> None:
    match = match_string(midi_to_hz(42), with_capo(find_tuning("guitar"), 2))

    assert match is not None
    assert (match.string, match.note, round(match.cents, 6)) == (6, "F#2", 0.0)


def test_an_offset_moves_the_target_of_its_string_alone() -> None:
    tuning = with_offsets(find_tuning("guitar"), ((5, -4.0),))

    match = match_string(110.0, tuning)
    other = match_string(midi_to_hz(50), tuning)

    assert match is not None
    assert match.target_hz == pytest.approx(shift_cents(110.0, -4.0), rel=1e-12)
    assert (match.string, match.note, match.midi) == (5, "A2", 45)
    assert match.cents == pytest.approx(4.0, abs=1e-9)
    assert other is not None
    assert (other.string, other.cents) == (4, 0.0)


@pytest.mark.parametrize(
    ("cents", "string", "from_target"),
    [(0.0, 1, 0.0), (0.9, 1, 0.9), (1.0, 2, -1.0), (1.1, 2, -0.9), (2.0, 2, 0.0), (-40, 1, -40)],
)
def test_a_unison_course_meant_to_beat_is_told_apart_by_the_nearer_target(
    cents: float, string: int, from_target: float
) -> None:
    course = with_offsets(find_tuning("guitar-12"), ((2, 2.0),))

    match = match_string(shift_cents(midi_to_hz(64), cents), course)

    assert match is not None
    assert match.string == string
    assert twins(course, string) == ()
    assert match.cents == pytest.approx(from_target, abs=1e-8)


def test_a_unison_course_with_one_offset_for_both_is_one_target_still() -> None:
    course = with_offsets(find_tuning("guitar-12"), ((1, 2.0), (2, 2.0)))

    match = match_string(midi_to_hz(64), course)

    assert match is not None
    assert match.string == 1
    assert twins(course, 1) == (2,)


def test_offsets_may_make_one_target_of_two_notes() -> None:
    # B and C a semitone apart, half of it from either side.
    tuning = custom_tuning("close", "guitar", ["E2", "A2", "D3", "G3", "B3", "C4"])

    tuning = with_offsets(tuning, ((1, -50.0), (2, 50.0)))

    match = match_string(254.0, tuning)

    assert match is not None
    assert match.string == 1
    assert twins(tuning, 1) == (2,)


def test_strings_are_alike_when_their_targets_lie_closer_than_asked() -> None:
    course = with_offsets(find_tuning("guitar-12"), ((2, 1.5),))
    rounded = with_offsets(find_tuning("guitar-12"), ((1, 1.3), (2, 3.3)))

    assert 3.3 - 1.3 < 2.0  # by a rounding
    assert alike_strings(rounded, 1, 2.0) == alike_strings(rounded, 2, 2.0) == ()
    assert alike_strings(course, 1, 1.5) == ()
    assert alike_strings(course, 1, 1.6) == ((2, -1.5),)
    assert alike_strings(course, 2, 1.6) == ((1, 1.5),)
    assert alike_strings(course, 3, 1.6) == ((4, 0.0),)
    assert alike_strings(course, 11, 1.6) == ()  # its partner is an octave away


def test_nonsense_is_refused() -> None:
    guitar = find_tuning("guitar")

    with pytest.raises(FrequencyError):
        match_string(math.nan, guitar)
    with pytest.raises(ReferenceRangeError):
        match_string(110.0, guitar, a4_hz=4400.0)
    with pytest.raises(TuningError, match="string 9"):
        match_string(110.0, guitar, expected=9)
