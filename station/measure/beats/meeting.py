"""One band in which a partial of each string stands: two lines, and how sure they are two.

Two lines nearer than the reciprocal of the listening time are told apart by how the band's
level bends, which noise and strings that do not decay evenly feign; so the beat's
likelihood is followed from nought upwards, and where nought is as likely as the best a bound
is told instead of a beat.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from station.measure.beats.poles import (
    LOUDEST_TIMES,
    SKEW_LEAST,
    SKEW_SHARE,
    TINY,
    A,
    D,
    Envelope,
    Floats,
    Found,
    Phasors,
    Priors,
    S,
    W,
    at_splits,
    one_line,
    pencil_start,
    residual,
    two_lines,
    worth_of,
)

LEAST_WINDOWS = 10
SLOW_TURNS = 1.6  # of a beat within the listening time: so far its likelihood is followed
PLAIN_TURNS = 1.0  # from here on its curvature says enough
SLOW_POINTS = 17
GRID_SHARE = SLOW_TURNS / (SLOW_POINTS - 1) / 2  # what the likelihood's steps add to a width
SPREAD_TURNS = (0.15, 0.4, 0.8, 1.3)  # starting points beside the pencil's
LIKELY = 4.0  # twice a log-likelihood so far below the best is left out at 95 % (Wilks 1938)
GAIN = 30.0  # twice the log-likelihood that a second line has to bring
LEAST_LEVEL = 0.1  # a line 20 dB below the other makes no beat to tune by
TAKEN_LEVEL = 0.3  # of the weaker string over the stronger, where a bound is told
FASTEST_HZ = 16.0
STILL = 2e-3  # of the band's loudest: no string, and no neighbour's leakage, is stiller
ROUNDS = 2
FEIGNED = 0.03  # of the level: what leaks in from beside, and decays that are not quite even


class Meeting(NamedTuple):
    """Two lines in one band, from its beginning on.

    `split_hz` how far they are apart with one standard deviation, `middle_hz` half-way
    between them beside the carrier, `falls` (2,) 1/s and `levels` (2,) complex at time 0, the upper
    line first. `resolved`: they are two; else `bound_hz` is the most they may be apart, and
    `split_hz` the likeliest below it. `left`: the share of power nobody explains;
    `turns`: how many times the beat went round.
    """

    split_hz: float
    sd_hz: float
    middle_hz: float
    falls: tuple[float, float]
    levels: tuple[complex, complex]
    resolved: bool
    bound_hz: float
    left: float
    turns: float

    @property
    def depth(self) -> float:
        """How much the loudness swings, 0 to 1, at the beginning: 2 u v / (u^2 + v^2)."""
        up, down = (abs(level) for level in self.levels)
        return 2 * up * down / (up * up + down * down + TINY)


def meeting(band: Envelope, slow: bool = True) -> Meeting | None:
    """The lines in a band; None for too short a band or silence.

    Without `slow` what is too slow to go round once is taken for one line, and has no bound.
    """
    n = band.y.size
    power = float(np.square(np.abs(band.y)).sum())
    if n < LEAST_WINDOWS or power <= TINY:
        return None
    line, left_by_one = one_line(band)
    loudest = float(np.abs(band.y).max())
    still = n * (STILL * loudest) ** 2
    skew = max(SKEW_SHARE * -line.real, SKEW_LEAST)
    noise = max(1e-2 * left_by_one, still) / n
    seconds = float(band.t[-1])
    starts = _starts(band, line, seconds)
    priors = Priors(noise, skew, LOUDEST_TIMES * loudest)
    found = two_lines(band, starts, priors)
    for _ in range(ROUNDS):
        best = _best(found)
        noise = max(float(best.left[0]), still) / max(1, n - 4)
        priors = priors._replace(noise=noise)
        found = two_lines(band, best.theta, priors)
    best = _best(found)
    worth = min(band.worth, worth_of(residual(band, best)))
    heard = band._replace(worth=worth)
    best = _best(two_lines(heard, best.theta, priors))
    gain = 2 * worth * (left_by_one - float(best.left[0])) / noise
    return _judged(heard, best, line, priors, gain, power, slow)


def _starts(band: Envelope, line: complex, seconds: float) -> Floats:
    spread = np.zeros((len(SPREAD_TURNS), 4))
    spread[:, W], spread[:, A] = line.imag, -line.real
    spread[:, S] = 2 * math.pi * np.array(SPREAD_TURNS) / seconds
    return np.concatenate((pencil_start(band), spread))


def _best(found: Found) -> Found:
    return found.of(found.cost.argmin(axis=0, keepdims=True))


def _judged(
    band: Envelope,
    best: Found,
    line: complex,
    priors: Priors,
    gain: float,
    power: float,
    slow: bool,
) -> Meeting | None:
    theta, levels = best.theta[0], best.level[0]
    if theta[S] < 0:  # the upper one first
        theta, levels = theta * np.array([1, 1, -1, -1]), levels[::-1]
    split_hz = float(theta[S]) / (2 * math.pi)
    sd_hz = _sd(best) / (2 * math.pi)
    falls = (float(theta[A] + theta[D] / 2), float(theta[A] - theta[D] / 2))
    sizes = _sizes(band, levels, falls)
    ratio = min(sizes) / (max(sizes) + TINY)
    two = gain > GAIN and ratio > LEAST_LEVEL and split_hz < FASTEST_HZ
    bound_hz = math.inf
    round_once = split_hz * float(band.t[-1]) >= PLAIN_TURNS
    if not slow:
        two = two and round_once
    elif not (round_once and two):
        likely_hz, low_hz, bound_hz = _slow(band, line, best, priors)
        if low_hz <= 0 or not two:
            two = False
            bound_hz = max(bound_hz, _feigned_bound(float(band.t[-1]), -line.real))
            split_hz, sd_hz = min(likely_hz, bound_hz), bound_hz / 2
        else:
            sd_hz = max(sd_hz, (bound_hz - low_hz) / 4 - GRID_SHARE / float(band.t[-1]))
    left = float(best.left[0]) / power
    pair = (complex(levels[0]), complex(levels[1]))
    middle_hz = float(theta[W]) / (2 * math.pi)
    if not two:
        middle_hz, falls, pair = line.imag / (2 * math.pi), (-line.real, -line.real), (1 + 0j, 0j)
    turns = split_hz * float(band.t[-1])
    return Meeting(split_hz, sd_hz, middle_hz, falls, pair, two, bound_hz, left, turns)


def _feigned_bound(seconds: float, fall: float) -> float:
    """How fast a beat may be, Hz, that bends the band's level by no more than FEIGNED.

    Two lines s apart bend the level by (pi s t)^2 / 2 of it in a time t.
    """
    return math.sqrt(2 * FEIGNED) / (math.pi * min(seconds, 2.0 / max(fall, 1e-3)))


def _sd(best: Found) -> float:
    try:
        spread = float(np.linalg.inv(best.curve[0])[S, S])
    except np.linalg.LinAlgError:
        return math.inf
    return math.sqrt(spread) if spread > 0 else math.inf


def _sizes(band: Envelope, levels: Phasors, falls: tuple[float, float]) -> list[float]:
    """How loud each line is over all the time, root mean square."""
    return [
        abs(level) * math.sqrt(float(np.mean(np.exp(-2 * fall * band.t))))
        for level, fall in zip(levels, falls, strict=True)
    ]


def _slow(band: Envelope, line: complex, best: Found, priors: Priors) -> tuple[float, float, float]:
    """The likeliest slow split, and the least and the most it may be at 95 %, Hz."""
    seconds = float(band.t[-1])
    splits: Floats = 2 * math.pi * np.linspace(0, SLOW_TURNS, SLOW_POINTS) / seconds
    lines = [line, complex(-best.theta[0, A], best.theta[0, W])]
    found = at_splits(band, splits, lines, priors)
    cost, levels = found.cost, np.abs(found.level)
    fits = levels.min(axis=1) > TAKEN_LEVEL * levels.max(axis=1)
    fits[0] = True
    at = int(np.where(fits, cost, np.inf).argmin())
    # Held against the best of those that may be: a free fit may lie outside of them.
    likely = fits & (cost < float(cost[at]) + LIKELY)
    first, last = int(np.flatnonzero(likely)[0]), int(np.flatnonzero(likely)[-1])
    low = 0.0 if first == 0 else float(splits[first - 1])
    high = float(splits[min(last + 1, splits.size - 1)])
    return float(splits[at]) / (2 * math.pi), low / (2 * math.pi), high / (2 * math.pi)
