"""How much a note's pitch wanders, and how much less sure that makes where it settled.

A note's stretches each have a pitch. Where those of the part that counts differ by more than
they are unsure of, their mean is unsure by it. And a note may agree with itself at its end by
chance: either it has come to rest, or it wanders on as it did before (a random walk), and the
end itself gives the odds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from station.measure.fit import CENTS, fit_heard
from station.measure.windows import Heard

LEAST_A_STRETCH = 3
STRETCHES = 6  # of the part that counts
EVEN_ODDS = 1.0  # beforehand, that a note which wandered goes on doing so
# A plucked string glides by 5 to 10 cents in its first third of a second (common practice, no
# source): what it does by then says nothing of later, and of ten cents two may be left to come.
GLIDES_S = 0.33
# A glide goes with the square of the swing (Fletcher & Rossing, ch. 2), so in half the time in
# which the string fades: 0.4 s, as quickly as open strings of guitars and basses do (our choice).
GLIDE_FOLDS_S = 0.2


class Stretch(NamedTuple):
    """Pitch of a part of a note, and its variance, in cents; when it begins."""

    cents: float
    variance: float
    from_s: float = math.inf


class Wander(NamedTuple):
    """`between`: the settled pitch's variance by what the stretches that count differ.

    `walked`: its variance more if the note wanders on as it did before, with `odds` to one.
    """

    between: float = 0.0
    walked: float = 0.0
    odds: float = 0.0

    def unsure_cents(self, fit_cents: float) -> float:
        """The standard deviation, for a fit that is unsure by `fit_cents` itself."""
        share = self.odds / (1 + self.odds)
        return math.sqrt(fit_cents**2 + self.between + share * self.walked)


def wander_of(heard: Heard, start: int, hz: float) -> Wander:
    """What the stretches before and after window `start` tell, the settled pitch being `hz`."""
    windows = heard.power.shape[0]
    each = max(LEAST_A_STRETCH, (windows - start) // STRETCHES)
    kept = _stretches(heard, start, windows, each, hz)
    if len(kept) < 2:
        return Wander()
    away = _stretches(heard, 0, start, each, hz)
    shrunk = math.exp(-each * heard.step_s / GLIDE_FOLDS_S)
    return wander_from(away, kept, shrunk)


def wander_from(away: Sequence[Stretch], kept: Sequence[Stretch], shrunk: float) -> Wander:
    """Wander of a note whose stretches `away` do not count, and `kept` do.

    A glide shrinks to `shrunk` of itself from one stretch to the next.
    """
    between = _between(kept)
    step = _wandered((*away, kept[0]), shrunk)
    if not step:
        return Wander(between / len(kept))
    odds = EVEN_ODDS
    for one, other in pairwise(kept):
        own = one.variance + other.variance + 2 * between
        square = (other.cents - one.cents) ** 2
        odds *= math.sqrt(own / (own + step))
        odds *= math.exp(min(square / own - square / (own + step), 100.0) / 2)
    # Between two moments a random walk's variance is that of a step times their number.
    count = len(away) + len(kept)
    centre = len(away) + (len(kept) - 1) / 2
    steps = sum(abs(number - centre) for number in range(count)) / count
    return Wander(between / len(kept), step * steps, odds)


def _stretches(heard: Heard, first: int, stop: int, each: int, hz: float) -> list[Stretch]:
    """The pitches of stretches of `each` windows and more, in cents from `hz`."""
    count = round((stop - first) / each)
    ends = [first + (stop - first) * number // max(1, count) for number in range(count + 1)]
    return [
        Stretch(CENTS * math.log(fit.hz / hz), fit.uncertainty_cents**2, begin * heard.step_s)
        for begin, end in pairwise(ends)
        if (fit := fit_heard(heard.between(begin, end))) is not None
    ]


def _between(stretches: Sequence[Stretch]) -> float:
    """The variance between stretches beyond their own.

    DerSimonian & Laird 1986, "Meta-analysis in clinical trials".
    """
    cents = np.array([stretch.cents for stretch in stretches])
    weight = np.array([1 / stretch.variance for stretch in stretches])
    mean = float(weight @ cents) / float(weight.sum())
    excess = float(weight @ (cents - mean) ** 2) - (len(stretches) - 1)
    return max(0.0, excess / float(weight.sum() - weight @ weight / weight.sum()))


def _wandered(stretches: Sequence[Stretch], shrunk: float) -> float:
    """The variance of a step from stretch to stretch that no glide's coming to rest explains.

    A glide's steps shrink, each at most to `shrunk` of what the one before it may have been: what
    a step goes farther is wander. What begins within GLIDES_S may all be glide.
    """
    glide = square = weight = count = 0.0
    for first, second, third in zip(stretches, stretches[1:], stretches[2:], strict=False):
        glide = shrunk * max(glide, abs(second.cents - first.cents))
        if second.from_s < GLIDES_S:
            continue
        beyond = max(0.0, abs(third.cents - second.cents) - glide)
        own = second.variance + third.variance
        square, weight, count = square + beyond**2 / own, weight + 1 / own, count + 1
    return max(0.0, square - count) / weight if count else 0.0
