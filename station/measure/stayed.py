"""Where a string's pitch stayed after a peg had moved it, and whether it was a peg.

A note's readings tell whether its pitch moved and then held still; its partials tell why. A peg
moves them as one. Where they go each its own way it was none: recorded strings drift as they
die, and a recording that is looped has no stiffness from there on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean, median
from typing import NamedTuple

import numpy as np

from station.measure.fit import CENTS, Fit, partials_heard, width_cents
from station.measure.reading import READING_S
from station.measure.windows import Heard

LATEST_READINGS = 9  # 0.18 s
MOVED_CENTS = 1.0  # half of what counts as in tune: less nobody would miss
MOST_OF_THEM = 90.0  # per cent of the readings are nearer to where the pitch ended
STAYED_CENTS = 0.5  # so near it has not left: a quarter of what counts as in tune
LEAST_MOVED = 3  # of two partials nobody can say which of them went astray
# Of the way. B is as one over the tension, which goes with the square of the pitch, so that under
# a peg partial k goes B k^2 / (1 + B k^2) less far than the first: a tenth less where it is 0.1.
AS_ONE_SHARE = 0.1


class Stayed(NamedTuple):
    """The pitch stayed at `hz` from sample `since` on, and was `moved_cents` from there before."""

    since: int
    hz: float
    moved_cents: float


def stayed_since(
    track: Sequence[tuple[int, Fit]], start: int, stop: int, rate_hz: float
) -> Stayed | None:
    """Since when, and where, the pitch has stayed where it ended; None if it never moved.

    Moved means: the last readings, steady among themselves, differ from some between `start`
    and `stop`, which would be measured otherwise, by more than MOVED_CENTS and more than they are
    unsure of.
    """
    later = [(end, fit) for end, fit in track if end >= start]
    width = width_cents([fit.hz for _, fit in later])
    if len(later) < 2 * LATEST_READINGS or width < MOVED_CENTS:
        return None
    rows = _sure(later)
    if len(rows) < 2 * LATEST_READINGS:
        return None
    cents = CENTS * np.log(np.array([fit.hz for _, fit in rows]) / rows[-1][1].hz)
    unsure = np.array([fit.uncertainty_cents for _, fit in rows])
    late = slice(-LATEST_READINGS, None)
    place, wobble = float(np.median(cents[late])), float(cents[late].std())
    early = np.array([end <= stop for end, _ in rows])
    away = np.abs(cents - place)
    moved = float(np.percentile(away[early], MOST_OF_THEM)) if early.any() else 0.0
    if moved < max(MOVED_CENTS, 3 * float(np.median(unsure[late]))) or wobble > 0.3 * moved:
        return None
    far = np.flatnonzero(away > np.maximum(max(STAYED_CENTS, 2 * wobble), 3 * unsure))
    first = int(far[-1]) + 1 if far.size else 0
    # A reading hears READING_S back: what it says holds for its middle.
    since = max(0, rows[min(first, len(rows) - 1)][0] - round(READING_S / 2 * rate_hz))
    return Stayed(since, rows[-1][1].hz * math.exp(place / CENTS), moved)


class Moved(NamedTuple):
    """Partials moved by so many `cents`, each beside that by `beside_cents` on average."""

    cents: float
    beside_cents: float


def moved_as_one(before: Heard, after: Heard) -> Moved | None:
    """How far the partials have moved as one; None if each went its own way."""
    known = {k: (hz, sd_hz) for k, hz, sd_hz in partials_heard(before).rows}
    moves = [
        (CENTS * math.log(hz / known[k][0]), CENTS * math.hypot(sd_hz, known[k][1]) / hz)
        for k, hz, sd_hz in partials_heard(after).rows
        if k in known
    ]
    if not moves:
        return None
    moved = median(cents for cents, _ in moves)
    # How far they are from that on average, beyond what each is unsure of.
    beside = fmean(max(0.0, abs(cents - moved) - unsure) for cents, unsure in moves)
    as_one = beside <= AS_ONE_SHARE * abs(moved) or len(moves) < LEAST_MOVED
    return Moved(moved, beside) if as_one else None


def _sure(rows: list[tuple[int, Fit]]) -> list[tuple[int, Fit]]:
    """Without the readings that are much less sure than most, as while a string is damped."""
    usual = float(np.median([fit.uncertainty_cents for _, fit in rows]))
    return [(end, fit) for end, fit in rows if fit.uncertainty_cents <= max(4 * usual, 0.1)]
