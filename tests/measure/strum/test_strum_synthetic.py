"""Strums of synthetic stiff strings, whose pitch is known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.strum.types import StringHeard, targets_of
from station.music.tunings import find_tuning_by_name, with_capo
from tests.support.strings import StiffString
from tests.support.strums import PluckedString, heard_strums, synthetic

RATE_HZ = 48000
# A guitar's E2, A2, D3, G3, B3, E4 at A4 = 440 Hz, MIDI 40, 45, 50, 55, 59, 64.
GUITAR_HZ = (82.407, 110.0, 146.832, 195.998, 246.942, 329.628)
STIFFNESS = (1.2e-4, 9e-5, 7e-5, 6e-5, 4e-5, 3e-5)


def cents(hz: float, other_hz: float) -> float:
    return float(1200 * np.log2(hz / other_hz))


def strum_of(
    tuning: str, off: list[float | None], rate_hz: int = RATE_HZ, capo: int = 0, a4_hz: float = 440
) -> tuple[list[float | None], tuple[StringHeard, ...]]:
    """The true pitches, lowest target first, None for a missing one, and what is told."""
    targets = targets_of(with_capo(find_tuning_by_name(tuning), capo), a4_hz)
    true = [
        None if c is None else t.centre_hz * 2 ** (c / 1200)
        for t, c in zip(targets, off, strict=True)
    ]
    strings = [
        (0.015 * n, None if hz is None else StiffString(hz, 8e-5 * 0.8**n, 1.4, 0.08))
        for n, hz in enumerate(true)
    ]
    (strum,) = heard_strums(synthetic(strings, rate_hz), rate_hz, targets)
    return true, strum.strings


@pytest.mark.parametrize(
    ("tuning", "off"),
    [
        ("guitar", [0.0, 0.0, 0.0, 0.0, 0.0, 0.0]),
        ("guitar", [40.0, -40.0, 40.0, -40.0, 40.0, -40.0]),
        ("guitar", [-39.0, 12.0, 5.0, -3.0, -38.0, -41.0]),
        ("guitar:dadgad", [3.0, -5.0, 1.0, 0.0, 2.0, -4.0]),
        ("guitar-7", [10.0, -20.0, 3.0, 7.0, -9.0, 22.0, -1.0]),
        ("bass", [2.0, -30.0, 14.0, -1.0]),
        ("bass-5", [-8.0, 2.0, -30.0, 14.0, -1.0]),
        ("bass-6", [-8.0, 2.0, -30.0, 14.0, -1.0, 40.0]),
        ("ukulele", [35.0, -12.0, 1.0, 6.0]),
    ],
    ids=[
        "guitar in tune", "guitar zigzag", "guitar flat", "dadgad", "seven strings", "bass",
        "five strings", "six strings", "ukulele",
    ],
)  # fmt: skip
def test_every_string_is_told_to_a_tenth_of_a_cent(tuning, off):
    true, told = strum_of(tuning, off)

    for hz, string in zip(true, told, strict=True):
        assert string.hz is not None
        assert cents(string.hz, hz) == pytest.approx(0.0, abs=0.1)


def test_the_third_partial_of_e2_does_not_drag_b3_along():
    """E2's third partial lies 2 cents from B3 (3/2 and seven semitones: 701.955 and 700)."""
    true, told = strum_of("guitar", [0.0, 6.0, -6.0, 4.0, -3.0, 3.0])

    assert cents(told[4].hz, true[4]) == pytest.approx(0.0, abs=0.1)
    assert cents(told[5].hz, true[5]) == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("missing", range(6))
def test_a_missing_string_is_said_to_be_missing_though_others_stand_at_its_places(missing):
    off = [-7.0, 11.0, 4.0, -13.0, 9.0, -5.0]
    true, told = strum_of("guitar", [None if n == missing else c for n, c in enumerate(off)])

    assert [n for n, string in enumerate(told) if string.hz is None] == [missing]
    for hz, string in zip(true, told, strict=True):
        if hz is not None:
            assert cents(string.hz, hz) == pytest.approx(0.0, abs=0.1)


def test_one_string_alone_is_that_string_and_nothing_else():
    true, told = strum_of("guitar", [None, None, 8.0, None, None, None])

    assert [string.hz is None for string in told] == [True, True, False, True, True, True]
    assert cents(told[2].hz, true[2]) == pytest.approx(0.0, abs=0.05)


def test_a_capo_moves_every_target():
    _, told = strum_of("guitar", [5.0, -5.0, 3.0, -3.0, 1.0, -1.0], capo=3)

    assert [string.note for string in told] == ["G2", "C3", "F3", "A#3", "D4", "G4"]
    assert cents(told[0].target_hz, GUITAR_HZ[0]) == pytest.approx(300.0, abs=0.1)
    assert told[0].cents == pytest.approx(5.0, abs=0.1)


def test_cents_are_counted_from_the_reference():
    _, told = strum_of("guitar", [0.0] * 6, a4_hz=432.0)

    assert told[0].target_hz == pytest.approx(GUITAR_HZ[0] * 432 / 440, rel=1e-4)
    assert told[0].cents == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", [8000, 22050, 96000, 192000])
def test_the_rate_of_the_line_does_not_matter(rate_hz):
    true, told = strum_of("guitar", [12.0, -9.0, None, 3.0, -22.0, 30.0], rate_hz)

    assert told[2].hz is None
    for hz, string in zip(true, told, strict=True):
        if hz is not None:
            assert cents(string.hz, hz) == pytest.approx(0.0, abs=0.2)


def test_strings_that_glide_and_beat_with_themselves_are_told_to_a_cent():
    off = (14.0, -8.0, 21.0, -33.0, 5.0, -17.0)
    true = [hz * 2 ** (c / 1200) for hz, c in zip(GUITAR_HZ, off, strict=True)]
    strings = [
        (0.02 * n, PluckedString(hz, b))
        for n, (hz, b) in enumerate(zip(true, STIFFNESS, strict=True))
    ]
    targets = targets_of(find_tuning_by_name("guitar"))

    (strum,) = heard_strums(synthetic(strings), RATE_HZ, targets)

    for hz, string in zip(true, strum.strings, strict=True):
        assert cents(string.hz, hz) == pytest.approx(0.0, abs=1.0)


def test_inharmonicity_is_told_with_the_pitch():
    strings = [
        (0.01 * n, StiffString(hz, b, 1.5, 0.08))
        for n, (hz, b) in enumerate(zip(GUITAR_HZ, STIFFNESS, strict=True))
    ]
    targets = targets_of(find_tuning_by_name("guitar"))

    (strum,) = heard_strums(synthetic(strings), RATE_HZ, targets)

    for b, string in zip(STIFFNESS, strum.strings, strict=True):
        assert string.inharmonicity == pytest.approx(b, rel=0.1, abs=3e-6)


# Strings a mandolin's G3, D4, A4 and E5 stand for two each (cents from the target).
def pairs(apart: float) -> tuple[tuple[float, ...], tuple[StringHeard, ...]]:
    targets = targets_of(find_tuning_by_name("mandolin"))
    off = (3.0, -11.0, 6.0, 0.0)
    strings = []
    for n, (target, c) in enumerate(zip(targets, off, strict=True)):
        for side in (0.0, apart):
            hz = target.centre_hz * 2 ** ((c + side) / 1200)
            strings.append((0.02 * n + 0.003, StiffString(hz, 3e-5, 1.0, 0.06)))
    (strum,) = heard_strums(synthetic(strings), RATE_HZ, targets)
    return off, strum.strings


def test_two_strings_of_a_course_are_told_apart_where_they_can_be():
    off, told = pairs(8.0)

    assert [string.of_course for string in told] == [1, 2] * 4
    assert not any(string.together for string in told)
    for n, c in enumerate(off):
        assert told[2 * n].cents == pytest.approx(c, abs=0.3)
        assert told[2 * n + 1].cents == pytest.approx(c + 8.0, abs=0.3)


def test_two_strings_in_unison_have_one_reading_that_says_so():
    off, told = pairs(0.0)

    assert len(told) == 4
    assert all(string.together for string in told)
    for string, c in zip(told, off, strict=True):
        assert string.cents == pytest.approx(c, abs=0.2)


def test_octave_courses_of_a_twelve_string_are_told_string_by_string():
    targets = targets_of(find_tuning_by_name("guitar-12"))
    off = [9.0, -14.0, 22.0, -17.0, 5.0, -25.0, 12.0, 30.0, -8.0, 18.0]
    true = [t.centre_hz * 2 ** (c / 1200) for t, c in zip(targets, off, strict=True)]
    strings = [(0.012 * n, StiffString(hz, 5e-5, 1.2, 0.06)) for n, hz in enumerate(true)]

    (strum,) = heard_strums(synthetic(strings), RATE_HZ, targets)

    assert [string.note for string in strum.strings] == [target.note for target in targets]
    for hz, string in zip(true, strum.strings, strict=True):
        assert cents(string.hz, hz) == pytest.approx(0.0, abs=0.2)
    assert {string.numbers for string in strum.strings if string.together} == {(3, 4), (1, 2)}
