"""Two decaying lines in one band: how far apart, how sure, and when it cannot be told."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.measure.beats.bands import envelopes
from station.measure.beats.meeting import Meeting, meeting
from station.measure.beats.poles import Envelope, one_line_sure
from tests.support.strings import Floats

RATE_HZ = 8000
LENGTH_S = 2.6


def lines(*each: tuple[float, float, float], snr_db: float, seed: int = 0) -> Floats:
    """Lines of (Hz, amplitude, fall in 1/s), white noise under their first half second."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(RATE_HZ * LENGTH_S)) / RATE_HZ
    x = np.zeros(t.size)
    for hz, level, fall in each:
        x += level * np.exp(-fall * t) * np.cos(2 * np.pi * hz * t + rng.uniform(0, 2 * np.pi))
    power = np.mean(x[: RATE_HZ // 2] ** 2) / 10 ** (snr_db / 10)
    return x + math.sqrt(power) * rng.normal(size=t.size)


def band(x: Floats, centre_hz: float = 331.0) -> Envelope:
    return envelopes(x, RATE_HZ, np.array([centre_hz]), 0.1)[0]


def met(x: Floats) -> Meeting:
    found = meeting(band(x))
    assert found is not None
    return found


@pytest.mark.parametrize(("snr_db", "off_hz"), [(40, 0.002), (20, 0.012)])
@pytest.mark.parametrize("beat_hz", [0.372, 1.0, 5.0, 14.0])
def test_a_beat_is_measured_and_as_surely_as_told(beat_hz, snr_db, off_hz):
    takes = [
        met(lines((330, 0.2, 0.7), (330 + beat_hz, 0.15, 0.9), snr_db=snr_db, seed=seed))
        for seed in range(4)
    ]

    for found in takes:
        assert found.resolved
        assert found.split_hz == pytest.approx(beat_hz, abs=off_hz)
        assert abs(found.split_hz - beat_hz) < 5 * found.sd_hz


@pytest.mark.parametrize("beat_hz", [0.05, 0.1])
def test_a_beat_too_slow_to_go_round_is_measured_or_bounded(beat_hz):
    for seed in range(4):
        found = met(lines((330, 0.2, 0.4), (330 + beat_hz, 0.2, 0.5), snr_db=40, seed=seed))

        if found.resolved:
            assert found.split_hz == pytest.approx(beat_hz, abs=0.03)
        else:
            assert found.bound_hz >= beat_hz


@pytest.mark.parametrize("snr_db", [40, 20])
def test_one_line_alone_is_not_two(snr_db):
    for seed in range(4):
        found = met(lines((330, 0.2, 0.7), snr_db=snr_db, seed=seed))

        assert not found.resolved
        assert found.bound_hz < 0.5


def test_a_line_20_db_below_the_other_still_beats_and_one_far_below_does_not():
    weak = met(lines((330, 0.2, 0.7), (331.5, 0.03, 0.7), snr_db=50))
    lost = met(lines((330, 0.2, 0.7), (331.5, 0.005, 0.7), snr_db=50))

    assert weak.resolved
    assert weak.split_hz == pytest.approx(1.5, abs=0.01)
    assert not lost.resolved


def test_a_lines_frequency_and_fall_are_told():
    line, sd = one_line_sure(band(lines((330, 0.2, 0.8), snr_db=40)))

    assert 331 + line.imag / (2 * math.pi) == pytest.approx(330, abs=0.002)
    assert -line.real == pytest.approx(0.8, rel=0.01)
    assert 0 < sd / (2 * math.pi) < 0.002


@pytest.mark.parametrize("size", [0, 5, 9])
def test_too_short_a_band_says_nothing(size):
    whole = band(lines((330, 0.2, 0.8), snr_db=40))

    assert meeting(Envelope(whole.y[:size], whole.t[:size], whole.worth)) is None


def test_silence_says_nothing():
    assert meeting(band(np.zeros(RATE_HZ))) is None
