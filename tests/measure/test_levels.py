"""Levels, clipping, DC and nothing connected."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.levels import LevelMeter, clips, dbfs
from station.measure.types import Level

RATE_HZ = 48000


def level_of(x: np.ndarray) -> Level:
    levels = LevelMeter(RATE_HZ, line=2).push(x.astype(np.float32), x.size)
    assert levels
    return levels[0]


def tone(amplitude: float, dc: float = 0.0) -> np.ndarray:
    t = np.arange(RATE_HZ // 2) / RATE_HZ
    return amplitude * np.sin(2 * np.pi * 200 * t) + dc


def test_a_half_scale_sine_has_minus_9_dbfs_rms_and_minus_6_peak() -> None:
    level = level_of(tone(0.5))
    # A sine's rms is its peak over the square root of 2: 20 log10(0.5 / 1.41421) = -9.03.
    assert level.rms_dbfs == pytest.approx(-9.03, abs=0.02)
    assert level.peak_dbfs == pytest.approx(-6.02, abs=0.02)
    assert (level.line, level.state, level.clipped) == (2, "signal", False)


def test_dc_is_told_apart_from_the_sound() -> None:
    level = level_of(tone(0.1, dc=-0.25))
    assert level.dc == pytest.approx(-0.25, abs=1e-3)
    assert level.rms_dbfs == pytest.approx(dbfs(0.1 / np.sqrt(2)), abs=0.05)


def test_zeros_and_rounding_noise_are_no_signal() -> None:
    assert level_of(np.zeros(RATE_HZ)).state == "no signal"
    dither = np.random.default_rng(0).integers(0, 2, RATE_HZ) / 32768 * 0.9
    assert level_of(dither).state == "no signal"


def test_hiss_under_minus_60_dbfs_is_quiet() -> None:
    assert level_of(1e-4 * np.random.default_rng(0).normal(size=RATE_HZ)).state == "quiet"


def test_an_overdriven_input_is_clipped_and_a_single_true_peak_is_not() -> None:
    assert level_of(np.clip(tone(1.5), -1, 1)).clipped
    lone_peak = tone(0.2)
    lone_peak[1000] = 1.0
    assert not level_of(lone_peak).clipped
    assert clips(lone_peak.astype(np.float32)).size == 0


def test_samples_beyond_full_scale_are_no_clipping() -> None:
    assert not level_of(tone(1.5)).clipped
    meter = LevelMeter(RATE_HZ, line=1)
    meter.push(tone(1.5).astype(np.float32), tone(1.5).size)
    assert meter.clipped_share(0, RATE_HZ) < 0.01


def test_a_level_comes_about_four_times_a_second() -> None:
    meter = LevelMeter(RATE_HZ, line=1)
    x = tone(0.1).astype(np.float32)
    said = [level for i in range(1000) for level in meter.push(x[:480], (i + 1) * 480)]
    assert [level.at_s for level in said] == [0.25 * (i + 1) for i in range(40)]


def test_levels_do_not_depend_on_how_the_sound_is_cut() -> None:
    x = (tone(0.2) + 0.01 * np.random.default_rng(0).normal(size=RATE_HZ // 2)).astype(np.float32)
    whole = LevelMeter(RATE_HZ, line=1).push(x, x.size)
    meter = LevelMeter(RATE_HZ, line=1)
    pieces = np.split(x, [100, 5000, 5001, 20000])
    ends = np.cumsum([piece.size for piece in pieces])
    cut = [
        lv for piece, end in zip(pieces, ends, strict=True) for lv in meter.push(piece, int(end))
    ]
    assert cut == whole


def test_where_a_line_clipped_does_not_depend_on_how_the_sound_is_cut() -> None:
    x = tone(0.2).astype(np.float32)
    x[9998:10003] = 1.0
    for size in (1, 2, 7, 1000, 10000, x.size):
        meter = LevelMeter(RATE_HZ, line=1)
        for begin in range(0, x.size, size):
            meter.push(x[begin : begin + size], min(begin + size, x.size))
        assert meter.clipped_between(9998, 9999)
        assert not meter.clipped_between(0, 9998)
        assert not meter.clipped_between(9999, x.size)


def test_how_much_clips_and_until_when_does_not_depend_on_how_the_sound_is_cut() -> None:
    x = np.clip(tone(0.2), -0.9, 0.9).astype(np.float32)
    x[4800:9600:2] = 1.0  # every second sample of a tenth of a second
    for size in (7, 1000, x.size):
        meter = LevelMeter(RATE_HZ, line=1)
        for begin in range(0, x.size, size):
            meter.push(x[begin : begin + size], min(begin + size, x.size))
        assert meter.clipped_share(4800, 9600) == pytest.approx(0.5)
        assert meter.clipped_share(0, 9600) == pytest.approx(0.25)
        assert meter.clipped_share(9600, 20000) == 0
        assert meter.last_clip(0, 20000) == 9600
        assert meter.last_clip(10000, 20000) == 10000
