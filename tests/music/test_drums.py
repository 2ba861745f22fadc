"""Drums as membranes: tension, ranges, warnings."""

from __future__ import annotations

import pytest

from station.errors import DrumError, FrequencyError
from station.music.drums import (
    CAUTIONS,
    RANGES_HZ,
    bessel_zero,
    film_density,
    membrane_hz,
    membrane_tension,
    practical_range,
    tension_change,
    tension_warning,
)


def test_an_ideal_heads_pitch_follows_from_its_pull() -> None:
    # By hand: 2.404826 / (2 pi 0.1524 m) sqrt(1000 N/m / 0.26 kg/m2) = 2.5115 * 62.017.
    assert membrane_hz(1000.0, 12.0, 0.26) == pytest.approx(155.75, abs=0.05)


@pytest.mark.parametrize("mode", [(0, 1), (1, 1), (2, 1), (0, 2)])
def test_tension_and_pitch_are_each_others_inverse(mode: tuple[int, int]) -> None:
    hz = membrane_hz(1234.0, 14.0, 0.3, *mode)

    assert membrane_tension(hz, 14.0, 0.3, *mode) == pytest.approx(1234.0)


def test_an_octave_is_four_times_the_pull() -> None:
    assert tension_change(1200.0) == pytest.approx(4.0)
    assert tension_change(-1200.0) == pytest.approx(0.25)
    assert tension_change(0.0) == 1.0


def test_a_film_of_seven_and_a_half_mils_weighs_a_quarter_of_a_kilogram_a_square_metre() -> None:
    assert film_density(7.5) == pytest.approx(0.265, abs=0.001)


@pytest.mark.parametrize("kind", RANGES_HZ)
def test_bigger_drums_are_lower(kind: str) -> None:
    found = [practical_range(inches, kind) for inches in (8, 10, 12, 13, 14, 16, 18, 20, 24)]

    for bigger, smaller in zip(found[1:], found, strict=False):
        assert bigger[0] < smaller[0]
        assert bigger[1] < smaller[1]


@pytest.mark.parametrize("kind", RANGES_HZ)
def test_listed_sizes_have_the_listed_range(kind: str) -> None:
    for inches, limits in RANGES_HZ[kind].items():
        assert practical_range(inches, kind) == pytest.approx(limits)


def test_a_size_between_lies_between() -> None:
    low, high = practical_range(15.0)

    assert 60 < low < 75
    assert 120 < high < 150


def test_a_range_needs_no_more_than_a_head_can_pull() -> None:
    for inches, (_, high_hz) in RANGES_HZ["tom"].items():
        # With air left out the (1,1) mode is at most 1.593 times the fundamental.
        assert tension_warning(1.593 * high_hz, inches) is None


def test_a_head_near_its_limit_is_warned_of_in_one_line() -> None:
    warning = tension_warning(700.0, 14.0)

    assert warning is not None
    assert "kN/m" in warning
    assert "\n" not in warning
    assert tension_warning(200.0, 14.0) is None


def test_two_plies_bear_more_than_one() -> None:
    hz = membrane_hz(5000.0, 14.0, film_density(10.0), 1)

    assert tension_warning(hz, 14.0, 10.0, plies=1) is not None
    assert tension_warning(hz, 14.0, 10.0, plies=2) is None


def test_cautions_name_split_heads_and_ears() -> None:
    text = " ".join(CAUTIONS)

    assert "split" in text
    assert "ears" in text
    assert "wrinkles" in text


@pytest.mark.parametrize("mode", [(-1, 1), (13, 1), (0, 0), (0, 13)])
def test_impossible_modes_are_refused(mode: tuple[int, int]) -> None:
    with pytest.raises(DrumError, match="orders run from 0 to 12"):
        bessel_zero(*mode)


@pytest.mark.parametrize("inches", [0.0, 5.9, 41.0, float("nan"), float("inf")])
def test_impossible_diameters_have_no_range(inches: float) -> None:
    with pytest.raises(DrumError, match="6 to 40 inches"):
        practical_range(inches)


def test_impossible_values_are_told_with_their_unit() -> None:
    with pytest.raises(DrumError, match="tension -1 N/m"):
        membrane_hz(-1.0, 12.0, 0.26)
    with pytest.raises(DrumError, match="diameter 0 inches"):
        membrane_hz(1000.0, 0.0, 0.26)
    with pytest.raises(FrequencyError, match="frequency nan Hz"):
        membrane_tension(float("nan"), 12.0, 0.26)
