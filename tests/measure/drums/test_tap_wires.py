"""Snares and timbales as they are played: wires on, wires off, a single thin head."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from station.measure.drums.tap import tap
from station.measure.drums.types import Stroke
from tests.support.drum_strokes import heard, take
from tests.support.played_drums import PlayedDrum, snare_drum, timbale

SEEDS = (0, 1)
TAPS = 5
APART_S = 0.9


def cents(hz: float, other_hz: float) -> float:
    return float(1200 * np.log2(hz / other_hz))


def struck(drum: PlayedDrum, seed: int, count: int = 1) -> list[Stroke]:
    """Strokes on one drum."""
    sounds = [replace(drum, seed=10 * seed + at).sound(APART_S) for at in range(count)]
    strokes = [(0.4 + APART_S * at, sound) for at, sound in enumerate(sounds)]
    return heard(take(strokes, 0.6 + APART_S * count, -60.0, seed=seed))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_snare_with_its_wires_on_is_told_so_and_its_pitch_within_a_semitone(seed: int) -> None:
    drum = snare_drum(seed)

    said = tap(struck(drum, seed, TAPS))

    assert said is not None
    assert said.kind == "snare, wires on"
    off = abs(cents(said.fundamental_hz, drum.settled_hz))
    # Wires push the head at random moments: no surer than that.
    assert off < min(100, 3 * said.uncertainty_cents)


@pytest.mark.parametrize("seed", SEEDS)
def test_wires_off_leave_a_snare_its_pitch_to_the_cent(seed: int) -> None:
    drum = snare_drum(seed, 0.0)

    said = tap(struck(drum, seed))

    assert said is not None
    assert said.kind == "snare, wires off"
    assert abs(cents(said.fundamental_hz, drum.settled_hz)) < 2


@pytest.mark.parametrize("seed", SEEDS)
def test_a_timbales_metal_shell_is_no_wires_and_no_mode_of_its_head(seed: int) -> None:
    drum = timbale(seed)

    (stroke,) = struck(drum, seed)

    assert (stroke.verdict, stroke.wires) == ("good", "off")
    assert stroke.fundamental is not None
    assert stroke.overtone is not None
    assert abs(cents(stroke.fundamental.hz, drum.settled_hz)) < 2
    assert abs(cents(stroke.overtone.hz, drum.settled_hz * drum.overtones[0][0])) < 5
