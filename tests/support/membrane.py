"""A drum head with unevenly tightened lugs: the truth for the tests of measuring and of advice.

The head is an ideal membrane of radius R and surface density sigma, held at the rim. Each lug
pulls; the hoop spreads its pull, here as a raised cosine that reaches the neighbouring lugs and
adds up to one (a stated simplification: no hoop has been measured). The rim's tension T(theta)
is carried inward as a plane-stress field without body forces: each harmonic cos(q theta) by the
Airy stress function (A r^q + B r^(q+2)) cos(q theta) (Timoshenko & Goodier, Theory of
Elasticity, the stresses in polar coordinates) with no shear at the rim (the film slides along
the bearing edge). The first harmonic alone would push the head sideways and needs the shear of
r^3 cos(theta) to stand still.

Modes come from Rayleigh-Ritz: the stationary values of the tension's energy
(1/2) integral of N_rr w_r^2 + 2 N_rt w_r w_t / r + N_tt w_t^2 / r^2 over (1/2) sigma integral of
w^2, in polynomials (1 - r^2) r^m P_k(r^2) cos or sin(m theta): no Bessel function goes in, so
that those that come out are a check (`tests/measure/drums/test_membrane_simulator.py`).

Not modelled: air and second head (but for a factor on each family of modes, see `AIR`),
bending stiffness, creep, friction at the edge, the shell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

INCH_M = 0.0254
DIAMETERS = 7  # angular orders 0 to 7
RADIALS = 6
RADIUS_POINTS, ANGLE_POINTS = 40, 64
AIR = {0: 0.85, 1: 0.93, 2: 0.96, 3: 0.975}
"""By what the air lowers each family, the higher the less; invented in size, see Rossing,
Science of Percussion Instruments, chapter 2, for its sense: low modes move the most air."""


@dataclass(frozen=True)
class MembraneMode:
    """One mode: its frequency, its shape, and how it dies away.

    `shape`: coefficients over the basis, so that the mean of w squared over the head is 1.
    `diameters`: the number of nodal diameters it has most of; `circles` counts the rim.
    """

    hz: float
    shape: Floats
    diameters: int
    circles: int
    decay_per_s: float

    def at(self, radius: float, angle: float) -> float:
        """Displacement at a share of the radius and an angle in radians."""
        return float(_basis(np.array([radius]), np.array([angle]))[:, 0, 0] @ self.shape)

    def around(self) -> complex:
        """How it goes round the rim: its size and phase as a wave of `diameters` diameters."""
        angles = np.linspace(0.0, 2 * np.pi, ANGLE_POINTS, endpoint=False)
        there = np.einsum("frt,f->t", _basis(np.array([0.7]), angles), self.shape)
        return complex(there @ np.exp(1j * self.diameters * angles))

    @property
    def ring_s(self) -> float:
        """RT60: the time in which the mode falls by 60 dB."""
        return 3.0 * np.log(10.0) / self.decay_per_s


@dataclass(frozen=True)
class SimulatedHead:
    """A head of `len(tensions)` lugs, lug 1 at angle 0, counted clockwise (as the angle is).

    Tensions in N/m at each lug. `mute`: how firmly a finger lies on the centre, 0 for not at
    all; it takes energy from what moves there. `air`: whether the air lowers the modes.
    """

    tensions: tuple[float, ...]
    radius_m: float = 6 * INCH_M
    density: float = 0.26  # kg/m2: polyester film of 0.19 mm (1390 kg/m3), from memory
    mute: float = 1.0
    air: bool = True
    _modes: list[MembraneMode] = field(default_factory=list, compare=False, repr=False)

    @property
    def lugs(self) -> int:
        return len(self.tensions)

    def angle(self, lug: int) -> float:
        """Where a lug (from 1) stands, in radians."""
        return 2 * np.pi * (lug - 1) / self.lugs

    def pitch_cents(self) -> Floats:
        """Each lug's tension as cents from the mean of all: 600 log2, for f goes as its root."""
        cents = 600.0 * np.log2(np.array(self.tensions))
        return np.asarray(cents - cents.mean())

    def modes(self, count: int = 16) -> list[MembraneMode]:
        """The lowest `count` modes."""
        if len(self._modes) < count:
            self._modes[:] = _solve(self, max(count, 16))
        return self._modes[:count]

    def turned(self, lug: int, turns: float, response: Response) -> SimulatedHead:
        """The head after a lug was turned (clockwise positive: tighter)."""
        return replace(self, tensions=response.after(self.tensions, lug, turns), _modes=[])


@dataclass(frozen=True)
class Response:
    """What a turn of the drum key does: each lug has its own thread and friction.

    `per_turn`: N/m a whole turn adds at its own lug (one for each lug); `neighbours`: the share
    of it that the two lugs beside it gain (the hoop is stiff).
    """

    per_turn: tuple[float, ...]
    neighbours: float = 0.1

    def after(self, tensions: Sequence[float], lug: int, turns: float) -> tuple[float, ...]:
        """Tensions once a lug (from 1) was turned; none falls below a hundredth of the mean."""
        found = np.array(tensions, dtype=float)
        least = 0.01 * found.mean()
        added = turns * self.per_turn[lug - 1]
        found[lug - 1] += added
        for beside in (lug % found.size, lug - 2):
            found[beside] += self.neighbours * added
        return tuple(np.maximum(found, least))


def mean_tension(hz: float, radius_m: float, density: float) -> float:
    """The tension in N/m that gives an ideal head its (0,1) mode at `hz`: T = sigma (2 pi f R/j)^2.

    j = 2.404826, the first zero of J0 (Abramowitz & Stegun, table 9.5).
    """
    return float(density * (2 * np.pi * hz * radius_m / 2.404826) ** 2)


def rim_harmonics(tensions: Sequence[float]) -> NDArray[np.complex128]:
    """c_q of T(theta) = Re sum of c_q exp(i q theta), q from 0 to twice the lugs."""
    lugs = len(tensions)
    orders = np.arange(2 * lugs + 1)
    angles = 2 * np.pi * np.arange(lugs) / lugs
    pulled = np.exp(-1j * np.outer(orders, angles)) @ np.asarray(tensions) / lugs
    found = pulled * _hoop(orders / lugs)
    found[1:] *= 2.0
    return np.asarray(found)


def _hoop(share: Floats) -> Floats:
    """The transform of a raised cosine from lug to lug: sinc(2s) / (1 - 4 s^2), 1 at 0."""
    out = np.sinc(2 * share)
    other = np.abs(np.abs(share) - 0.5) > 1e-9
    return np.where(other, out / np.where(other, 1 - 4 * share**2, 1.0), 0.5)


def stress(harmonics: NDArray[np.complex128], r: Floats, theta: Floats) -> tuple[Floats, ...]:
    """N_rr, N_rt, N_tt, each of shape (r, theta), for a rim at r = 1."""
    rr = np.full((r.size, theta.size), harmonics[0].real)
    tt, rt = rr.copy(), np.zeros_like(rr)
    rho = r[:, None]
    for q in range(1, harmonics.size):
        a = -0.5 / (q - 1) if q > 1 else 0.0
        b = 0.5 / (q + 1) if q > 1 else 0.5
        inner = rho ** (q - 2) if q > 1 else 0.0
        wave = harmonics[q] * np.exp(1j * q * theta)[None, :]
        rr += (a * (q - q * q) * inner + b * (q + 2 - q * q) * rho**q) * wave.real
        tt += (a * q * (q - 1) * inner + b * (q + 2) * (q + 1) * rho**q) * wave.real
        # -d/dr of (1/r) d phi/d theta; d/d theta of cos is -sin, hence the imaginary part.
        rt += q * (a * (q - 1) * inner + b * (q + 1) * rho**q) * wave.imag
    return rr, rt, tt


@lru_cache(maxsize=1)
def _grid() -> tuple[Floats, Floats, Floats]:
    """Radii and their weights (times r), angles: an integral over the unit disc."""
    x, weights = np.polynomial.legendre.leggauss(RADIUS_POINTS)
    r = (x + 1) / 2
    return r, weights / 2 * r, 2 * np.pi * np.arange(ANGLE_POINTS) / ANGLE_POINTS


def _jacobi(beta: int, x: Floats) -> list[tuple[Floats, Floats]]:
    """P_k^(2, beta)(x) and its derivative for every k that is used.

    By the recurrence of Abramowitz & Stegun 22.7.1.
    """
    a, b = 2, beta
    p = [np.ones_like(x), (a + 1) + (a + b + 2) * (x - 1) / 2]
    dp = [np.zeros_like(x), np.full_like(x, (a + b + 2) / 2)]
    for n in range(1, RADIALS - 1):
        c = 2 * n + a + b
        first = 2 * (n + 1) * (n + a + b + 1) * c
        second, third = (c + 1) * (a * a - b * b), c * (c + 1) * (c + 2)
        fourth = 2 * (n + a) * (n + b) * (c + 2)
        p.append(((second + third * x) * p[n] - fourth * p[n - 1]) / first)
        dp.append((third * p[n] + (second + third * x) * dp[n] - fourth * dp[n - 1]) / first)
    return list(zip(p, dp, strict=True))


def _basis(r: Floats, theta: Floats) -> Floats:
    """w of every function, shape (functions, r, theta)."""
    value = []
    for m in range(DIAMETERS + 1):
        falls = (1 - r * r) * r**m
        waves = [wave for wave, _ in _waves(m, theta)]
        for p, _ in _jacobi(m, 2 * r * r - 1):
            value += [np.multiply.outer(falls * p, wave) for wave in waves]
    return np.array(value)


def _along_the_radius(r: Floats) -> tuple[Floats, Floats, Floats]:
    """Of every m and k the function, its slope, and itself over r, each of shape (m k, r)."""
    value, slope, over = [], [], []
    for m in range(DIAMETERS + 1):
        inner = m * r ** max(m - 1, 0) if m else np.zeros_like(r)
        for p, dp in _jacobi(m, 2 * r * r - 1):
            value.append((1 - r * r) * r**m * p)
            slope.append(-2 * r * r**m * p + (1 - r * r) * (inner * p + r**m * dp * 4 * r))
            over.append((1 - r * r) * r ** max(m - 1, 0) * p)
    return np.array(value), np.array(slope), np.array(over)


def _waves(m: int, theta: Floats) -> list[tuple[Floats, Floats]]:
    """cos and sin of m theta, and their derivatives."""
    if m == 0:
        return [(np.ones_like(theta), np.zeros_like(theta))]
    c, s = np.cos(m * theta), np.sin(m * theta)
    return [(c, -m * s), (s, m * c)]


class _Parts(NamedTuple):
    """What a function along the radius and a wave around give, integrated over the disc."""

    radial: NDArray[np.int64]
    wave: NDArray[np.int64]

    def joined(self, along: Floats, around: Floats) -> Floats:
        """The integrals of each two functions, (functions, functions), from the two kinds'."""
        return np.asarray(
            along[np.ix_(self.radial, self.radial)] * around[np.ix_(self.wave, self.wave)]
        )


@lru_cache(maxsize=1)
def _parts() -> _Parts:
    radial, wave, waves = [], [], 0
    for m in range(DIAMETERS + 1):
        many = 2 if m else 1
        for k in range(RADIALS):
            radial += [m * RADIALS + k] * many
            wave += [waves + each for each in range(many)]
        waves += many
    return _Parts(np.array(radial), np.array(wave))


@lru_cache(maxsize=1)
def _prepared() -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Slopes and functions over r along the radius, waves and their changes around, and the
    inverse Cholesky factor of the mass matrix.
    """
    r, weights, theta = _grid()
    value, slope, over = _along_the_radius(r)
    found = [each for m in range(DIAMETERS + 1) for each in _waves(m, theta)]
    wave, change = (np.array(each) for each in zip(*found, strict=True))
    mass = _parts().joined((value * weights) @ value.T, wave @ wave.T) * 2 / theta.size
    inverse = np.linalg.inv(np.linalg.cholesky(mass))
    return slope, over, wave, change, inverse


@cache
def _energy(q: int, along: complex) -> Floats:
    """The tension's energy of each two functions for one harmonic `q` of the rim, 1 or 1j of it.

    It is linear in the tension: every head's is a sum of these, which are found once.
    """
    r, weights, theta = _grid()
    only = np.zeros(q + 1, dtype=complex)
    only[q] = 1.0
    quarter = np.pi / (2 * max(q, 1))
    rr, rt, tt = stress(only, r, np.array([0.0, quarter]))
    turned = along * np.exp(1j * q * theta)
    slope, over, wave, change, inverse = _prepared()
    join = _parts().joined
    energy = join((slope * (rr[:, 0] * weights)) @ slope.T, (wave * turned.real) @ wave.T)
    energy += join((over * (tt[:, 0] * weights)) @ over.T, (change * turned.real) @ change.T)
    cross = join((slope * (rt[:, 1] * weights)) @ over.T, (wave * turned.imag) @ change.T)
    energy = (energy + cross + cross.T) * 2 / theta.size
    return np.asarray(inverse @ energy @ inverse.T)


@lru_cache(maxsize=1)
def _over() -> Floats:
    """Every function over one place, where all modes are taken to move up: a microphone's."""
    return _basis(np.array([0.5]), np.array([0.4]))[:, 0, 0]


@lru_cache(maxsize=1)
def _at_centre() -> Floats:
    """Every function at six points about the centre."""
    return _basis(np.array([0.0, 0.05]), np.array([0.0, 2.0, 4.0])).reshape(-1, 6)


def _orders() -> NDArray[np.int64]:
    """The angular order of every function of the basis."""
    return np.concatenate([[m] * (RADIALS * (2 if m else 1)) for m in range(DIAMETERS + 1)])


def _solve(head: SimulatedHead, count: int) -> list[MembraneMode]:
    # Waves of up to DIAMETERS meet no harmonic above twice as many.
    harmonics = rim_harmonics(head.tensions)[: 2 * DIAMETERS + 1]
    energy = sum(each.real * _energy(q, 1.0) for q, each in enumerate(harmonics))
    energy = energy + sum(each.imag * _energy(q, 1j) for q, each in enumerate(harmonics) if q)
    values, vectors = np.linalg.eigh(energy)
    inverse = _prepared()[4]
    shapes = inverse.T @ vectors
    shapes *= np.where(_over() @ shapes < 0.0, -1.0, 1.0)
    seen: dict[int, int] = {}
    found = []
    for place in range(count):
        share = np.bincount(_orders(), vectors[:, place] ** 2)
        m = int(share.argmax())
        seen[m] = seen.get(m, 0) + 1
        circles = seen[m] if m == 0 else (seen[m] + 1) // 2
        hz = np.sqrt(values[place] / head.density) / (2 * np.pi * head.radius_m)
        hz *= AIR.get(m, 0.98) if head.air else 1.0
        found.append(_with_decay(head, hz, shapes[:, place], m, circles))
    return sorted(found, key=lambda mode: mode.hz)


def _with_decay(
    head: SimulatedHead, hz: float, shape: Floats, m: int, circles: int
) -> MembraneMode:
    """Air and film take more from higher modes; the finger from what moves at the centre."""
    moved = float(np.mean((shape @ _at_centre()) ** 2))
    decay = 2.0 + 0.015 * hz + 12.0 * head.mute * moved
    return MembraneMode(float(hz), shape, m, circles, decay)


@dataclass(frozen=True)
class Stroke:
    """Where and how hard the head is struck: share of the radius, angle, loudness."""

    radius: float
    angle: float
    level: float = 1.0


def amplitudes(
    head: SimulatedHead, stroke: Stroke, gains: Floats | None = None, count: int = 16
) -> Floats:
    """What is heard of each mode, shape (count,): its shape where it is struck, times `gains`.

    An impulse moves every mode by its shape there over its frequency (Fletcher & Rossing, The
    Physics of Musical Instruments, on struck membranes). Without `gains` the microphone
    follows the stick and hears the head under it, so the shape counts twice; with them it stands
    still.
    """
    modes = head.modes(count)
    where = _basis(np.array([stroke.radius]), np.array([stroke.angle]))[:, 0, 0]
    shape = np.array([where @ mode.shape for mode in modes])
    heard = shape * (np.abs(shape) if gains is None else gains)
    return stroke.level * heard * np.array([modes[0].hz / mode.hz for mode in modes])


def sound(
    head: SimulatedHead,
    stroke: Stroke,
    rate_hz: int,
    length_s: float = 1.0,
    gains: Floats | None = None,
    count: int = 16,
) -> Floats:
    """The sound of one stroke, shape (n,), beginning at its first sample."""
    at_s = np.arange(round(length_s * rate_hz)) / rate_hz
    out = np.zeros(at_s.size)
    heard = amplitudes(head, stroke, gains, count)
    for mode, amplitude in zip(head.modes(count), heard, strict=True):
        out += amplitude * np.exp(-mode.decay_per_s * at_s) * np.sin(2 * np.pi * mode.hz * at_s)
    return out
