"""Modes of synthetic strokes: pitch, ring, glide and beats are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt

from station.measure.drums.tap import tap
from station.measure.drums.types import Stroke
from tests.support.drum_strokes import RATE_HZ, Drum, Floats, Ringing, heard, take, tom

AT_S = 0.4


def only(x: Floats) -> Stroke:
    (stroke,) = heard(x)
    return stroke


def cents(hz: float, other_hz: float) -> float:
    return 1200 * math.log2(hz / other_hz)


def schroeder_ring_s(x: Floats, hz: float, width_hz: float) -> float:
    """RT60 from the backward-integrated decay, between -5 and -35 dB.

    Schroeder 1965, J. Acoust. Soc. Am. 37, 409; ISO 3382-1 (T30). The noise behind the
    decay, measured at its end, is taken off before integrating (Chu 1978).
    """
    band = butter(3, [hz - width_hz, hz + width_hz], "bandpass", fs=RATE_HZ, output="sos")
    power = np.square(sosfiltfilt(band, x))[round((AT_S + 0.03) * RATE_HZ) :]
    power -= power[-RATE_HZ // 4 :].mean()
    left = np.cumsum(power[::-1])[::-1]
    level = 10 * np.log10(np.maximum(left / left[0], 1e-9))
    first, last = int(np.argmax(level < -5)), int(np.argmax(level < -35))
    slope = np.polyfit(np.arange(first, last) / RATE_HZ, level[first:last], 1)[0]
    return float(-60 / slope)


@pytest.mark.parametrize(
    ("hz", "ring_s"),
    [(50, 1.5), (65, 1.4), (82, 1.2), (110, 1.0), (160, 0.8), (250, 0.6), (350, 0.4)],
)
@pytest.mark.parametrize("glide", [0.0, 0.02, 0.08])
def test_a_drums_settled_pitch_is_found_however_far_it_glides(
    hz: float, ring_s: float, glide: float
) -> None:
    stroke = only(take([(AT_S, tom(hz, ring_s, glide).sound(2.6))], 3.0))

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert stroke.sure
    assert abs(cents(stroke.fundamental.hz, hz)) < 1.0
    assert abs(cents(stroke.fundamental.hz, hz)) < 4 * stroke.fundamental.uncertainty_cents


@pytest.mark.parametrize(
    ("hz", "ring_s"), [(50, 1.5), (70, 0.6), (110, 1.0), (110, 0.4), (200, 1.2), (330, 0.3)]
)
@pytest.mark.parametrize("noise_db", [-90.0, -60.0, -45.0])
def test_a_ring_agrees_with_the_backward_integrated_decay(
    hz: float, ring_s: float, noise_db: float
) -> None:
    x = take([(AT_S, tom(hz, ring_s).sound(2.6))], 3.4, noise_db)

    stroke = only(x)

    assert stroke.fundamental is not None
    assert stroke.fundamental.ring_s == pytest.approx(ring_s, rel=0.1)
    assert stroke.fundamental.ring_s == pytest.approx(schroeder_ring_s(x, hz, 0.2 * hz), rel=0.1)


def test_an_overtones_ring_agrees_with_the_backward_integrated_decay() -> None:
    x = take([(AT_S, tom(110.0, 1.4).sound(2.6))], 3.4)

    stroke = only(x)

    assert stroke.overtone is not None
    assert abs(cents(stroke.overtone.hz, 1.593 * 110)) < 3
    assert stroke.overtone.ring_s == pytest.approx(schroeder_ring_s(x, 175.2, 20.0), rel=0.1)


@pytest.mark.parametrize("beat_hz", [1.5, 2.5, 4.0, 7.0])
def test_two_heads_nearly_matched_beat_at_the_difference_of_their_pitches(beat_hz: float) -> None:
    modes = (Ringing(100, 0.4, 1.5), Ringing(100 + beat_hz, 0.3, 1.4), Ringing(163, 0.1, 0.6))

    stroke = only(take([(AT_S, Drum(modes).sound(2.6))], 3.0))

    assert stroke.beat_hz == pytest.approx(beat_hz, rel=0.02)
    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, 100)) < 1


def test_one_head_that_glides_does_not_beat() -> None:
    strokes = [only(take([(AT_S, tom(hz, 1.2, 0.1).sound(2.6))], 3.0)) for hz in (60, 90, 140, 210)]

    assert [stroke.beat_hz for stroke in strokes] == [None] * 4


def test_an_uneven_heads_overtone_is_a_pair() -> None:
    modes = (Ringing(100, 0.5, 1.5), Ringing(155, 0.15, 1.0), Ringing(161, 0.12, 1.0))

    stroke = only(take([(AT_S, Drum(modes).sound(2.6))], 3.0))

    assert stroke.overtone_pair is not None
    low, high = stroke.overtone_pair
    assert abs(cents(low.hz, 155)) < 3
    assert abs(cents(high.hz, 161)) < 3
    assert stroke.overtone is not None
    assert abs(cents(stroke.overtone.hz, 155)) < 3


def test_a_weaker_mode_well_below_is_another_drum_ringing_along() -> None:
    modes = (Ringing(120, 0.5, 1.2), Ringing(75, 0.02, 1.2), Ringing(190, 0.1, 0.7))

    stroke = only(take([(AT_S, Drum(modes).sound(2.6))], 3.0))

    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, 120)) < 1


def test_a_fundamental_weaker_than_its_overtone_is_the_fundamental_still() -> None:
    modes = (Ringing(160, 0.5, 0.8), Ringing(100, 0.25, 1.2), Ringing(214, 0.1, 0.5))

    stroke = only(take([(AT_S, Drum(modes).sound(2.6))], 3.0))

    assert stroke.fundamental is not None
    assert stroke.overtone is not None
    assert abs(cents(stroke.fundamental.hz, 100)) < 2
    assert abs(cents(stroke.overtone.hz, 160)) < 2


def test_it_is_said_where_another_mode_may_be_the_fundamental() -> None:
    modes = (Ringing(160, 0.5, 0.8), Ringing(100, 0.07, 0.8), Ringing(256, 0.2, 0.5))

    stroke = only(take([(AT_S, Drum(modes).sound(2.6))], 3.0))

    assert not stroke.sure


def test_a_bass_drums_dull_thud_has_a_pitch() -> None:
    thud = Drum((Ringing(52, 0.6, 0.4), Ringing(86, 0.1, 0.2)), 0.03)

    stroke = only(take([(AT_S, thud.sound(1.0))], 2.0))

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, 52)) < 10
    assert stroke.fundamental.ring_s == pytest.approx(0.4, rel=0.1)


def test_a_loose_bass_drums_fundamental_is_its_lowest_mode_and_not_a_louder_sounding_one() -> None:
    # Recorded bass drums of free kits have their strongest mode at 31 and 35 Hz.
    loose = Drum((Ringing(33, 0.5, 0.9), Ringing(68, 0.25, 0.4), Ringing(95, 0.4, 0.6)), 0.03)

    stroke = only(take([(AT_S, loose.sound(2.0))], 3.0))

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, 33)) < 10


def test_a_foot_on_the_floor_is_no_drum_below_the_one_that_is_struck() -> None:
    modes = (Ringing(72, 0.5, 0.8), Ringing(31, 0.12, 0.5), Ringing(118, 0.2, 0.5))

    stroke = only(take([(AT_S, Drum(modes).sound(2.0))], 3.0))

    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, 72)) < 2


@pytest.mark.parametrize("ring_s", [0.25, 0.4])
def test_a_thud_as_short_as_its_pitch_is_vague_is_told_with_what_it_is_unsure_by(
    ring_s: float,
) -> None:
    thud = Drum((Ringing(38, 0.6, ring_s), Ringing(66, 0.3, 0.15), Ringing(90, 0.2, 0.12)), 0.15)

    stroke = only(take([(AT_S, thud.sound(1.0))], 2.0, -50.0))

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, 38)) < 2 * stroke.fundamental.uncertainty_cents


def test_uncertainty_covers_the_error_in_noise() -> None:
    errors = []
    for seed in range(24):
        stroke = only(take([(AT_S, tom(110, 0.8, 0.03, seed).sound(2.0))], 2.6, -35.0, seed=seed))
        assert stroke.fundamental is not None
        off = cents(stroke.fundamental.hz, 110)
        errors.append(off / stroke.fundamental.uncertainty_cents)

    assert np.sqrt(np.mean(np.square(errors))) < 1.5
    assert np.max(np.abs(errors)) < 4


def cut_off(hz: float, ring_s: float, glide: float, cut_s: float) -> Stroke:
    """A tom that a gate cuts off within a millisecond."""
    sound = tom(hz, ring_s, glide).sound(cut_s)
    sound[-40:] *= np.linspace(1.0, 0.0, 40)
    (stroke,) = heard(take([(0.4, sound)], 1.2))
    return stroke


@pytest.mark.parametrize(
    ("hz", "glide", "cut_s"),
    [(65.0, 0.05, 0.15), (80.0, 0.1, 0.15), (80.0, 0.05, 0.16), (90.0, 0.0, 0.15)],
)
def test_a_tom_cut_off_before_its_pitch_could_be_measured_is_not_told_by_another_mode(
    hz: float, glide: float, cut_s: float
) -> None:
    stroke = cut_off(hz, 0.8 if hz == 90.0 else 1.0, glide, cut_s)

    assert stroke.verdict == "weak"
    assert stroke.fundamental is None
    assert not stroke.sure
    assert stroke.modes
    assert tap([stroke]) is None


@pytest.mark.parametrize(
    ("hz", "glide", "cut_s"),
    [(80.0, 0.1, 0.25), (90.0, 0.0, 0.2), (110.0, 0.0, 0.2), (110.0, 0.05, 0.16)],
)
def test_a_tom_cut_off_soon_after_is_told_by_its_own_mode_and_how_unsure_it_is(
    hz: float, glide: float, cut_s: float
) -> None:
    ring_s = 0.8 if hz == 90.0 else 1.0

    stroke = cut_off(hz, ring_s, glide, cut_s)

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, hz)) < 2 * stroke.fundamental.uncertainty_cents
    assert stroke.fundamental.uncertainty_cents < 30.0
    assert stroke.fundamental.ring_s == pytest.approx(ring_s, rel=0.1)


@pytest.mark.parametrize(("hz", "cut_s"), [(35.0, 0.5), (110.0, 0.3), (110.0, 0.5)])
def test_a_drum_that_is_damped_at_once_has_the_ring_it_had_until_then(
    hz: float, cut_s: float
) -> None:
    drum = Drum((Ringing(hz, 0.5, 2.0), Ringing(2.7 * hz, 0.2, 0.6)), 0.0, seed=3)
    sound = drum.sound(cut_s)
    sound[-960:] *= np.linspace(1.0, 0.0, 960)

    stroke = only(take([(AT_S, sound)], 2.0))

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert abs(cents(stroke.fundamental.hz, hz)) < 3 * stroke.fundamental.uncertainty_cents
    assert stroke.fundamental.uncertainty_cents < 30.0
    assert stroke.fundamental.ring_s == pytest.approx(2.0, rel=0.25)


@pytest.mark.parametrize("beat_hz", [2.0, 4.0])
def test_a_pair_that_begins_against_each_other_and_swells_is_a_stroke_all_the_same(
    beat_hz: float,
) -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    sound = 0.05 * np.random.default_rng(1).normal(size=t.size) * np.exp(-t / 0.002)
    for hz, level, ring_s in (
        (150.0, 0.4, 1.2),
        (150.0 + beat_hz, -0.36, 1.15),
        (201.0, 0.08, 0.8),
    ):
        sound += level * np.exp(-3 * math.log(10) * t / ring_s) * np.sin(2 * np.pi * hz * t)

    stroke = only(take([(AT_S, sound)], 2.6, -60.0))

    assert stroke.verdict == "good"
    assert stroke.beat_hz == pytest.approx(beat_hz, rel=0.03)
