"""Recorded drums and cymbals: those of Debian's package sonic-pi-samples, all of them CC0.

None of them was used for finding the limits and constants of what is tested.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample

from station.measure.drums.tap import tap
from tests.support.drum_strokes import Floats, alone, fft_peak_hz, heard, one_stroke

SAMPLES = Path("/usr/share/sonic-pi/samples")
PLACES = ("hi", "mid", "lo")
TOMS = [f"tom_{place}_{force}" for place in PLACES for force in ("hard", "soft")]


def cents(hz: float, other_hz: float) -> float:
    return 1200 * math.log2(hz / other_hz)


def recorded(name: str) -> tuple[Floats, int]:
    """Both channels of a recording together, shape (n,), and its rate."""
    x, rate_hz = soundfile.read(SAMPLES / f"drum_{name}.flac", dtype="float64", always_2d=True)
    return np.asarray(x.mean(axis=1)), int(rate_hz)


@pytest.mark.parametrize("name", TOMS)
def test_a_recorded_toms_pitch_is_that_of_a_long_spectrum_of_its_settled_part(name: str) -> None:
    x, rate_hz = recorded(name)

    stroke = one_stroke(x, rate_hz)

    assert stroke.verdict == "good"
    assert stroke.fundamental is not None
    assert stroke.fundamental.ring_s is not None
    # 24 dB down the glide, which goes with the power, is over; 45 dB down some are lost in noise.
    # What rings on beyond the recording's end has its second half.
    began = round((stroke.at_s - 0.4) * rate_hz)
    ring = round(stroke.fundamental.ring_s * rate_hz)
    first = began + min(round(0.4 * ring), (x.size - began) // 2)
    stretch = x[first : began + round(0.75 * ring)]
    peak_hz = fft_peak_hz(stretch, rate_hz, stroke.fundamental.hz)
    assert abs(cents(stroke.fundamental.hz, peak_hz)) < 5.0


@pytest.mark.parametrize("place", PLACES)
def test_a_recorded_tom_settles_at_one_pitch_hit_hard_and_soft(place: str) -> None:
    hard, soft = (one_stroke(*recorded(f"tom_{place}_{force}")) for force in ("hard", "soft"))

    assert hard.fundamental is not None
    assert soft.fundamental is not None
    assert abs(cents(hard.fundamental.hz, soft.fundamental.hz)) < 10.0


@pytest.mark.parametrize("name", TOMS)
@pytest.mark.parametrize("shift_cents", [-310.0, 173.0, 500.0])
def test_a_recorded_tom_repitched_is_shifted_by_what_it_was_repitched(
    name: str, shift_cents: float
) -> None:
    x, rate_hz = recorded(name)
    other_size = round(x.size / 2 ** (shift_cents / 1200))
    copy = resample(x, other_size)
    copy *= np.abs(x).max() / np.abs(copy).max()

    before, after = one_stroke(x, rate_hz).fundamental, one_stroke(copy, rate_hz).fundamental

    assert before is not None
    assert after is not None
    assert abs(cents(after.hz, before.hz) - cents(x.size, other_size)) < 3.0


@pytest.mark.parametrize("name", TOMS)
@pytest.mark.parametrize("length_s", [0.35, 0.45, 0.55])
def test_a_recorded_tom_cut_off_before_it_settled_is_told_as_unsure_as_it_is(
    name: str, length_s: float
) -> None:
    x, rate_hz = recorded(name)

    whole = one_stroke(x, rate_hz).fundamental
    part = one_stroke(x[: round(length_s * rate_hz)], rate_hz).fundamental

    assert whole is not None
    assert part is not None
    assert abs(cents(part.hz, whole.hz)) < 2 * part.uncertainty_cents
    assert part.uncertainty_cents < 75


@pytest.mark.parametrize(
    "name",
    [
        "cowbell",
        "cymbal_closed",
        "cymbal_hard",
        "cymbal_open",
        "cymbal_pedal",
        "cymbal_soft",
        "splash_hard",
        "splash_soft",
    ],
)
def test_a_recorded_cowbell_cymbals_and_splashes_give_no_tap(name: str) -> None:
    x, rate_hz = recorded(name)

    assert tap(heard(alone(x, rate_hz), rate_hz)) is None


def test_how_a_recorded_tom_is_cut_into_blocks_changes_nothing() -> None:
    x, rate_hz = recorded("tom_mid_hard")

    by_size = [heard(alone(x, rate_hz), rate_hz, block) for block in (128, 48000)]

    assert by_size[0] == by_size[1]
