"""Plucks of one string on a line: which are told, and how their partials die away."""

from __future__ import annotations

import numpy as np
import pytest

from station.errors import SignalError
from station.measure.pluck_ear import PluckEar, Plucked
from tests.support.strings import Floats, StiffString, noise

RATE_HZ = 48000
E2, B2, E4 = 82.407, 123.471, 329.628


def plucks(*hz: float, ring_s: float = 1.2, every_s: float = 2.2) -> Floats:
    """One string after the other, each damped before the next."""
    parts = [noise(RATE_HZ // 2, -85.0)]
    for number, each in enumerate(hz):
        sound = StiffString(each, 6e-5, ring_s).sound(RATE_HZ, every_s, seed=number)
        sound[-RATE_HZ // 5 :] *= np.linspace(1.0, 0.0, RATE_HZ // 5)
        parts.append(sound + noise(sound.size, -85.0, number))
    return np.concatenate([*parts, noise(RATE_HZ // 2, -85.0)])


def heard(x: Floats, block: int = 1024, rate_hz: int = RATE_HZ) -> list[Plucked]:
    ear = PluckEar(rate_hz, E2, 3)
    told: list[Plucked] = []
    for first in range(0, x.size, block):
        told += ear.push(x[first : first + block].astype(np.float32))
    return told


def test_every_pluck_of_the_string_is_told_with_the_decay_of_its_partials():
    told = heard(plucks(E2, E2 * 2 ** (20 / 1200), E2))

    assert [each.line for each in told] == [3, 3, 3]
    assert [each.at_s for each in told] == pytest.approx([0.5, 2.7, 4.9], abs=0.05)
    for each in told:
        falls = {p.number: p.fall_per_s for p in each.pluck.partials}
        # Partial k of the synthetic string falls to 1/e in ring_s / sqrt(k).
        for k in (1, 4, 6):
            assert falls[k] == pytest.approx(np.sqrt(k) / 1.2, rel=0.1)


def test_plucks_of_other_strings_are_not_told():
    assert heard(plucks(E4, B2, E4)) == []


def test_how_the_sound_is_cut_into_blocks_changes_nothing():
    x = plucks(E2)

    assert heard(x, 777) == heard(x, 4096)


def test_what_was_heard_before_a_gap_is_told_and_nothing_spans_it():
    x = plucks(E2)
    ear = PluckEar(RATE_HZ, E2)
    told = ear.push(x[: round(1.8 * RATE_HZ)].astype(np.float32))
    told += ear.mark_gap(4800)
    told += ear.push(x[round(1.9 * RATE_HZ) :].astype(np.float32))

    assert len(told) == 1


def test_a_clipped_pluck_is_not_told():
    assert heard(np.clip(6 * plucks(E2), -1.0, 1.0)) == []


@pytest.mark.parametrize("hz", [0.0, -1.0, 8.0, 9000.0, float("nan"), float("inf")])
def test_an_impossible_string_is_refused(hz: float):
    with pytest.raises(SignalError):
        PluckEar(RATE_HZ, hz)


@pytest.mark.parametrize("x", [np.zeros((4, 2)), np.full(8, np.nan)], ids=["stereo", "nan"])
def test_samples_that_cannot_be_are_refused(x: Floats):
    with pytest.raises(SignalError):
        PluckEar(RATE_HZ, E2).push(x)
