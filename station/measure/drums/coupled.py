"""What modes do to each other on an unevenly tight head: the second order of `rim.py`.

Harmonic q of the rim's tension, T0 X_q, couples modes whose nodal diameters differ by q. A pair
(m, 1) so meets every other mode (mu, n) by X_(m - mu), and that mode meets the pair's other half by
X_(m + mu): second-order perturbation theory of a degenerate pair adds the products, over how far
the other mode stands off, to Z_m. All harmonics come in, the odd ones too: how far each lug and
its opposite are apart moves pairs, by a cent and more where one lug is 20 % slack and the others
differ by 5 %. Half a turn of the head changes the sign of every odd harmonic and of no such
product: which of two opposite lugs is slack is not told by it.

(0,2), which stands near (2,1), is too near for this, and has its own closed form (`pushed_apart`).
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.drums.rim import CENTS, family_rows, field, hoop, radii, shape_of
from station.music.drums import bessel_zero

Floats = NDArray[np.floating[Any]]

DIAMETERS = 5  # of other modes, at most
COUNT = 3  # of other modes of as many diameters: farther ones hardly matter


class Way(NamedTuple):
    """By way of modes of mu diameters: two harmonics, negative for conjugates, and their share."""

    first: int
    second: int
    gain: float


def _met(q: int, one: tuple[int, int], other: tuple[int, int]) -> float:
    """How X_q = 1 couples exp(i m theta) of mode `one` (m, n) to that of `other`, m - mu = q.

    In squared frequencies times the radius over the wave's speed, squared; m may be negative.
    """
    r = radii()
    (m, count), (mu, farther) = one, other
    own, beside = shape_of(abs(m), count), shape_of(abs(mu), farther)
    along, around, shear = field(abs(q))
    # `turn` is |m| J_m / r.
    turns = np.sign(m) * own.turn, np.sign(mu) * beside.turn
    met = along * own.slope * beside.slope + around * turns[0] * turns[1]
    met = met + np.sign(q) * shear * (turns[1] * own.slope - turns[0] * beside.slope)
    return float(r @ met / (2.0 * np.sqrt(own.mass * beside.mass)))


@lru_cache(maxsize=16)
def ways(order: int) -> tuple[Way, ...]:
    """All ways from one half of the pair (order, 1) to the other, by other modes."""
    square = bessel_zero(order, 1) ** 2
    found = []
    for mu in range(-DIAMETERS, DIAMETERS + 1):
        first, second = order - mu, order + mu
        if first == 0 or second == 0:
            continue  # the mean of the tension couples nothing
        gain = 0.0
        for count in range(1, COUNT + 1):
            if (order, mu, count) == (2, 0, 2):
                continue
            met = _met(first, (order, 1), (mu, count)) * _met(second, (mu, count), (-order, 1))
            gain += met / (square - bessel_zero(abs(mu), count) ** 2) / square
        found.append(Way(first, second, gain))
    return tuple(found)


def beyond(order: int, lots: Floats) -> Floats:
    """What Z_m has in cents beyond `family_rows` of the lugs' pitches `lots`, (n, lugs): (n, 2).

    What other modes add, and that the rows are of tensions, whose mean lies above that of pitches.
    """
    lugs = lots.shape[1]
    angles = 2.0 * np.pi * np.arange(lugs) / lugs
    off = np.expm1(lots / CENTS)
    off -= off.mean(axis=1, keepdims=True)

    @cache
    def harmonic(q: int) -> Any:
        return 2.0 / lugs * hoop(abs(q) / lugs) * (off @ np.exp(-1j * q * angles))

    total = sum(way.gain * harmonic(way.first) * harmonic(way.second) for way in ways(order))
    added = CENTS * np.column_stack([total.real, total.imag])
    return np.asarray(added + (CENTS * off - lots) @ family_rows(order, lugs).T)
