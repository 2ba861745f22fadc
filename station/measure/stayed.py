"""Where a string's pitch stayed after a peg had moved it, and whether it was a peg.

A note's readings tell whether its pitch moved and then held still; its partials tell why. A peg
moves them as one. Where they go each its own way it was none: recorded strings drift as they
die, and a recording that is looped has no stiffness from there on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import NamedTuple

import numpy as np

from station.measure.fit import CENTS, Fit, apart_cents, partials_heard
from station.measure.windows import Heard

LATEST_READINGS = 9  # 0.18 s
READING_S = 0.12  # a reading's: what it says holds for the middle of that
MOVED_CENTS = 1.0
STAYED_CENTS = 0.5
LEAST_MOVED = 3  # of two partials nobody can say which of them went astray
# Of the way. B is as one over the tension, which goes with the square of the pitch, so that under
# a peg partial k goes B k^2 / (1 + B k^2) less far than the first: a tenth less where it is 0.1.
AS_ONE_SHARE = 0.1


class Stayed(NamedTuple):
    """The pitch stayed at `hz`, `moved_cents` from where it was, from sample `since` on."""

    since: int
    hz: float
    moved_cents: float


def stayed_since(
    track: Sequence[tuple[int, Fit]], start: int, stop: int, rate_hz: float
) -> Stayed | None:
    """Since when, and where, the pitch has stayed where it ended; None if it never moved.

    Moved means: the last readings, steady among themselves, differ from those
    between `start` and `stop`, which would be measured otherwise, by more than
    MOVED_CENTS and more than they are unsure of.
    """
    later = [(end, fit) for end, fit in track if end >= start]
    if len(later) < 2 * LATEST_READINGS or _width_cents(later) < MOVED_CENTS:
        return None
    rows = _sure(later)
    if len(rows) < 2 * LATEST_READINGS:
        return None
    cents = CENTS * np.log(np.array([fit.hz for _, fit in rows]) / rows[-1][1].hz)
    unsure = np.array([fit.uncertainty_cents for _, fit in rows])
    late = slice(-LATEST_READINGS, None)
    place, wobble = float(np.median(cents[late])), float(cents[late].std())
    early = np.array([end <= stop for end, _ in rows])
    moved = abs(float(cents[early].mean()) - place) if early.any() else 0.0
    if moved < max(MOVED_CENTS, 3 * float(np.median(unsure[late]))) or wobble > 0.3 * moved:
        return None
    near = np.abs(cents - place) <= np.maximum(max(STAYED_CENTS, 2 * wobble), 3 * unsure)
    away = np.flatnonzero(~near)
    first = int(away[-1]) + 1 if away.size else 0
    # A reading hears READING_S back: what it says holds for its middle.
    since = max(0, rows[min(first, len(rows) - 1)][0] - round(READING_S / 2 * rate_hz))
    return Stayed(since, rows[-1][1].hz * math.exp(place / CENTS), moved)


def have_moved_as_one(first: Heard, last: Heard) -> bool:
    """Whether the partials of `last` are as far from where they were in `first` as each other."""
    before = {k: (hz, sd_hz) for k, hz, sd_hz in partials_heard(first).rows}
    moves = [
        (CENTS * math.log(hz / before[k][0]), CENTS * math.hypot(sd_hz, before[k][1]) / hz)
        for k, hz, sd_hz in partials_heard(last).rows
        if k in before
    ]
    if len(moves) < LEAST_MOVED:
        return True
    moved = median(cents for cents, _ in moves)
    beside = median(abs(cents - moved) for cents, _ in moves)
    return beside <= max(AS_ONE_SHARE * abs(moved), median(unsure for _, unsure in moves))


def _width_cents(rows: list[tuple[int, Fit]]) -> float:
    """How far the highest reading is from the lowest."""
    hz = [fit.hz for _, fit in rows]
    return apart_cents(max(hz), min(hz))


def _sure(rows: list[tuple[int, Fit]]) -> list[tuple[int, Fit]]:
    """Without the readings that are much less sure than most, as while a string is damped."""
    usual = float(np.median([fit.uncertainty_cents for _, fit in rows]))
    return [(end, fit) for end, fit in rows if fit.uncertainty_cents <= max(4 * usual, 0.1)]
