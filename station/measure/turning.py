"""How far a low string's pitch has gone since somebody began to turn its peg.

A reading of a low string listens back for nine periods: up to 0.3 s, in which a peg goes far.
But from the first moment on every partial's phase leaves the course it was on, number k by k
times as much as the first. That is looked for in the newest windows, against every moment at
which the turning may have begun or ended. What is no peg is told from it: in noise and drums a
partial's strength departs as far as its phase, each partial goes its own way, and the noise
beside them rises.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from station.measure.fit import CENTS, LEAST_SNR, TRUSTED_PARTIALS, Fit, fit_heard
from station.measure.windows import BESIDE_EVERY, Floats, Heard, hann

WINDOWS = 8  # a step apart, each WINDOW_STEPS long: eleven periods
WINDOW_STEPS = 4
USUAL_CENTS_S = 30.0  # of a peg, one standard deviation of what is expected
# What begins to go faster is taken for a sway or a drum. Of 23,700 readings of low strings under
# the drums of generated kits (`tests/support/kits.py`) up to this rate none would have been moved
# by more than 3.2 cents, up to 60 cents a second five by 3 to 6.
STEEPEST_CENTS_S = 50.0
LONG = 7.0  # steps: of most low strings half a sway of 4 Hz, as slow as vibrato is, or more
GOES_ON = 3.0  # to one: a hand that turned a moment ago still does
ODDS = math.log(20.0)  # strong (Kass & Raftery 1995)
LEAST_PARTIALS = 3
CONFIRMED = 0.5
SMALLEST = 1e-8  # the square of a ten-thousandth of a cent, for a step
BEGINS_EVERY = 0.5  # steps; a turn that ends is asked for every whole one
GRID = 64  # parts of a step, for integrals


class Turn(NamedTuple):
    """The pitch is now `cents` from what all windows say as a `whole`, unsure by `unsure_cents`.

    It is `sudden` if that goes too fast for a peg that has only begun to turn.
    """

    whole: Fit
    cents: float
    unsure_cents: float
    sudden: bool

    def pitch(self) -> Fit:
        """The pitch at the end of the windows."""
        unsure_cents = math.hypot(self.whole.uncertainty_cents, self.unsure_cents)
        hz = self.whole.hz * math.exp(self.cents / CENTS)
        return self.whole._replace(hz=hz, uncertainty_cents=unsure_cents, moving=True)


class Courses(NamedTuple):
    """Pitches that go by one cent a step from some moment on, and stay where they are from another.

    `whiten` (d, w) takes a straight line out of what w windows heard and makes their noise alike
    and independent. `shapes` (c, d): what it makes of each course's phase, in cents times steps;
    `squares` (c,): of these. `gone` (c,): how far each is at last from the pitch of the straight
    line, in cents. `lasted` (c,): for how many steps it went. `prior` (c,): the logarithm.
    """

    whiten: Floats
    shapes: Floats
    squares: Floats
    gone: Floats
    lasted: Floats
    prior: Floats


class Departures(NamedTuple):
    """By how much partials depart from a straight course.

    `each` (d, k): in cents of the first, times steps. `weight` (k,): one over its variance.
    """

    each: Floats
    weight: Floats


def turn_of(heard: Heard) -> Turn | None:
    """Where a turn of the peg has brought the pitch at the end of `heard`; None if there was none.

    Bayes: each course's rate has a normal prior, what is left beside it is normal noise.
    """
    courses = _courses(len(heard.rows))
    departed = _departures(heard, courses.whiten)
    if departed is None:
        return None
    common, variance = _common(departed)
    usual = (USUAL_CENTS_S * heard.step_s) ** 2
    precision = courses.squares / variance + 1 / usual
    rate = courses.shapes @ common / (variance * precision)
    evidence = 0.5 * (rate * rate * precision - np.log(usual * precision)) + courses.prior
    best = int(evidence.argmax())
    odds = np.exp(evidence - evidence[best])
    total = float(np.add.reduce(odds))
    if evidence[best] + math.log(total) < ODDS or not _all_agree(departed, courses.shapes[best]):
        return None
    whole = fit_heard(heard)
    if whole is None:
        return None
    odds /= total
    gone = rate * courses.gone
    cents = float(odds @ gone)
    square = float(odds @ (gone * gone + courses.gone * courses.gone / precision))
    steep = abs(float(odds @ rate)) > STEEPEST_CENTS_S * heard.step_s
    sudden = steep and float(odds @ courses.lasted) < LONG
    return Turn(whole, cents, math.sqrt(max(0.0, square - cents * cents)), sudden)


def _departures(heard: Heard, whiten: Floats) -> Departures | None:
    """What the partials that stand out do; None if they are too few."""
    k, windows = heard.numbers.size, len(heard.rows)
    beside = np.maximum.reduce(heard.rows[::-BESIDE_EVERY, k : 2 * k + 1])
    noise = 0.5 * (beside[1:] + beside[:-1])
    power = np.add.reduce(heard.power) / windows
    # A cent, for a step, turns a partial by so many radians.
    radians = 2 * math.pi * heard.step_s / CENTS * heard.frequencies_hz
    each = whiten @ heard.phase / radians
    # Noise and drums change a partial's strength as much as its phase, a peg does not.
    strength = whiten @ (0.5 * np.log(heard.power)) / radians
    variance = 0.5 * noise / (power * radians * radians)
    variance += np.add.reduce(strength * strength) / len(whiten) + SMALLEST
    clear = power > LEAST_SNR * noise
    if np.count_nonzero(clear) < LEAST_PARTIALS:
        return None
    return Departures(each[:, clear], 1 / variance[clear])


def _common(departed: Departures) -> tuple[Floats, float]:
    """What all partials do, shape (d,), and its variance: more where they disagree."""
    each, weight = departed
    total = float(np.add.reduce(weight))
    common: Floats = each @ weight / total
    beside = each - common[:, None]
    squares = float(np.add.reduce(beside * beside) @ weight)
    freedom = len(each) * (weight.size - 1)
    return common, (squares + TRUSTED_PARTIALS) / (freedom + TRUSTED_PARTIALS) / total


def _all_agree(departed: Departures, shape: Floats) -> bool:
    """Whether whichever partial is left out the others, too, go along `shape`, and surely."""
    along = departed.weight * (shape @ departed.each)
    total, weight = float(np.add.reduce(along)), float(np.add.reduce(departed.weight))
    but_one = (weight - departed.weight) / weight  # of all weight
    least = CONFIRMED * abs(total)
    unsure = np.sqrt(float(shape @ shape) * weight / but_one)
    agree = (total - along) * math.copysign(1.0, total) > least * but_one
    return bool((agree & (unsure < abs(total))).all())


@lru_cache(maxsize=2)
def _courses(windows: int) -> Courses:
    """All courses considered by so many windows, whose last ends at time 0; time in steps."""
    middles = np.arange(1.0 - windows, 1.0) - WINDOW_STEPS / 2
    size = GRID * WINDOW_STEPS
    window = hann(size)
    within = (np.arange(size) + 0.5) / GRID - WINDOW_STEPS / 2
    begins = np.arange(middles[0] - WINDOW_STEPS / 2, 0.0, BEGINS_EVERY)
    turns = [(begin, 0.0) for begin in begins]
    turns += [(begin, end) for begin in begins for end in np.arange(begin + 1.0, -0.25)]
    heard = np.array([_turned(middles[:, None] + within, *turn) @ window for turn in turns])
    line = np.stack((np.ones(windows), middles - middles.mean()))
    slope = heard @ line[1] / (line[1] @ line[1])
    whiten = _whitening(line, window)
    shapes = heard @ whiten.T
    lasted = np.array([end - begin for begin, end in turns])
    goes_on = np.array([end == 0.0 for _, end in turns])
    prior = np.where(goes_on, GOES_ON / goes_on.sum(), 1 / (~goes_on).sum()) / (1 + GOES_ON)
    squares = np.square(shapes).sum(axis=1)
    return Courses(whiten, shapes, squares, lasted - slope, lasted, np.log(prior))


def _whitening(line: Floats, window: Floats) -> Floats:
    """`Courses.whiten`, of windows as many as `line`, shape (2, w), which is taken out."""
    rest = np.linalg.svd(line)[2][2:]  # a basis of all else
    # What windows share of their noise because they overlap (Harris 1978).
    shared = [window[step * GRID :] @ window[: window.size - step * GRID] for step in range(4)]
    windows = np.arange(line.shape[1])
    apart = np.minimum(np.abs(np.subtract.outer(windows, windows)), WINDOW_STEPS)
    noise = np.append(np.array(shared) / shared[0], 0.0)[apart]
    whiten: Floats = np.linalg.inv(np.linalg.cholesky(rest @ noise @ rest.T)) @ rest
    return whiten


def _turned(at: Floats, begin: float, end: float) -> Floats:
    """The phase at times `at`, of a pitch that goes by 1 a step from `begin` to `end` only."""
    gone = np.clip(at, begin, end) - begin
    turned: Floats = gone * gone / 2 + np.maximum(at - end, 0.0) * (end - begin)
    return turned
