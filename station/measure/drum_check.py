"""Is a new sound a string, or a kick, a tom, a snare's body?

A drum that rings has few partials, none at a multiple, and no frequency it keeps
to: it glides as its tension falls, and is gone in a moment. A string has more
partials or keeps its one frequency for long.
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.fit import Fit, apart_cents, partials_heard, solve
from station.measure.windows import Heard

VAGUEST_CENTS = 5.0
FEW_PARTIALS = 3
LOUD_DB = 40.0
VAGUEST_FEW_CENTS = 3.0
LONE_BELOW_HZ = 400.0
# Of the drum strokes in four free sound fonts' kits that were taken for a note, all but
# three in a hundred had one partial and were less sure than this; of 1000 strings below
# 400 Hz in the same fonts, plucked, struck and bowed, none was.
VAGUEST_LONE_CENTS = 1.0
KICK_BELOW_HZ = 200.0  # no string so low was heard with one partial at all
KICK_S = 0.6
CHOKED_DB_S = 90.0  # a snare's body falls by 150, a muted string of so few partials by 60
PRIMES = (2, 3, 5, 7)
OWN_CENTS = 2.5
OWN_SIGMAS = 4.0
SAME_CENTS = 0.5
FALLING_DB_S = 40.0  # a string of one partial rings for a second and a half and more


def may_be_a_drum(heard: Heard, fit: Fit, age_s: float) -> bool:
    """Whether `fit`, from what the windows `heard`, is too vague to be surely a string's.

    It began `age_s` ago.
    """
    partials = min(fit.partials, _loud_partials(heard))
    if partials > FEW_PARTIALS:
        return fit.uncertainty_cents > VAGUEST_CENTS
    if fit.hz >= LONE_BELOW_HZ:
        return fit.uncertainty_cents > VAGUEST_FEW_CENTS
    if partials > 1:
        choked = _falls_db_s(heard) > CHOKED_DB_S
        return choked or fit.uncertainty_cents > VAGUEST_FEW_CENTS
    if fit.hz < KICK_BELOW_HZ and age_s < KICK_S:
        return True
    return fit.uncertainty_cents > VAGUEST_LONE_CENTS or _falls_db_s(heard) > FALLING_DB_S


def stands_alone_below(heard: Heard) -> bool:
    """Whether the pitch heard is more than the common measure of a higher string and a drum.

    For every prime m the partials that are no multiples of m must by themselves
    tell the same pitch: those of a string do; a kick below a string that rings on
    is at best a vague first partial under exact multiples.
    """
    rows, tonal = partials_heard(heard)
    whole = solve(list(rows), tonal) if rows else None
    if whole is None:
        return False
    for prime in PRIMES:
        own = [row for row in rows if row[0] % prime]
        if len(own) == len(rows):
            continue
        part = solve(own, tonal) if own else None
        if part is None or part.uncertainty_cents > OWN_CENTS:
            return False
        if apart_cents(part.hz, whole.hz) > SAME_CENTS + OWN_SIGMAS * part.uncertainty_cents:
            return False
    return True


def _loud_partials(heard: Heard) -> int:
    """How many partials are always within LOUD_DB of the loudest.

    What leaks from a kick's only one is not, nor the next stroke's click, in the last window.
    """
    power = heard.power.min(axis=0)
    return int(np.count_nonzero(power > power.max() * 10 ** (-LOUD_DB / 10)))


def _falls_db_s(heard: Heard) -> float:
    """How fast the partials die away, from the first window to the last."""
    first, last = float(heard.power[0].sum()), float(heard.power[-1].sum())
    return 10 * math.log10(first / last) / ((len(heard.power) - 1) * heard.step_s)
