"""A family's split from single pitches, no two modes apart, made by the formula itself."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.drums.families import Heard, Split, split_of

LUGS, TAPS = 10, 2
SPLIT_CENTS = 1.0
TAP_CENTS = 0.5
ROOM_DB = 5.6  # of one mode's gain over the other's


def round_of_taps(order: int, rng: np.random.Generator) -> tuple[float, Split]:
    """Where the lower mode lies, and what a microphone that stands still tells of it."""
    alpha = rng.uniform(0.0, np.pi / order)
    ratio = 10 ** (rng.normal(0.0, ROOM_DB) / 40)
    heard = []
    for angle in np.repeat(2 * np.pi * np.arange(LUGS) / LUGS, TAPS):
        low = abs(np.cos(order * (angle - alpha))) * ratio
        high = abs(np.sin(order * (angle - alpha))) / ratio
        cents = SPLIT_CENTS / 2 * (high - low) / (low + high) + rng.normal(0.0, TAP_CENTS)
        heard.append(Heard(float(angle), float(cents), None, TAP_CENTS))
    split = split_of(order, 200.0, heard, LUGS)
    assert split is not None
    return alpha, split


@pytest.mark.parametrize("order", [1, 2])
def test_a_split_of_a_cent_comes_out_as_large_as_it_is(order: int) -> None:
    rng = np.random.default_rng(3)
    along, told = [], []

    for _ in range(40):
        alpha, split = round_of_taps(order, rng)
        # Along the lower mode the pitch is half the split below the centre.
        direction = np.array([-np.cos(2 * order * alpha), np.sin(2 * order * alpha)])
        along.append(float(split.z @ direction))
        told.append(float(direction @ split.covariance @ direction))

    assert np.mean(along) == pytest.approx(SPLIT_CENTS / 2, rel=0.3)
    off = np.array(along) - SPLIT_CENTS / 2
    assert np.mean(np.abs(off) < 2 * np.sqrt(told)) >= 0.9
