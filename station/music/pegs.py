"""How far a peg is turned from one note to another, learned from turns that were told. Pure.

A string of sounding length L sounds at f = sqrt(T / mu) / 2L (Mersenne; Fletcher & Rossing, The
Physics of Musical Instruments, chapter 2): its tension T goes as f squared. A turn of the peg
winds the same length w onto the post wherever it begins, and stretches all of the string, lambda
long, by it; stretched, a string pulls by Hooke's law, so a turn changes T by E A w / lambda and
f squared by E A w / (4 L^2 mu lambda), the same from any note to any other. That is what is
learned here, as turns for each Hz squared; cents for each turn would hold for one tuning only.
Stretching thins a string by less than a hundredth, which is left out, and so is what the neck
gives. Of plain steel mu is proportional to A and the gauge falls out of it; a wound string of
another gauge has to be learned anew.

The pitches are known to some cents, the turns only as a hand counts them. So turns are fitted as
q = c (change of f squared), through the origin, by least absolute deviations: one odd answer in
four does not move c at all. That c is the median of q over the change, each weighted by the
change; its standard deviation is sqrt(pi / 2) times the scatter over the root of the sum of
squares (Koenker & Bassett 1978, Regression Quantiles, for scatter that is Gaussian).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import NamedTuple

QUARTER = 0.25
"""Turns are told in quarters."""
HAND_TURNS = 0.1
"""How closely a hand counts, and gears without play for it; invented in size."""
LEAST_SCATTER = math.hypot(QUARTER / math.sqrt(12.0), HAND_TURNS)
"""Turns: what rounding to a quarter leaves (uniform: a quarter over root 12), and the hand."""
REPORTS_LEAST = 3
SPREAD_MOST = 0.25
"""A forecast is told if its spread is at most so many turns, or that share of it."""
_MAD = 1.4826  # a Gaussian's standard deviation for its median absolute deviation


class Report(NamedTuple):
    """A string's f squared changed by so much (Hz squared, without sign), by so many turns."""

    hz2: float
    turns: float


class Forecast(NamedTuple):
    """Turns to another note, more than 0, and their standard deviation."""

    turns: float
    spread: float


@dataclass(frozen=True, slots=True)
class Peg:
    """What is known of a peg: turns for each Hz squared, how sure, how well answers agree."""

    turns_per_hz2: float
    uncertainty: float
    scatter_turns: float
    reports: int

    def forecast(self, from_hz: float, to_hz: float) -> Forecast | None:
        """The turns from one pitch to another, None where too little is known to say."""
        hz2 = change_of_square(from_hz, to_hz)
        turns = self.turns_per_hz2 * hz2
        spread = math.hypot(self.uncertainty * hz2, self.scatter_turns)
        known = self.reports >= REPORTS_LEAST and spread <= SPREAD_MOST * max(1.0, turns)
        return Forecast(turns, spread) if known else None


def change_of_square(from_hz: float, to_hz: float) -> float:
    """By how much f squared differs, Hz squared, without sign."""
    return abs(to_hz * to_hz - from_hz * from_hz)


def learn(reports: Sequence[Report]) -> Peg | None:
    """What turns that were told make of a peg; None of none. Every number must be above 0."""
    if not reports:
        return None
    rising = sorted(reports, key=lambda each: each.turns / each.hz2)
    half, passed = 0.5 * sum(each.hz2 for each in reports), 0.0
    slope = 0.0
    for each in rising:
        passed += each.hz2
        slope = each.turns / each.hz2
        if passed >= half:
            break
    # The line goes through one of the answers: that one says nothing of how they scatter.
    missed = sorted(abs(each.turns - slope * each.hz2) for each in reports)[1:]
    scatter = max(LEAST_SCATTER, _MAD * median(missed) if missed else 0.0)
    weight = math.sqrt(sum(each.hz2 * each.hz2 for each in reports))
    doubt = math.sqrt(math.pi / 2.0) * scatter / weight
    return Peg(slope, doubt, scatter, len(reports))
