"""Roughness against published values."""

from __future__ import annotations

import math

import pytest

from station.music.roughness import (
    Partial,
    harmonics,
    roughest_apart_hz,
    roughness,
    roughness_between,
)

# Printed by W. A. Sethares's own program, dissmeasure.m (sethares.engr.wisc.edu/comprog.html), each
# divided by its answer for 440 and 460 Hz of amplitude 1; kept with the MATLAB calls in the tests
# of P. M. C. Harrison's R package dycon (github.com/pmcharrison/dycon, test-sethares.R).
SETHARES = [
    ((440.0, 460.0, 480.0), (1.0, 1.0, 1.0), 2.9194),
    ((440.0, 460.0, 480.0), (1.0, 2.0, 3.0), 3.9161),
    ((440.0, 460.0, 480.0), (3.0, 2.0, 1.0), 3.9194),
    ((300.0, 250.0, 275.0, 425.0), (1.5, 2.0, 9.0, 4.0), 4.8657),
]

# E. Zwicker, "Subdivision of the audible frequency range into critical bands", JASA 33 (1961)
# 248: centre and width in hertz (from memory).
ZWICKER_HZ = [
    (150, 100), (250, 100), (350, 100), (450, 110), (570, 120), (700, 140), (840, 150),
    (1000, 160), (1170, 190), (1370, 210),
]  # fmt: skip

# Dips of the dissonance curve of a tone of six harmonics within the octave: Sethares, "Local
# consonance and the relationship between timbre and scale", JASA 94 (1993) 1218, whose timbre
# has amplitudes 0.88 to the power of the partial (from memory); the same ratios follow from his
# theorem that two partials that coincide may make a dip.
JUST_RATIOS = (6 / 5, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 2 / 1)
AMPLITUDES = tuple(0.88**k for k in range(6))


@pytest.mark.parametrize(("hz", "amplitudes", "printed"), SETHARES)
def test_it_is_what_the_published_program_prints(hz, amplitudes, printed):
    sound = [Partial(*each) for each in zip(hz, amplitudes, strict=True)]
    unit = roughness([Partial(440.0, 1.0), Partial(460.0, 1.0)])

    assert roughness(sound) / unit == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("centre_hz", "width_hz"), ZWICKER_HZ)
def test_two_simple_tones_are_roughest_near_a_quarter_of_a_critical_band(centre_hz, width_hz):
    # Plomp & Levelt 1965: "about 25 per cent of the critical bandwidth". Their bands and
    # Zwicker's differ, and Sethares fitted 24 per cent to a straight line: hence near.
    apart_hz = roughest_apart_hz(centre_hz)

    assert 0.18 < apart_hz / width_hz < 0.27


@pytest.mark.parametrize("base_hz", [220.0, 440.0, 880.0])
def test_six_harmonics_are_smoothest_at_the_just_ratios(base_hz):
    lower = harmonics(base_hz, AMPLITUDES)

    def at(cents: float) -> float:
        return roughness_between(lower, harmonics(base_hz * 2.0 ** (cents / 1200.0), AMPLITUDES))

    for ratio in JUST_RATIOS:
        just = 1200.0 * math.log2(ratio)
        near = [just + away for away in (-20.0, -10.0, -3.0, 3.0, 10.0, 20.0)]
        assert all(at(just) < at(cents) for cents in near), ratio


def test_the_octave_is_smoother_than_the_fifth_and_the_fifth_than_the_rest():
    # The order of Plomp & Levelt's own curve for six harmonics (1965, figure 11, from memory).
    lower = harmonics(261.63, AMPLITUDES)
    rough = [roughness_between(lower, harmonics(261.63 * r, AMPLITUDES)) for r in JUST_RATIOS]

    *rest, fourth, fifth, sixth, octave = rough
    assert octave < fifth < fourth < min(rest)
    assert fifth < sixth
