"""What uneven tension at the rim does to a head's modes, and what modes therefore tell of it.

Tension at the rim, T0 (1 + Re sum of X_q exp(i q theta)), is carried inward as a plane-stress
field: harmonic q by the Airy function (A r^q + B r^(q+2)) cos(q theta) with no shear at the rim
(Timoshenko & Goodier, Theory of Elasticity). To first order, a pair of modes (m, 1), J_m(j r)
times cos and sin of m theta, then meets harmonic 2m alone: its squared frequencies move apart
by plus and minus K_m |X_2m|, one mode lying along the slack. That tension unevenness splits (1,1)
is measured in Worland, "Drum tuning: an experimental analysis of membrane modes under
non-uniform tension" (Proc. Meetings on Acoustics 5, 035001).

Only even harmonics come in, and those are the same at a lug and at the lug opposite. Turned by
half a turn, a head has the same frequencies exactly; and that it moves more where it is slack
makes all its pairs louder there, as a harder stroke would: what differs between them is less
than half a decibel for a lug 10 % slack. So steady modes tell the mean of
two opposite lugs, and not which of the two it is.

The hoop spreads each lug's pull: here as a raised cosine that reaches to the lugs beside it. No
hoop has been measured; the advice relies on it only until a drum's own response is known.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.music.drums import bessel_zero, bessels

Floats = NDArray[np.floating[Any]]

POINTS = 400
CENTS = 600.0 / math.log(2.0)  # of pitch, for a relative change of tension by 1


class Radial(NamedTuple):
    """A mode along the radius: its slope and what it turns by (m J_m / r), mean of its square."""

    slope: Floats
    turn: Floats
    mass: float


def radii() -> Floats:
    return np.asarray((np.arange(POINTS) + 0.5) / POINTS)


@lru_cache(maxsize=64)
def shape_of(m: int, count: int) -> Radial:
    r, zero = radii(), bessel_zero(m, count)
    shape = bessels(m, zero * r)
    below = bessels(m - 1, zero * r) if m else -bessels(1, zero * r)
    turn = m * shape / r
    slope = zero * below - turn if m else zero * below  # J_m' = J_(m-1) - (m/x) J_m, J_0' = -J_1
    return Radial(slope, turn, float(r @ shape**2))


def field(q: int) -> tuple[Floats, Floats, Floats]:
    """Radial, round and shear tension of harmonic `q`, 1 at the rim, over the radii."""
    r = radii()
    a, b = (-0.5 / (q - 1), 0.5 / (q + 1)) if q > 1 else (0.0, 0.5)
    inner = r ** (q - 2)
    radial = a * (q - q * q) * inner + b * (q + 2 - q * q) * r**q
    around = a * q * (q - 1) * inner + b * (q + 2) * (q + 1) * r**q
    shear = q * (a * (q - 1) * inner + b * (q + 1) * r**q)
    return np.asarray(radial), np.asarray(around), np.asarray(shear, np.float64)


@lru_cache(maxsize=16)
def splitting(order: int) -> float:
    """K_m: half the relative split of the squared frequencies of (m, 1) for X_2m = 1.

    First-order perturbation of Rayleigh's quotient, the integrals by the midpoint rule.
    """
    r, (slope, turn, _), (radial, around, shear) = radii(), shape_of(order, 1), field(2 * order)
    moved = radial * slope**2 - around * turn**2 - 2.0 * shear * turn * slope
    return float(r @ moved / (2.0 * r @ (slope**2 + turn**2)))


@lru_cache(maxsize=1)
def _ring_meets_cross() -> tuple[float, float]:
    """How X_2 = 1 couples (2,1) to (0,2), and how far above it that stands, as shares of (2,1)'s
    squared frequency.

    The two are neighbours among a membrane's modes; all others of the same kind lie farther.
    """
    r, cross, ring = radii(), shape_of(2, 1), shape_of(0, 2)
    radial, _, shear = field(2)
    met = float(r @ (radial * cross.slope * ring.slope - shear * ring.slope * cross.turn))
    squares = bessel_zero(2, 1) ** 2, bessel_zero(0, 2) ** 2
    return met / math.sqrt(2.0 * cross.mass * ring.mass) / squares[0], squares[1] / squares[0] - 1.0


def pushed_apart(first: Floats) -> Floats:
    """What the second harmonic of the tension adds to Z_2, in cents; `first` is Z_1, shape (2,).

    It couples (2,1) to (0,2), which stands 16 % of its squared frequency above: of the pair the
    mode that lies along the harmonic is pushed down as of any two that are coupled, by
    sqrt((gap/2)^2 + coupling^2) - gap/2. It goes as the square of the unevenness: of one lug in ten
    20 % slack a third of what the fourth harmonic does, of several that are off together more.
    """
    size = float(np.hypot(first[0], first[1]))
    if size == 0.0:
        return np.zeros(2)
    met, gap = _ring_meets_cross()
    tension = size / (splitting(1) * CENTS)
    down = math.hypot(gap / 2.0, met * tension) - gap / 2.0
    twice = complex(first[0], first[1]) ** 2 / size**2
    return -0.5 * CENTS * down * np.array([twice.real, twice.imag])


def hoop(share: float) -> float:
    """What the hoop leaves of a harmonic, its number given as a share of the lugs; 1 at 0.

    The Fourier transform of a raised cosine two lug distances wide, sinc(2 s) / (1 - 4 s^2).
    """
    if abs(share - 0.5) < 1e-9:
        return 0.5
    return float(np.sinc(2.0 * share)) / (1.0 - 4.0 * share**2)


def family_rows(order: int, lugs: int) -> Floats:
    """Real and imaginary part of Z_m as rows over the lugs' cents, shape (2, lugs).

    Near angle theta the pair (m, 1) is heard Re(Z_m exp(2 i m theta)) cents from its centre,
    by a microphone that follows the stick: energy-weighted, the mode along theta prevails.
    """
    angles = 2.0 * math.pi * np.arange(lugs) / lugs
    wave = np.exp(-2j * order * angles)
    factor = splitting(order) * hoop(2.0 * order / lugs) * 2.0 / lugs
    return factor * np.array([wave.real, wave.imag])


def families(lugs: int) -> tuple[int, ...]:
    """The m of the pairs that tell all even harmonics a head of so many lugs can have."""
    return tuple(range(1, max(1, lugs // 4) + 1)) if lugs % 2 == 0 else (1, 2)


def pair_means(lugs: int) -> Floats:
    """The matrix that replaces each lug by the mean of itself and its opposite, (lugs, lugs).

    With five lugs there are no opposites, and every lug stays by itself.
    """
    own = np.eye(lugs)
    return own if lugs % 2 else (own + np.roll(own, lugs // 2, axis=0)) / 2.0
