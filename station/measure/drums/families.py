"""One family of modes, (m, 1), over all taps of a head: how far it is split, and along what.

A pair's two modes have perpendicular nodal lines (for (1,1); in general they are turned by
90/m degrees). A tap at angle theta excites the lower one by cos m(theta - alpha), the other by the
sine. Close together they are heard as one pitch between, apart as two. How much of each is
heard depends on the microphone: one that follows the stick hears each by the square of its
shape there, one that stands still hears the two with a ratio of its own, the same for all taps.
All that is tried (alpha, ratio, microphone), the split that fits best being found by least
squares, and every possibility weighed by how well it fits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.drums.types import Mode
from station.music.pitch import cents_between, shift_cents

Floats = NDArray[np.floating[Any]]

WINDOWS = {1: (0.92, 1.09), 2: (1.28, 1.53), 3: (1.60, 1.80)}
"""Where (m, 1) may stand, as multiples of (1,1): 1.340 and 1.665 for a membrane alone, more
where the air lowers (1,1) most, up to 1.5 (Rossing, Science of Percussion Instruments)."""
APART_CENTS = {1: 130.0, 2: 45.0, 3: 30.0}  # no family is split farther: 20 % at one lug of 4
HEARD_SHARE = 0.6  # of the taps, for a family to count
SECOND_DB = -26.0  # a fainter companion is a side lobe or another mode
LEAST_CENTS = 0.5  # no tap repeats better, whatever its own uncertainty says
MIXTURE = 0.08  # of the split: a single pitch heard of two modes is not quite their mean
PRIOR_SPLIT_CENTS = 60.0
LEVEL_DB = 3.5
RATIO_DB = 5.0

ALPHAS = 90  # a degree apart for (2,1): less than a tap tells
RATIOS_DB = np.arange(-12.0, 12.1, 2.0)
POWERS = (1.0, 2.0)  # a microphone that stands still, one that follows the stick


class Heard(NamedTuple):
    """A family in one tap: the angle, its modes' pitches in cents and their uncertainty.

    ``high`` is None where one pitch is heard; ``balance_db`` is low over high.
    """

    angle: float
    low: float
    high: float | None
    uncertainty: float
    balance_db: float = 0.0


@dataclass(frozen=True, slots=True)
class Split:
    """What the taps tell of a family: Z (real, imaginary) in cents, its covariance, the centre.

    ``still`` are the log odds, by this family's taps, that the microphone stands still.
    """

    order: int
    z: Floats
    covariance: Floats
    centre_hz: float
    centre_cents: float  # uncertainty of the centre
    still: float = 0.0


def hear_family(
    order: int, taps: Sequence[tuple[float, Sequence[Mode]]], overtone_hz: float
) -> tuple[float, list[Heard]]:
    """The family's middle in Hz and what each tap (angle, modes) has of it; empty if too few.

    Peaks of all taps are gathered in groups; the group heard in the most taps, and of those the
    loudest, is the family.
    """
    low, high = WINDOWS[order]
    found = [
        (cents_between(mode.hz, overtone_hz), mode.level_db, tap)
        for tap, (_, modes) in enumerate(taps)
        for mode in modes
        if low <= mode.hz / overtone_hz <= high
    ]
    middle = _middle(found, APART_CENTS[order])
    if middle is None:
        return overtone_hz, []
    middle_hz = shift_cents(overtone_hz, middle)
    heard = [
        each
        for angle, modes in taps
        if (each := _in_tap(angle, modes, middle_hz, APART_CENTS[order])) is not None
    ]
    return middle_hz, heard if len(heard) >= HEARD_SHARE * len(taps) else []


def _middle(found: list[tuple[float, float, int]], apart: float) -> float | None:
    """The cents about which most taps, most loudly, have a peak."""
    best, best_score = None, -math.inf
    for cents, _, _ in found:
        near = [each for each in found if abs(each[0] - cents) <= apart / 2.0]
        loud = {tap: max(db for _, db, at in near if at == tap) for _, _, tap in near}
        score = sum(max(0.0, 40.0 + db) for db in loud.values())
        if score > best_score:
            best_score = score
            best = float(np.median([each[0] for each in near]))
    return best


def _in_tap(angle: float, modes: Sequence[Mode], middle_hz: float, apart: float) -> Heard | None:
    near = [m for m in modes if abs(cents_between(m.hz, middle_hz)) <= apart]
    if not near:
        return None
    loudest = max(near, key=lambda mode: mode.level_db)
    others = [m for m in near if m is not loudest and m.level_db > loudest.level_db + SECOND_DB]
    own = cents_between(loudest.hz, middle_hz)
    if not others:
        return Heard(angle, own, None, loudest.uncertainty_cents)
    second = max(others, key=lambda mode: mode.level_db)
    low, high = sorted((loudest, second), key=lambda mode: mode.hz)
    return Heard(
        angle,
        cents_between(low.hz, middle_hz),
        cents_between(high.hz, middle_hz),
        math.hypot(loudest.uncertainty_cents, second.uncertainty_cents) / math.sqrt(2.0),
        low.level_db - high.level_db,
    )


def split_of(
    order: int,
    middle_hz: float,
    heard: Sequence[Heard],
    lugs: int | None = None,
    still: float = 0.0,
) -> Split | None:
    """The family's split from what all taps have of it; None from fewer than three taps.

    ``still`` are the log odds, known from elsewhere, that the microphone stands still.

    Of so many ``lugs`` that every other one pulls along the same mode (4 m), the modes must
    lie along the lugs, not between them, unless another family pushes them (None).
    """
    if len(heard) < 3:
        return None
    alphas = ALPHAS if lugs != 4 * order else 2
    logs, centre, split, variance, turned = _fits(order, heard, alphas)
    evidence, first, second = _in_the_plane(split, variance[:, 1])
    logs = logs + evidence
    half = logs.size // len(POWERS)
    own = float(np.logaddexp.reduce(logs[:half]) - np.logaddexp.reduce(logs[half:]))
    logs[:half] += still
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    # Along the lower mode the pitch is half the split below the centre.
    along = np.column_stack([-np.cos(turned), np.sin(turned)]) / 2.0
    mean_z = (weights * first) @ along
    unsure = weights @ variance
    spread = (along * (weights * second)[:, None]).T @ along - np.outer(mean_z, mean_z)
    covariance = spread + np.eye(2) * unsure[1] / 4.0
    mean = float(weights @ centre)
    centre_cents = math.sqrt(unsure[0] + weights @ (centre - mean) ** 2)
    return Split(order, mean_z, covariance, shift_cents(middle_hz, mean), centre_cents, own)


def _fits(
    order: int, heard: Sequence[Heard], directions: int
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """For every possibility: log evidence, centre, split, their variances, 2 m alpha."""
    alphas = np.arange(directions) * math.pi / order / directions
    power, ratio_db, alpha = (
        each.ravel() for each in np.meshgrid(POWERS, RATIOS_DB, alphas, indexing="ij")
    )
    angles = np.array([each.angle for each in heard])
    turned = order * (angles[None, :] - alpha[:, None])
    low = np.abs(np.cos(turned)) ** power[:, None] * 10.0 ** (ratio_db[:, None] / 40.0)
    high = np.abs(np.sin(turned)) ** power[:, None] * 10.0 ** (-ratio_db[:, None] / 40.0)
    logs = -0.5 * (ratio_db / RATIO_DB) ** 2
    pairs = np.array([each.high is not None for each in heard])
    if pairs.any():
        balance = 20.0 * np.log10(np.maximum(low, 0.03) / np.maximum(high, 0.03))[:, pairs]
        seen = np.array([each.balance_db for each in heard if each.high is not None])
        logs -= 0.5 * np.minimum(((seen - balance) / LEVEL_DB) ** 2, 16.0).sum(axis=1)
    slope, cents, sigma = _rows(heard, 0.5 - low / (low + high))
    centre, split, covariance, log = _straight(slope, cents, 1.0 / sigma**2)
    return logs + log, centre, split, covariance, 2.0 * order * alpha


def _rows(heard: Sequence[Heard], mixed: Floats) -> tuple[Floats, Floats, Floats]:
    """Each pitch heard is centre + slope * split: slopes (grid, rows), cents, sigmas (rows)."""
    spread = _spread(heard)
    slopes, cents, sigmas = [], [], []
    for at, each in enumerate(heard):
        sigma = math.hypot(each.uncertainty, LEAST_CENTS)
        if each.high is None:
            slopes.append(mixed[:, at])
            cents.append(each.low)
            sigmas.append(math.hypot(sigma, MIXTURE * spread))
        else:
            slopes += [np.full(len(mixed), -0.5), np.full(len(mixed), 0.5)]
            cents += [each.low, each.high]
            sigmas += [sigma, sigma]
    return np.column_stack(slopes), np.array(cents), np.array(sigmas)


def _straight(
    slope: Floats, cents: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Least squares of cents = centre + slope * split with a prior on the split, for each row.

    Returns centre, split, their variances (grid, 2) and the log evidence.
    """
    ones = weight.sum() + 1e-6
    across = slope @ weight
    squares = slope**2 @ weight + PRIOR_SPLIT_CENTS**-2
    right, right_slope = float(cents @ weight), slope @ (weight * cents)
    determinant = ones * squares - across**2
    centre = (squares * right - across * right_slope) / determinant
    split = (ones * right_slope - across * right) / determinant
    rest = cents - centre[:, None] - slope * split[:, None]
    log = -0.5 * (rest**2 @ weight + (split / PRIOR_SPLIT_CENTS) ** 2 + np.log(determinant))
    variance = np.column_stack([squares, np.full(len(slope), ones)]) / determinant[:, None]
    return centre, split, variance, log


def _in_the_plane(split: Floats, variance: Floats) -> tuple[Floats, Floats, Floats]:
    """Splits that may be anything from 0 up, each with its share of the plane of Z.

    Z's length is half the split, its angle the direction, and before anything is heard one
    Z is as likely as another: so a split counts by the circle it stands for, in proportion to
    itself. Weighed alike instead, small splits, of which directions are doubtful, come out
    too small by a third. Returns log evidence, mean split and mean square, by
    the moments of a normal variate above 0 (integrals of s, s^2, s^3 times its density).
    """
    sigma = np.sqrt(variance)
    at = split / sigma
    below = np.array([math.erf(each) for each in at / math.sqrt(2.0)])
    share = np.maximum(0.5 + 0.5 * below, 1e-12)
    edge = np.exp(-0.5 * at**2) / math.sqrt(2.0 * math.pi) * sigma
    one = np.maximum(split * share + edge, 1e-12)
    two = (split**2 + variance) * share + split * edge
    three = (split**3 + 3.0 * split * variance) * share + (split**2 + 2.0 * variance) * edge
    return np.log(one), np.maximum(two, 0.0) / one, np.maximum(three, 0.0) / one


def _spread(heard: Sequence[Heard]) -> float:
    """A first guess at the split: from the lowest pitch heard to the highest."""
    cents = [c for each in heard for c in (each.low, each.high) if c is not None]
    return max(cents) - min(cents)
