"""The mains: found in a pause, taken out of a note, never taken for one."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.hum import find_hum
from station.measure.types import Level
from tests.support.strings import StiffString, cents, hear_all, noise

RATE_HZ = 48000
HUM_SHARE_DB = -20.0


def hum(hz: float, seconds: float, rate_hz: int = RATE_HZ, seed: int = 0) -> np.ndarray:
    """Twelve multiples of `hz`, 1/k each, of rms 1."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, 12)
    x = sum(np.cos(2 * np.pi * hz * (k + 1) * t + p) / (k + 1) for k, p in enumerate(phases))
    return np.asarray(x) / np.std(x)


@pytest.mark.parametrize("hz", [49.9, 50.0, 50.07, 59.93, 60.1])
def test_a_pause_with_hum_gives_it_back_sample_by_sample(hz: float) -> None:
    rate_hz = 16000
    x = 0.01 * hum(hz, 3.0, rate_hz)
    found = find_hum(x[:rate_hz] + noise(rate_hz, -90), rate_hz, origin=0)
    assert found is not None
    assert found.hz == pytest.approx(hz, abs=1e-3)
    assert found.rms == pytest.approx(0.01, rel=0.01)
    left = x[2 * rate_hz :] - found.sound(2 * rate_hz, rate_hz)
    assert np.std(left) < 0.03 * np.std(x)


def test_hiss_and_a_ringing_string_are_no_hum() -> None:
    rate_hz = 16000
    assert find_hum(noise(rate_hz, -40), rate_hz, 0) is None
    assert find_hum(np.zeros(rate_hz), rate_hz, 0) is None
    for string_hz in (48.999, 51.913, 61.735):
        assert find_hum(StiffString(string_hz).sound(rate_hz, 1.0), rate_hz, 0) is None
    dying = StiffString(50.0, ring_s=0.7).sound(rate_hz, 1.0)
    assert find_hum(dying, rate_hz, 0) is None


@pytest.mark.parametrize("mains_hz", [49.95, 60.05])
@pytest.mark.parametrize("string_hz", [41.203, 48.999, 61.735, 65.406, 82.407, 110.0])
def test_a_string_over_hum_is_read_as_without_it(string_hz: float, mains_hz: float) -> None:
    silence = np.zeros(round(1.6 * RATE_HZ))
    x = np.concatenate((silence, StiffString(string_hz, 1e-4).sound(RATE_HZ, 1.5)))
    power = np.mean(x[silence.size : silence.size + RATE_HZ // 2] ** 2)
    level = np.sqrt(power * 10 ** (HUM_SHARE_DB / 10))
    x = x + level * hum(mains_hz, x.size / RATE_HZ) + noise(x.size, -75)
    readings, notes, _ = hear_all(x, RATE_HZ)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, string_hz)) < 0.5
    assert max(abs(cents(reading.hz, string_hz)) for reading in readings) < 3


def test_hum_that_stops_and_comes_back_is_never_a_note() -> None:
    x = 0.02 * hum(50.03, 9.0)
    t = np.arange(x.size) / RATE_HZ
    x = x * ((t < 3) | (t > 5.5)) + noise(x.size, -80)
    readings, notes, _ = hear_all(x, RATE_HZ)
    assert readings == []
    assert notes == []


@pytest.mark.parametrize("mains_hz", [49.95, 60.1])
@pytest.mark.parametrize("string_hz", [41.203, 48.999, 61.735, 65.406, 110.0, 195.998])
def test_three_tenths_of_a_second_of_hum_before_a_note_are_enough(
    string_hz: float, mains_hz: float
) -> None:
    silence = np.zeros(round(0.3 * RATE_HZ))
    x = np.concatenate((silence, StiffString(string_hz, 1e-4).sound(RATE_HZ, 1.2)))
    power = np.mean(x[silence.size : silence.size + RATE_HZ // 2] ** 2)
    level = np.sqrt(power * 10 ** (HUM_SHARE_DB / 10))
    x = x + level * hum(mains_hz, x.size / RATE_HZ, seed=3)[: x.size] + noise(x.size, -75)

    readings, notes, _ = hear_all(x, RATE_HZ)

    assert [abs(cents(note.hz, string_hz)) < 0.5 for note in notes] == [True]
    assert max(abs(cents(reading.hz, string_hz)) for reading in readings) < 3


@pytest.mark.parametrize("mains_hz", [49.9, 50.07, 59.93, 60.1])
def test_a_line_says_how_high_and_how_loud_its_hum_is(mains_hz: float) -> None:
    x = 10 ** (-35 / 20) * hum(mains_hz, 2.0) + noise(2 * RATE_HZ, -80)

    _, _, said = hear_all(x, RATE_HZ)

    levels = [item for item in said if isinstance(item, Level) and item.at_s > 0.5]
    assert len(levels) > 4
    for level in levels:
        assert level.hum_hz == pytest.approx(mains_hz, abs=0.05)
        assert level.hum_dbfs == pytest.approx(-35.0, abs=0.5)


# In hertz; at first, what is left of the last one seemed to lie 8 cents beside the mains.
@pytest.mark.parametrize("sway_hz", [0.3, 0.8, 3.1, 5.0, 1.5])
@pytest.mark.parametrize("mains_hz", [49.94, 60.0])
def test_hum_that_sways_by_a_third_is_never_read(mains_hz: float, sway_hz: float) -> None:
    t = np.arange(5 * RATE_HZ) / RATE_HZ
    sways = 1 + 0.33 * np.sin(2 * np.pi * sway_hz * t)
    x = sum(0.02 / k * sways * np.sin(2 * np.pi * mains_hz * k * t + k) for k in range(1, 6))

    readings, notes, _ = hear_all(np.asarray(x) + noise(t.size, -80, 1), RATE_HZ)

    assert readings == []
    assert notes == []


def test_a_weak_multiple_far_above_the_others_is_no_note() -> None:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    x = sum(np.cos(2 * np.pi * 50.07 * k * t + k * k) / k for k in range(1, 13))
    x = 0.05 * (np.asarray(x) + 0.006 * np.cos(2 * np.pi * 50.07 * 27 * t))

    readings, notes, _ = hear_all(x + noise(x.size, -100), RATE_HZ)

    assert (readings, notes) == ([], [])


@pytest.mark.parametrize("loudest", [9, 26, 35])
def test_a_buzz_of_seventy_multiples_is_never_a_note(loudest: int) -> None:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    x = sum(np.cos(2 * np.pi * 49.93 * k * t + k * k) / k for k in range(1, 71))
    x = 0.02 * (np.asarray(x) + np.cos(2 * np.pi * 49.93 * loudest * t))

    readings, notes, _ = hear_all(x + noise(t.size, -80), RATE_HZ)

    assert (readings, notes) == ([], [])
