"""Notes and frequencies: what must hold everywhere, and what is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FrequencyError, ReferenceRangeError
from station.music import (
    A4_MAX_HZ,
    A4_MIN_HZ,
    cents_between,
    check_a4,
    hz_to_midi,
    midi_to_hz,
    nearest_note,
    shift_cents,
)

references_hz = st.floats(A4_MIN_HZ, A4_MAX_HZ)
notes = st.floats(0.0, 127.0)
pitches_hz = st.floats(8.0, 20000.0)
intervals_cents = st.floats(-2400.0, 2400.0)


@given(notes, references_hz)
def test_a_note_becomes_a_frequency_and_the_same_note_again(midi: float, a4_hz: float) -> None:
    assert hz_to_midi(midi_to_hz(midi, a4_hz), a4_hz) == pytest.approx(midi, abs=1e-9)


@given(pitches_hz, references_hz)
def test_a_frequency_becomes_a_note_and_the_same_frequency_again(hz: float, a4_hz: float) -> None:
    assert midi_to_hz(hz_to_midi(hz, a4_hz), a4_hz) == pytest.approx(hz, rel=1e-12)


@given(pitches_hz, intervals_cents)
def test_a_shift_by_cents_is_measured_as_those_cents(hz: float, cents: float) -> None:
    assert cents_between(shift_cents(hz, cents), hz) == pytest.approx(cents, abs=1e-8)


@given(pitches_hz, pitches_hz, pitches_hz)
def test_cents_add_up_and_change_sign(low_hz: float, mid_hz: float, high_hz: float) -> None:
    both = cents_between(high_hz, mid_hz) + cents_between(mid_hz, low_hz)

    assert cents_between(high_hz, low_hz) == pytest.approx(both, abs=1e-8)
    assert cents_between(low_hz, high_hz) == pytest.approx(-both, abs=1e-8)


@given(notes, references_hz)
def test_an_octave_doubles_and_a_semitone_is_100_cents(midi: float, a4_hz: float) -> None:
    hz = midi_to_hz(midi, a4_hz)

    assert midi_to_hz(midi + 12, a4_hz) == pytest.approx(2 * hz, rel=1e-12)
    assert cents_between(midi_to_hz(midi + 1, a4_hz), hz) == pytest.approx(100.0, abs=1e-8)


@given(pitches_hz, references_hz)
def test_the_nearest_note_is_never_more_than_half_a_semitone_away(hz: float, a4_hz: float) -> None:
    found = nearest_note(hz, a4_hz)

    assert abs(found.cents) <= 50.0 + 1e-9
    assert shift_cents(found.hz, found.cents) == pytest.approx(hz, rel=1e-12)
    assert found.hz == midi_to_hz(found.midi, a4_hz)


@given(st.integers(0, 127), st.floats(-49.9, 49.9), references_hz)
def test_a_detuned_note_is_still_that_note(midi: int, cents: float, a4_hz: float) -> None:
    found = nearest_note(shift_cents(midi_to_hz(midi, a4_hz), cents), a4_hz)

    assert found.midi == midi
    assert found.cents == pytest.approx(cents, abs=1e-8)


def test_the_reference_may_be_anything_from_390_to_470_hz() -> None:
    assert check_a4(390) == 390.0
    assert check_a4(470.0) == 470.0


@pytest.mark.parametrize(
    ("a4_hz", "expected"),
    [
        (4400, "reference 4400 Hz.* 390 to 470 Hz.*ten times too big.*440 Hz"),
        (44, "reference 44 Hz.* 390 to 470 Hz.*ten times too small.*440 Hz"),
        (0.442, "given in kHz.*442 Hz"),
        (220.0, "A3"),
        (884.0, "A5.*442 Hz"),
        (389.99, "389.99 Hz.* 390 to 470"),
        (470.01, "470.01 Hz.* 390 to 470"),
        (math.nan, "nan Hz.* 390 to 470"),
        (math.inf, "inf Hz.* 390 to 470"),
        (-440.0, "-440 Hz"),
        ("440", "'440' is not a number"),
        ("concert pitch\nplease" * 9, "is not a number"),
        (None, "None is not a number"),
        (True, "True is not a number"),
    ],
)
def test_an_impossible_reference_is_refused_in_one_line(a4_hz: object, expected: str) -> None:
    with pytest.raises(ReferenceRangeError, match=expected) as caught:
        check_a4(a4_hz)

    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 160


@pytest.mark.parametrize("a4_hz", [4400.0, 44.0, math.nan])
def test_no_conversion_takes_an_impossible_reference(a4_hz: float) -> None:
    for convert in (midi_to_hz, hz_to_midi, nearest_note):
        with pytest.raises(ReferenceRangeError):
            convert(69, a4_hz)


@pytest.mark.parametrize("hz", [0.0, -82.4, math.nan, math.inf])
def test_a_frequency_that_is_none_is_refused(hz: float) -> None:
    for convert in (hz_to_midi, nearest_note, lambda hz: shift_cents(hz, 1.0)):
        with pytest.raises(FrequencyError, match="positive, finite"):
            convert(hz)
    with pytest.raises(FrequencyError):
        cents_between(440.0, hz)


@pytest.mark.parametrize("midi", [math.nan, math.inf, -math.inf, 1e9, -1e9])
def test_a_note_number_without_a_frequency_is_refused(midi: float) -> None:
    with pytest.raises(FrequencyError, match="0 to 127"):
        midi_to_hz(midi)


@pytest.mark.parametrize("cents", [math.nan, 1e9, -1e9])
def test_a_shift_out_of_all_hearing_is_refused(cents: float) -> None:
    with pytest.raises(FrequencyError):
        shift_cents(440.0, cents)
