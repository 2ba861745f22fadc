"""Drum heads as membranes: modes, tension, ranges, and what to take care of.

An ideal membrane of radius R (m), tension T (N/m) and surface density sigma (kg/m2), held at
its rim, has the modes f(m, n) = j(m, n) / (2 pi R) sqrt(T / sigma), j(m, n) being the n-th zero
of the Bessel function J_m (Fletcher & Rossing, The Physics of Musical Instruments, chapter 3).
Pitch therefore goes as the root of the tension: an octave is four times the pull.

A drum departs from it. Its air is moved by the low modes more than by the high ones and lowers
them; a second head couples to the first through the air between, most of all in the (0,1)
modes, of which there are then two. So the formulas tell a tension roughly, ratios of tension well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from station.errors import DrumError, FrequencyError
from station.music.pitch import CENTS_PER_OCTAVE

Floats = NDArray[np.floating[Any]]

INCH_M = 0.0254
POLYESTER_KG_M3 = 1390.0  # polyester film (from memory)
MIL_M = 25.4e-6
HIGHEST_ORDER, MOST_ZEROS = 12, 12

DrumKind = Literal["tom", "snare", "bass", "timbale"]

RANGES_HZ: Mapping[DrumKind, Mapping[float, tuple[float, float]]] = {
    "tom": {
        8: (165, 310), 10: (130, 245), 12: (100, 195), 13: (90, 170), 14: (75, 150),
        16: (60, 120), 18: (50, 95),
    },
    "snare": {10: (230, 420), 12: (190, 360), 13: (170, 330), 14: (150, 300)},
    "bass": {16: (65, 110), 18: (55, 95), 20: (45, 80), 22: (38, 70), 24: (35, 62), 26: (32, 55)},
    "timbale": {12: (240, 430), 13: (220, 400), 14: (200, 370), 15: (185, 340), 16: (170, 320)},
}  # fmt: skip
"""The fundamental of a whole drum, lowest and highest, by diameter in inches: common practice,
no source. Below, the head wrinkles or flaps; above, it chokes."""

FILM_LIMIT_N_M: Mapping[int, float] = {1: 4500.0, 2: 6000.0}
"""Careful upper limits of a head's tension by plies: common practice, no source. The film
itself yields at some 100 MPa (from memory), three to four times as much; the edge of a dented
head, the hoop and the lugs give way long before it does."""

CAUTIONS = (
    "Stop when a head wrinkles at one lug, creaks without end or the key goes hard: a head,"
    " a hoop or a lug is about to give way.",
    "A head that is dented, pitted or split at its edge cannot be tuned even: change it.",
    "Protect your ears: a drum struck close by passes 100 dB.",
)
"""Common practice, no source."""


@lru_cache(maxsize=4096)
def bessel(order: int, x: float) -> float:
    """J_m(x) of a whole order from its integral, (1/pi) of cos(m t - x sin t) from 0 to pi.

    Abramowitz & Stegun 9.1.21. The integrand is smooth and periodic, so equal steps converge
    faster than any power of them: to rounding once there are more than x + m of them.
    """
    return float(bessels(order, np.array([x]))[0])


def bessels(order: int, x: Floats) -> Floats:
    """`bessel` at each of `x`, shape (n,)."""
    steps = 64 + 2 * math.ceil(float(np.abs(x).max()) + order)
    t = (np.arange(steps) + 0.5) * (np.pi / steps)
    values: Floats = np.cos(order * t - x[:, None] * np.sin(t)).mean(axis=1)
    return values


@lru_cache(maxsize=512)
def bessel_zero(order: int, count: int) -> float:
    """The `count`-th positive zero (from 1) of J_m, as in Abramowitz & Stegun, table 9.5.

    Raises DrumError beyond order 12 and the twelfth zero.
    """
    if not (0 <= order <= HIGHEST_ORDER and 1 <= count <= MOST_ZEROS):
        raise DrumError(
            f"mode ({order}, {count}): orders run from 0 to {HIGHEST_ORDER},"
            f" circles from 1 (the rim) to {MOST_ZEROS}"
        )
    # The zeros of J_m are more than pi/2 apart, the first lies beyond m: none is stepped over.
    low, found = max(float(order), 0.5), 0
    while True:
        high = low + 0.5
        if bessel(order, low) * bessel(order, high) < 0.0:
            found += 1
            if found == count:
                return _bisect(order, low, high)
        low = high


def _bisect(order: int, low: float, high: float) -> float:
    sign = math.copysign(1.0, bessel(order, low))
    for _ in range(60):
        middle = (low + high) / 2.0
        if sign * bessel(order, middle) > 0.0:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def mode_ratio(order: int, count: int = 1) -> float:
    """How far above (0,1) the mode (m, n) of an ideal membrane stands: 1, 1.593, 2.136 ..."""
    return bessel_zero(order, count) / bessel_zero(0, 1)


def film_density(mils: float) -> float:
    """Surface density in kg/m2 of a polyester head, its thickness in thousandths of an inch."""
    return POLYESTER_KG_M3 * MIL_M * _positive(mils, "thickness", "thousandths of an inch")


def membrane_hz(
    tension_n_m: float, diameter_in: float, density_kg_m2: float, order: int = 0, count: int = 1
) -> float:
    """The frequency of an ideal head's mode (m, n); raises DrumError."""
    tension = _positive(tension_n_m, "tension", "N/m")
    density = _positive(density_kg_m2, "density", "kg/m2")
    radius_m = _positive(diameter_in, "diameter", "inches") * INCH_M / 2.0
    return bessel_zero(order, count) / (2 * math.pi * radius_m) * math.sqrt(tension / density)


def membrane_tension(
    hz: float, diameter_in: float, density_kg_m2: float, order: int = 0, count: int = 1
) -> float:
    """The tension in N/m with which an ideal head's mode (m, n) stands at `hz`; raises DrumError.

    Of a real head's (0,1) it tells too little, for the air has lowered it: take (1,1), with
    the resonant head muted.
    """
    root = _positive(hz, "frequency", "Hz") / membrane_hz(
        1.0, diameter_in, density_kg_m2, order, count
    )
    return root**2


def tension_change(cents: float) -> float:
    """By what the tension is multiplied when the pitch moves by `cents`: f goes as its root."""
    return float(2.0 ** (2.0 * cents / CENTS_PER_OCTAVE))


def practical_range(diameter_in: float, kind: DrumKind = "tom") -> tuple[float, float]:
    """The lowest and highest fundamental in Hz of a drum, between and beyond `RANGES_HZ`.

    Between the sizes listed evenly in the logarithms; beyond them as 1/diameter (a membrane of
    the same tension). Common practice, no source. Raises DrumError for a diameter outside 6 to
    40 inches.
    """
    if not (math.isfinite(diameter_in) and 6.0 <= diameter_in <= 40.0):
        raise DrumError(f"diameter {diameter_in:g} inches: drums here measure 6 to 40 inches")
    listed = RANGES_HZ[kind]
    sizes = sorted(listed)
    nearest = min(max(diameter_in, sizes[0]), sizes[-1])
    found = [
        math.exp(
            np.interp(
                math.log(nearest), np.log(sizes), [math.log(listed[size][end]) for size in sizes]
            )
        )
        * nearest
        / diameter_in
        for end in (0, 1)
    ]
    return found[0], found[1]


def tension_warning(hz: float, diameter_in: float, mils: float = 7.5, plies: int = 1) -> str | None:
    """A line of warning if a head whose (1,1) stands at `hz` pulls near its limit, else None.

    `mils`: the thickness of all plies together. Raises DrumError.
    """
    tension = membrane_tension(hz, diameter_in, film_density(mils), 1)
    limit = FILM_LIMIT_N_M[min(max(plies, 1), 2)]
    if tension < limit:
        return None
    return (
        f"this head pulls about {tension / 1000:.1f} kN/m, over the careful limit of"
        f" {limit / 1000:.1f}: do not tighten further"
    )


def _positive(value: float, what: str, unit: str) -> float:
    if math.isfinite(value) and value > 0.0:
        return float(value)
    error = FrequencyError if what == "frequency" else DrumError
    raise error(f"{what} {value:g} {unit}: it must be positive and finite")
