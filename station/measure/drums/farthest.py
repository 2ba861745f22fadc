"""Which lugs may be the one that is farthest out.

Steady modes tell the mean of two opposite lugs and nothing of how the two differ (`rim.py`); so
the lug farthest from the head's mean cannot be named for certain, not even up to its opposite:
two that are off against each other sound as if neither were. What can be said is how likely
each is the one. Heads are mostly alike: all lugs a little off, by an amount of the head's own,
and perhaps one that has slipped. Each such head is tried (how far lugs scatter, which one has
slipped, if any), weighed by how well it explains what was heard at first, and the lugs are drawn
from what it leaves possible: a mixture of normal distributions, the evidence of each in closed
form.

Turns change lugs by what they were turned, and to the first order steady modes hear the same of it
whichever of two opposite lugs was off; so what was heard at first is kept for later rounds, and no
more is learned. To the second order a turn at one lug alone moves the families of modes apart
by half a cent where it, or its opposite, was 10 % slack (`bench_heads`): no use is made of that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.drums.types import Farthest
from station.music.lugs import opposite_lug

Floats = NDArray[np.floating[Any]]

SCATTERS_CENTS = {1.5: 1.0, 3.0: 1.0, 6.0: 1.0, 12.0: 1.0, 24.0: 1.0, 48.0: 0.25}
"""By how much the lugs of a head may scatter (a standard deviation), and how likely each is: from
what a careful hand leaves, by 24 cents, which all within 5 % of the tension have, to a head
brought up by feel. Invented in size."""
SLIPPED_CENTS = {-100.0: 0.24, 100.0: 0.06}
"""Where a lug may stand that is off by itself, and in what share of heads one is: a lug that slips
goes slack, one that somebody overdid is tight. 100 cents are 11 % of the tension. Invented in
size."""
SLIPPED_DOUBT = 0.6  # of it; invented in size
DRAWS = 4000
SEED = 11
SURE = 0.95


@dataclass(frozen=True, slots=True)
class Found:
    """What the first round told of the lugs, in cents from their mean: a normal likelihood.

    ``precision`` (lugs, lugs) and ``pull`` (lugs,): its information matrix and vector. ``turned``:
    the key was used since.
    """

    precision: Floats
    pull: Floats
    turned: bool = False


def found(told: Sequence[tuple[Floats, Floats, Floats]]) -> Found:
    """What measurements tell, each rows, seen = rows @ lugs, and its covariance."""
    precision = sum(rows.T @ np.linalg.solve(noise, rows) for rows, _, noise in told)
    pull = sum(rows.T @ np.linalg.solve(noise, seen) for rows, seen, noise in told)
    return Found(np.asarray(precision), np.asarray(pull))


def drawn(first: Found) -> Floats:
    """Lugs in cents as the first round leaves them possible, shape (draws, lugs)."""
    lugs = first.pull.size
    rng = np.random.default_rng(SEED)
    middles, priors, logs = _priors(lugs)
    # The logarithm of the integral of prior times likelihood, but for what all have in common.
    precisions = first.precision + np.eye(lugs) / priors[:, None, :]
    pulls = first.pull + middles / priors
    means = np.linalg.solve(precisions, pulls[:, :, None])[:, :, 0]
    logs = logs + 0.5 * ((means * pulls).sum(axis=1) - (middles**2 / priors).sum(axis=1))
    logs = logs - 0.5 * (np.linalg.slogdet(precisions)[1] + np.log(priors).sum(axis=1))
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    counts = rng.multinomial(DRAWS, weights)
    parts = []
    for mean, precision, count in zip(means, precisions, counts, strict=True):
        if count:
            upper = np.linalg.cholesky(precision).T
            parts.append(mean + np.linalg.solve(upper, rng.normal(size=(lugs, count))).T)
    lots = np.concatenate(parts)
    return np.asarray(lots - lots.mean(axis=1, keepdims=True))


def _priors(lugs: int) -> tuple[Floats, Floats, Floats]:
    """Every kind of head: lugs' means and variances (kinds, lugs), logarithm of its share."""
    middles, priors, logs = [], [], []
    alone = 1.0 - sum(SLIPPED_CENTS.values())
    for scatter, share in SCATTERS_CENTS.items():
        middles.append(np.zeros(lugs))
        priors.append(np.full(lugs, scatter**2))
        logs.append(math.log(share * alone))
        for cents, slipped in SLIPPED_CENTS.items():
            for at in range(lugs):
                one = np.eye(lugs)[at]
                middles.append(cents * one)
                priors.append(scatter**2 + (SLIPPED_DOUBT * cents) ** 2 * one)
                logs.append(math.log(share * slipped / lugs))
    return np.array(middles), np.array(priors), np.array(logs)


def farthest(lots: Floats) -> Farthest:
    """Which lug is how likely the one farthest out, of lugs drawn from what is possible."""
    lugs = lots.shape[1]
    share = np.bincount(np.abs(lots).argmax(axis=1), minlength=lugs) / len(lots)
    if lugs % 2:
        groups: list[tuple[int, ...]] = [(at,) for at in range(lugs)]
    else:
        groups = [(at, at + lugs // 2) for at in range(lugs // 2)]
    likely = sorted(groups, key=lambda group: -float(share[list(group)].sum()))
    chosen: list[tuple[int, ...]] = []
    total = 0.0
    for group in likely:
        chosen.append(tuple(at + 1 for at in group))
        total += float(share[list(group)].sum())
        if total >= SURE:
            break
    lug = chosen[0][0]
    return Farthest(lug, opposite_lug(lug, lugs), tuple(chosen), min(total, 1.0))


def as_data(far: Farthest) -> dict[str, Any]:
    """The same as plain data: a key of a head's in what is printed and served."""
    return {
        "lug": far.lug,
        "opposite": far.opposite,
        "candidates": [list(each) for each in far.candidates],
        "probability": far.probability,
    }


def in_words(far: Farthest, lugs: int) -> str:
    """One line: the lug named, its opposite, and which others it may be."""
    named, *others = [" or ".join(str(lug) for lug in group) for group in far.candidates]
    if not others:
        return f"farthest out: lug {named}"
    if sum(map(len, far.candidates)) == lugs:
        return f"farthest out: most likely lug {named}, but it may be any"
    return f"farthest out: most likely lug {named}; perhaps {', '.join(others)}"


def later(first: Found, now: Floats, turned: Floats) -> Floats:
    """Lugs in cents after turns, drawn.

    `now` are the opposite lugs' means in cents as they may be now, (draws, lugs); `turned` is by
    how much more than their mean each was turned, in cents, (lugs,).
    """
    before = drawn(first)
    lugs = before.shape[1]
    apart = np.zeros(1) if lugs % 2 else (before - np.roll(before, lugs // 2, axis=1)) / 2.0
    return np.asarray(now + apart + turned)
