"""How well a tuning explains the offsets of an instrument's notes, in closed form.

The offset of note i is modelled as y_i = a + t_i + g_i b + e_i: A4 (a, flat prior), what the
temperament asks (t), further parameters b with Gaussian priors (the stretch of the octaves, a
free offset for each pitch class) and an error of variance v_i + sigma**2: its measuring and the
reed's own scatter. Everything is Gaussian, so a and b are integrated out exactly (Bishop,
Pattern Recognition and Machine Learning, 2006, 3.5). With W = diag 1 / (v + sigma**2), design
G (first column ones, for a), prior precision L, A = G'WG + L and r the residual y - t - g E(b):

    log p(y) = (sum log w + sum' log l - log |A| - r'Qr) / 2 + const,   Q = W - W G inv(A) G'W,

the second sum over the proper priors. a has mean (inv(A) G'W r)_0 and variance inv(A)_00.

**A bad reed** is one with a further variance ``BAD_CENTS**2``, with a chance of ``BAD_CHANCE``.
Q e_i is the column of the note, (Qr)_i / Q_ii its error when foretold from all others, 1 / Q_ii
that foretelling's variance (leave-one-out: Rasmussen & Williams, Gaussian Processes for Machine
Learning, 2006, 5.4.2): declaring it bad is one division for each note, and a rank-one change of
Q (Sherman & Morrison 1950) for the next. The worst is declared first, then the worst of the
others; each step is a model of its own and all are kept, weighted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Integers = NDArray[np.int64]

BAD_CHANCE = 0.02
"""One reed in fifty (no source): an instrument of twenty has perhaps one."""
BAD_CENTS = 25.0
"""A reed that has gone is off by tens of cents, either way; beyond 50 it is another note."""
MOST_BAD = 3


@dataclass(frozen=True)
class Settings:
    """Ways of weighing, one a row: sigma (S,), prior precision (S, p) and mean (S, p)."""

    sigma: Floats
    precision: Floats
    mean: Floats


@dataclass(frozen=True)
class Weighed:
    """Of S settings, T shapes and K + 1 numbers of bad reeds: log p(y), and a with its variance.

    ``worst`` (S, T, K) holds which note was declared bad at each step.
    """

    log_p: Floats
    a: Floats
    variance: Floats
    worst: Integers


def most_bad(notes: int) -> int:
    """How many bad reeds may be believed in: fewer than a third, three at most."""
    return min(MOST_BAD, max(0, (notes - 1) // 3))


def weigh(residual: Floats, variance: Floats, design: Floats, settings: Settings) -> Weighed:
    """Evidence of residuals (T, n) with variances (n,) under a design (n, p) and each setting."""
    w = 1.0 / (variance + settings.sigma[:, None] ** 2)
    wg = w[:, :, None] * design
    a_matrix = np.einsum("np,snq->spq", design, wg) + settings.precision[:, :, None] * np.eye(
        design.shape[1]
    )
    inverse = np.linalg.inv(a_matrix)
    gain = inverse @ wg.transpose(0, 2, 1)
    q = -wg @ gain
    notes = np.arange(len(variance))
    q[:, notes, notes] += w
    proper = settings.precision > 0.0
    logs = np.log(w).sum(axis=1) - np.linalg.slogdet(a_matrix)[1]
    logs += np.where(proper, np.log(np.where(proper, settings.precision, 1.0)), 0.0).sum(axis=1)
    r = residual[None] - (settings.mean @ design.T)[:, None, :]
    qr = r @ q
    logs = 0.5 * (logs[:, None] - (qr * r).sum(axis=2))
    logs += len(variance) * math.log1p(-BAD_CHANCE)
    h = gain[:, 0, :]
    start = _Step(
        logs, (r * h[:, None, :]).sum(axis=2), np.broadcast_to(inverse[:, :1, 0], logs.shape)
    )
    return _without_the_bad(start, q, qr, h)


@dataclass
class _Step:
    log_p: Floats
    a: Floats
    variance: Floats


def _without_the_bad(start: _Step, q: Floats, qr: Floats, h: Floats) -> Weighed:
    """Declares one reed after another bad: Q, Qr and a's weights h change by rank one."""
    count = most_bad(q.shape[1])
    steps, worst = [start], []
    columns: list[tuple[Floats, Floats]] = []
    own = np.broadcast_to(np.einsum("snn->sn", q)[:, None, :], qr.shape)
    weights = np.broadcast_to(h[:, None, :], qr.shape)
    bad = np.zeros(qr.shape, dtype=bool)
    rows = np.arange(q.shape[0])[:, None]
    odds = math.log(BAD_CHANCE / (1.0 - BAD_CHANCE))
    for _ in range(count):
        more = BAD_CENTS**2 * own
        gains = 0.5 * (qr**2 * BAD_CENTS**2 / (1.0 + more) - np.log1p(more))
        which = np.where(bad, -np.inf, gains).argmax(axis=2)
        at = which[:, :, None]
        column = q[rows, which]
        for before, over in columns:
            column = column - before * (np.take_along_axis(before, at, 2) / over)
        over = 1.0 / BAD_CENTS**2 + np.take_along_axis(own, at, 2)
        error, weight = np.take_along_axis(qr, at, 2), np.take_along_axis(weights, at, 2)
        last = steps[-1]
        steps.append(
            _Step(
                last.log_p + odds + np.take_along_axis(gains, at, 2)[:, :, 0],
                last.a - (weight * error / over)[:, :, 0],
                last.variance + (weight**2 / over)[:, :, 0],
            )
        )
        qr = qr - column * (error / over)
        own = own - column**2 / over
        weights = weights - column * (weight / over)
        np.put_along_axis(bad, at, True, 2)
        columns.append((column, over))
        worst.append(which)
    return Weighed(
        np.stack([each.log_p for each in steps], axis=2),
        np.stack([each.a for each in steps], axis=2),
        np.stack([each.variance for each in steps], axis=2),
        np.stack(worst, axis=2) if worst else np.zeros((*start.a.shape, 0), dtype=np.int64),
    )
