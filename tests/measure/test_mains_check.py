"""Whatever is done to hum, it is not a string; a string near a mains frequency is one."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.mains_check import mains_near
from tests.support.strings import Floats, StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
LENGTH_S = 8.0


def hum(hz: float, seed: int = 0) -> Floats:
    """Ten multiples of `hz`, 1/k each."""
    t = np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ
    phases = np.random.default_rng(seed).uniform(0, 2 * np.pi, 10)
    x = sum(np.cos(2 * np.pi * hz * (k + 1) * t + p) / (k + 1) for k, p in enumerate(phases))
    return 0.03 * np.asarray(x)


def times() -> Floats:
    return np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ


EVENTS = {
    "a lead plugged in with a thump": lambda t: (t > 2) * (1 + 8 * np.exp(-np.abs(t - 2) / 0.02)),
    "a volume knob opened and closed": lambda t: np.clip(np.minimum(t - 1, 6 - t), 0, 1),
    "strings touched": lambda t: np.where((t > 3) & (t < 5), 0.25, 1.0),
    "a slow fade": lambda t: np.exp(-np.maximum(0, t - 1) / 2),
    "a fade that stops": lambda t: np.maximum(0.05, np.exp(-np.maximum(0, t - 1))),
}


@pytest.mark.parametrize("hz", [49.98, 60.05, 120.06, 300.1])
@pytest.mark.parametrize("event", EVENTS)
def test_hum_is_no_string_whatever_is_done_to_it(event: str, hz: float) -> None:
    x = hum(hz) * EVENTS[event](times()) + noise(times().size, -75)
    readings, notes, _ = hear_all(x, RATE_HZ)
    assert readings == []
    assert notes == []


@pytest.mark.parametrize("hz", [50.0, 60.0, 99.95, 120.1])
def test_a_string_that_happens_to_lie_there_is_one_note(hz: float) -> None:
    x = after_silence(StiffString(hz, 1e-4).sound(RATE_HZ, 3.0, 1), RATE_HZ)
    readings, notes, _ = hear_all(x, RATE_HZ)
    assert len(readings) > 20
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, hz)) < 0.2


def test_the_notes_of_equal_temperament_at_440_are_not_mains_like() -> None:
    # 48.9994 Hz is G1 and 61.7354 Hz B1: the nearest of all to 50 and 60 Hz.
    assert all(mains_near(440 * 2 ** ((midi - 69) / 12)) is None for midi in range(20, 100))
    assert [mains_near(hz) for hz in (50.0, 59.9, 100.1, 150.0, 240.0)] == [50, 60, 100, 150, 240]
    assert mains_near(50.4) is None
    assert mains_near(50.4, uncertainty_cents=4.0) == 50


NEAR_MAINS = [50.0, 60.0, 100.0, 120.0, 150.0, 180.0, 200.0, 240.0, 250.0, 300.0, 360.0]
PLUCK_S = 0.5


def plucked(string: StiffString, seed: int) -> Floats:
    """A pluck after PLUCK_S, white noise 30 dB below its first half second."""
    x = string.sound(RATE_HZ, 0.8, seed)
    hiss_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - 30
    return after_silence(x, RATE_HZ, PLUCK_S, float(hiss_db))


def first_s(x: Floats, hz: float, since_s: float = PLUCK_S) -> float:
    """How long after `since_s` it is read; all its readings are true."""
    readings, _, _ = hear_all(x, RATE_HZ)
    assert max(abs(cents(reading.hz, hz)) for reading in readings) < 2
    return readings[0].at_s - since_s


# Of 300 and 360 Hz four periods and 35 ms are too little sound to tell it from hum by its
# fading alone, in this noise, if it rings for longer: `fading.py` says how much that is.
@pytest.mark.parametrize("hz", NEAR_MAINS)
@pytest.mark.parametrize(("ring_s", "late_s"), [(0.5, 0.0), (1.0, 0.02), (2.5, 0.06)])
def test_a_string_without_stiffness_is_told_by_how_its_partials_fade(
    hz: float, ring_s: float, late_s: float
) -> None:
    near_hz = hz * 2 ** (np.random.default_rng(round(hz)).uniform(-4, 4) / 1200)

    after_s = first_s(plucked(StiffString(near_hz, 0.0, ring_s), 1), near_hz)

    assert after_s < 4 / hz + 0.035 + late_s


@pytest.mark.parametrize("hz", NEAR_MAINS)
def test_next_to_no_stiffness_tells_a_string_in_four_periods_and_35_ms(hz: float) -> None:
    assert first_s(plucked(StiffString(hz, 5e-6, 1.5), 2), hz) < 4 / hz + 0.035


@pytest.mark.parametrize(("hz", "mains_hz"), [(60.02, 59.93), (100.05, 50.04), (179.8, 60.07)])
def test_a_string_over_hum_is_told_as_soon_beside_its_lines(hz: float, mains_hz: float) -> None:
    x = np.concatenate((np.zeros(RATE_HZ), plucked(StiffString(hz, 0.0, 0.7), 3)))
    power = np.mean(x[-RATE_HZ // 2 :] ** 2)
    mains = hum(mains_hz, 5)[: x.size]
    x = x + mains * np.sqrt(power / np.mean(mains**2) / 10)

    assert first_s(x, hz, 1 + PLUCK_S) < 0.15


def test_a_string_whose_lower_partials_fade_the_faster_is_told_later() -> None:
    t = np.arange(round(1.2 * RATE_HZ)) / RATE_HZ
    x = sum(np.exp(-t * 3 / k) / k * np.cos(2 * np.pi * 60 * k * t + k * k) for k in range(1, 13))
    x = after_silence(0.1 * np.asarray(x), RATE_HZ, PLUCK_S, -55)

    assert 0.4 < first_s(x, 60.0) < 0.7


def test_a_string_all_of_whose_partials_fade_alike_is_hum_turned_down_to_the_ear() -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    fading = after_silence(hum(100.03)[: t.size] * np.exp(-t / 0.8), RATE_HZ)

    readings, notes, _ = hear_all(fading, RATE_HZ)

    assert readings == []
    assert notes == []


def any_hum(seed: int) -> Floats:
    """Hum of four to twenty multiples, turned up and down, swaying or switched, with a thump."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(2.5 * RATE_HZ)) / RATE_HZ
    hz = rng.choice([50, 60]) + rng.uniform(-0.1, 0.1)
    number = np.arange(1, rng.integers(4, 21) + 1)
    levels = rng.choice([1.0, 0.0]) / number + 10 ** (rng.uniform(-40, -5, number.size) / 20)
    levels *= [1.0, number % 2, number % 2 == 0][seed % 3]  # a rectifier has the even ones alone
    x = np.zeros(t.size)
    for k, level in zip(number, levels, strict=True):
        x += level * np.cos(2 * np.pi * hz * k * t + rng.uniform(0, 7))
    x /= np.std(x)
    begins_s = rng.uniform(0.5, 1.2)
    since = np.maximum(0, t - begins_s)
    sways = 1 + np.sin(2 * np.pi * 10 ** rng.uniform(-0.7, 0.7) * t + rng.uniform(0, 7)) / 3
    gain = [
        sways,
        sways * (t > begins_s),
        np.where(t > begins_s, sways, 1.0),
        np.exp(-since / rng.uniform(0.2, 4)) * (t > begins_s),
        np.clip(since / rng.uniform(0.002, 1), 0, 1),
        np.where(t > begins_s, 10 ** rng.uniform(-1, 1), 1.0),
    ][seed // 3 % 6]
    thump = rng.choice([0, 2]) * np.exp(-since / 0.03) * (t > begins_s)
    return np.asarray(0.02 * (gain * x + thump) + noise(t.size, rng.uniform(-85, -55), seed))


@pytest.mark.parametrize("seed", range(36))
def test_no_hum_is_ever_a_string(seed: int) -> None:
    readings, notes, _ = hear_all(any_hum(seed), RATE_HZ)

    assert readings == []
    assert notes == []


@pytest.mark.parametrize("hz", [200.0, 250.0])
def test_a_flexible_string_that_never_dies_is_heard_beside_the_mains_all_the_same(
    hz: float,
) -> None:
    x = after_silence(StiffString(hz, 0.0, ring_s=1e9).sound(RATE_HZ, 2.0, 1), RATE_HZ)

    readings, notes, _ = hear_all(x, RATE_HZ)

    assert readings[0].at_s < 0.5 + 0.75
    assert [abs(cents(note.hz, hz)) < 0.1 for note in notes] == [True]


def test_a_stiff_string_at_100_hz_proves_itself_as_soon_as_any_is_read() -> None:
    for seed in range(3):
        x = after_silence(StiffString(100.0, 1e-4).sound(RATE_HZ, 1.0, seed), RATE_HZ)

        readings, notes, _ = hear_all(x, RATE_HZ)

        assert readings[0].at_s - 0.5 < 4 / 100.0 + 0.075
        assert [abs(cents(note.hz, 100.0)) < 0.1 for note in notes] == [True]
