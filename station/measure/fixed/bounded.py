"""How well a tuning explains an instrument's notes, were every reed within so much of its place.

Whoever files reeds, or sets a keyboard, works on each note until it is near enough, so that
errors have an end, where a Gaussian has tails. Offsets are modelled as y_i = a + t_i + e_i, e_i
even within half of a width w either way, A4 (a) with a flat prior. The notes then lie within w
of each other, R their range, with the evidence

    p(y | w) = (w - R) / w**n  for w > R, else 0.

Within a cell of widths every ratio is as likely as another (log w even), and the integral is
elementary, so the width is integrated out exactly:

    integral of (w - R) w**-n dw / w  =  [R w**-n / n - w**(1 - n) / (n - 1)],

log w in place of the second term for n = 1. That is sharper than a Gaussian of the same size
where two tunings differ by as much as reeds do: the wrong one widens the range.

A4 is the mean of the notes all the same. Under this model alone the middle of the range would
be nearer the A4 that was meant; but what a band tunes to is the reeds as they are.

Bad reeds are as in ``evidence``: declared one by one, each time the outermost note without which
the rest lie closest together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from station.measure.fixed.evidence import (
    BAD_CENTS,
    BAD_CHANCE,
    Floats,
    Integers,
    Weighed,
    most_bad,
)


@dataclass(frozen=True)
class Widths:
    """S cells of widths in cents, ``low`` to ``high``, (S,) each."""

    low: Floats
    high: Floats


def weigh_bounded(residual: Floats, widths: Widths) -> Weighed:
    """Evidence of residuals (T, n) with errors within each cell of widths, as ``evidence.weigh``.

    ``log_p`` has the same constant, so that the two can be weighed against each other. Notes
    must be measured far more surely than the narrowest width.
    """
    shapes, count = residual.shape
    order = np.argsort(residual, axis=1)
    ranked = np.take_along_axis(residual, order, axis=1)
    first, last = np.zeros(shapes, dtype=np.int64), np.full(shapes, count - 1)
    none_bad = count * math.log1p(-BAD_CHANCE) + 0.5 * (count - 1) * LOG_TURN
    log_bad: Floats = np.full(shapes, none_bad)
    declared: list[Integers] = []
    log_p, mean, variance = [], [], []
    rows = np.arange(shapes)
    total = residual.sum(axis=1)
    outside = np.zeros(shapes)  # of the notes declared bad: squares from the middle of the others
    for step in range(most_bad(count) + 1):
        if step:
            # Without the lowest, or without the highest?
            without_low = ranked[rows, last] - ranked[rows, first + 1]
            without_high = ranked[rows, last - 1] - ranked[rows, first]
            low = without_low <= without_high
            gone = np.where(low, first, last)
            first, last = first + low, last - ~low
            declared.append(order[rows, gone])
            total = total - ranked[rows, gone]
            log_bad = log_bad + ODDS_OF_BAD
            middle = 0.5 * (ranked[rows, first] + ranked[rows, last])
            outside = outside + np.square(ranked[rows, gone] - middle)
        left = count - step
        span = ranked[rows, last] - ranked[rows, first]
        gaussian = log_bad - 0.5 * outside / BAD_CENTS**2
        log_p.append(_log_evidence(span, left, widths) + gaussian)
        mean.append(np.broadcast_to(total / left, log_p[-1].shape))
        own = np.square(0.5 * (widths.low + widths.high)) / 12.0 / left
        variance.append(np.broadcast_to(own[:, None], log_p[-1].shape))
    marks = np.array(declared, dtype=np.int64).reshape(len(declared), shapes).T
    return Weighed(
        np.stack(log_p, axis=2),
        np.stack(mean, axis=2),
        np.stack(variance, axis=2),
        np.broadcast_to(marks, (len(widths.low), *marks.shape)),
    )


LOG_TURN = math.log(2.0 * math.pi)
ODDS_OF_BAD = math.log(BAD_CHANCE / (1.0 - BAD_CHANCE)) - math.log(BAD_CENTS) - 0.5 * LOG_TURN
"""What a reed's being bad costs, its Gaussian's own height included."""


def _log_evidence(span: Floats, count: int, widths: Widths) -> Floats:
    """Log of the integral over each cell, (S, T): notes that many, so far apart, (T,)."""
    low = np.maximum(widths.low[:, None], span)
    high = np.maximum(widths.high[:, None], low)
    inside = _primitive(high, span, count) - _primitive(low, span, count)
    cell = np.log(widths.high / widths.low)[:, None]
    with np.errstate(divide="ignore"):
        logs: Floats = np.log(np.maximum(inside, 0.0) / cell)
    return logs


def _primitive(width: Floats, span: Floats, count: int) -> Floats:
    power = width ** (1.0 - count)
    even = np.log(width) if count == 1 else power / (1.0 - count)
    primitive: Floats = span * power / width / count + even
    return primitive
