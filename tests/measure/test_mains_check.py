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
def test_a_string_that_happens_to_lie_there_is_heard_once_it_has_proved_itself(hz: float) -> None:
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
