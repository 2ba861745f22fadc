"""One or two decaying lines in one narrow band, by least squares.

A partial of a plucked string dies away as exp(-a t) while it turns; two strings whose
partials coincide are the sum of two such lines (Weinreich 1977, "Coupled piano strings", J.
Acoust. Soc. Am. 62, 1474, for what such a sum does). The complex envelope y(t) of the band is
fitted by

    c1 exp((-(a + d/2) + i (w + s/2)) t) + c2 exp((-(a - d/2) + i (w - s/2)) t),

amplitudes solved for within (variable projection: Golub & Pereyra 1973; the Jacobian
without its second term: Kaufman 1975), the rest by damped Gauss-Newton steps
(Levenberg 1944, Marquardt 1963), many starting points at once. Two lines much closer than
the sound is long are told apart only with two things that are known of strings
beforehand: two coinciding partials decay about alike, and neither is many times louder than
their sum ever is. Both enter as priors.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Phasors = NDArray[np.complex128]

STEPS = 20
LEAST_GAIN = 2e-3  # of the cost: a step that gains less moves nothing by a twentieth of its sd
GIVEN_UP = 10.0  # so much damping, and still no gain: it has arrived
SKEW_SHARE = 0.5  # decays of two coinciding partials differ by so much of either (prior, one sd)
SKEW_LEAST = 0.15  # 1/s
LOUDEST_TIMES = 3.0  # an amplitude over the loudest the band ever is (prior, one sd)
MOST_FALL = 60.0  # 1/s: what dies faster is a click
LEAST_RISE = 0.5  # 1/s: no line grows faster
TINY = 1e-300
W, A, D, S = range(4)


class Envelope(NamedTuple):
    """A band's complex envelope `y` (n,), beyond its carrier, at times `t` (n,) in seconds.

    `worth`: how much of an independent sample each is, for overlapping windows share noise.
    """

    y: Phasors
    t: Floats
    worth: float


class Found(NamedTuple):
    """Fits from g starting points.

    `theta` (g, 4): w, a, d in 1/s and s in rad/s as above; `level` (g, 2) complex amplitudes at
    time 0 of the line above and the one below; `cost` (g,) twice the negative log-likelihood with
    priors; `curve` (g, 4, 4) its half second derivative; `left` (g,) the squares nobody explains,
    `spread` (g,) those that w explains, a unit of it.
    """

    theta: Floats
    level: Phasors
    cost: Floats
    curve: Floats
    left: Floats
    spread: Floats

    def of(self, at: NDArray[np.intp]) -> Found:
        """Those numbered `at`."""
        return Found(
            self.theta[at],
            self.level[at],
            self.cost[at],
            self.curve[at],
            self.left[at],
            self.spread[at],
        )


class Priors(NamedTuple):
    """Noise power in a sample, one standard deviation of d, and of an amplitude."""

    noise: float
    skew: float
    level: float


def one_line(band: Envelope) -> tuple[complex, float]:
    """The best single decaying line, -a + i w, and the squares it leaves."""
    found = _one(band)
    return complex(-found.theta[0, A], found.theta[0, W]), float(found.left[0])


def one_line_sure(band: Envelope) -> tuple[complex, float]:
    """The best single line, -a + i w, and one standard deviation of w."""
    found = _one(band)
    rest = residual(band, found)
    noise = float(found.left[0]) / max(1, band.y.size - 2) + TINY
    unit = 2.0 * min(band.worth, worth_of(rest)) / noise
    line = complex(-found.theta[0, A], found.theta[0, W])
    return line, 1.0 / math.sqrt(unit * float(found.spread[0]) + TINY)


def _one(band: Envelope) -> Found:
    guess = _first_line(band)
    power = float(np.mean(np.square(np.abs(band.y)))) + TINY
    start = np.array([[guess.imag, -guess.real, 0.0, 0.0]])
    return _descend(band, start, (True, True, False, False), Priors(power, 1.0, np.inf), lines=1)


def residual(band: Envelope, found: Found) -> Phasors:
    """What the first of the fits leaves, shape (n,)."""
    w, a, d, s = found.theta[0]
    up, down = complex(-a - d / 2, w + s / 2), complex(-a + d / 2, w - s / 2)
    lines = found.level[0, 0] * np.exp(up * band.t) + found.level[0, 1] * np.exp(down * band.t)
    rest: Phasors = band.y - lines
    return rest


def worth_of(rest: Phasors) -> float:
    """How much of an independent sample each of a residual is, by its own correlation."""
    power = float(np.square(np.abs(rest)).sum()) + TINY
    together = 1.0
    for lag in range(1, rest.size // 2):
        alike = float(np.real(np.vdot(rest[:-lag], rest[lag:]))) / power
        if alike < 0.05:
            break
        together += 2 * alike
    return 1.0 / together


def two_lines(band: Envelope, starts: Floats, priors: Priors) -> Found:
    """Fits of two lines from `starts`, shape (g, 4), all four parameters free."""
    return _descend(band, starts, (True, True, True, True), priors)


def at_splits(band: Envelope, splits: Floats, lines: list[complex], priors: Priors) -> Found:
    """The best fits with the distance s of the two lines held at `splits`, rad/s, shape (g,).

    Begun half-way between the two at each of `lines`, -a + i w; of them the best is given.
    """
    starts = np.zeros((len(lines), splits.size, 4))
    starts[:, :, S] = splits
    for start, line in zip(starts, lines, strict=True):
        start[:, W], start[:, A] = line.imag, -line.real
    found = _descend(band, starts.reshape(-1, 4), (True, True, True, False), priors)
    at = found.cost.reshape(len(lines), -1).argmin(axis=0) * splits.size + np.arange(splits.size)
    return found.of(at)


def pencil_start(band: Envelope) -> Floats:
    """Two lines by the matrix pencil (Hua & Sarkar 1990), as one starting point, shape (1, 4)."""
    step = float(band.t[1] - band.t[0])
    n = band.y.size
    rows = n - n // 2
    hankel = np.lib.stride_tricks.sliding_window_view(band.y, n // 2 + 1)[:rows]
    _, _, right = np.linalg.svd(hankel, full_matrices=False)
    basis = right[:2].T
    turn = np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0]
    values = np.linalg.eigvals(turn)
    values = np.where(np.abs(values) < 1e-6, 1e-6, values)
    rate = np.log(values) / step
    rate = np.clip(rate.real, -MOST_FALL, LEAST_RISE) + 1j * rate.imag
    up, down = (rate[0], rate[1]) if rate[0].imag >= rate[1].imag else (rate[1], rate[0])
    mid, off = (up + down) / 2, up - down
    return np.array([[mid.imag, -mid.real, -off.real, off.imag]])


def _first_line(band: Envelope) -> complex:
    """Where one line stands, from the spectrum's peak, and how fast it falls, from its halves."""
    size = 1 << (4 * band.y.size).bit_length()
    step = float(band.t[1] - band.t[0])
    power = np.square(np.abs(np.fft.fft(band.y, size)))
    w = 2 * np.pi * float(np.fft.fftfreq(size, step)[int(power.argmax())])
    half = band.y.size // 2
    early, late = (float(np.sum(np.square(np.abs(p)))) for p in (band.y[:half], band.y[half:]))
    fall = np.log((early + TINY) / (late + TINY)) / (2 * max(half, 1) * step)
    return complex(-float(np.clip(fall, 0.05, MOST_FALL)), w)


def _descend(
    band: Envelope,
    starts: Floats,
    free: tuple[bool, bool, bool, bool],
    priors: Priors,
    lines: int = 2,
) -> Found:
    fixed = ~np.array(free)
    theta = starts.astype(np.float64).copy()
    here = _look(band, theta, priors, lines)
    damp: Floats = np.full(theta.shape[0], 1e-3)
    for _ in range(STEPS):
        curve, slope = here.curve, here.slope
        push = curve + damp[:, None, None] * _diagonal(curve)
        push[:, fixed, :] = 0.0
        push[:, :, fixed] = 0.0
        push[:, fixed, fixed] = 1.0
        step = np.linalg.solve(push, np.where(fixed, 0.0, slope)[:, :, None])[:, :, 0]
        tried = theta + step
        tried[:, A] = np.clip(tried[:, A], -0.4, MOST_FALL)
        most = 2 * (tried[:, A] + LEAST_RISE)
        tried[:, D] = np.clip(tried[:, D], -most, most)
        there = _look(band, tried, priors, lines)
        better = there.cost < here.cost
        gained = np.where(better, here.cost - there.cost, 0.0)
        theta = np.where(better[:, None], tried, theta)
        here = _Look(
            *(
                np.where(better.reshape((-1,) + (1,) * (old.ndim - 1)), new, old)
                for new, old in zip(there, here, strict=True)
            )
        )
        damp = np.where(better, damp * 0.2, damp * 8.0)
        if np.all((gained < LEAST_GAIN) & (better | (damp > GIVEN_UP))):
            break
    return Found(theta, here.level, here.cost, here.curve, here.left, here.spread)


class _Look(NamedTuple):
    """The cost at some parameters, and what the next step needs."""

    cost: Floats
    slope: Floats
    curve: Floats
    level: Phasors
    left: Floats
    spread: Floats


def _look(band: Envelope, theta: Floats, priors: Priors, lines: int) -> _Look:
    y, t = band.y, band.t
    unit = 2.0 * band.worth / priors.noise
    w, a, d, s = theta.T
    up = np.exp((1j * (w + s / 2) - a - d / 2)[:, None] * t)
    down = np.exp((1j * (w - s / 2) - a + d / 2)[:, None] * t) if lines == 2 else np.zeros_like(up)
    ridge = priors.noise / (band.worth * priors.level**2) if lines == 2 else 0.0
    uu = np.square(np.abs(up)).sum(axis=1) + ridge + TINY
    dd = np.square(np.abs(down)).sum(axis=1) + (ridge + TINY if lines == 2 else 1.0)
    ud = (up.conj() * down).sum(axis=1)
    # Two lines in one place share what is there: never quite singular.
    det = uu * dd - np.square(np.abs(ud)) + 1e-12 * uu * dd + TINY

    def solved(x: Phasors) -> tuple[Phasors, Phasors]:
        on_up, on_down = (up.conj() * x).sum(axis=1), (down.conj() * x).sum(axis=1)
        return (dd * on_up - ud * on_down) / det, (uu * on_down - ud.conj() * on_up) / det

    c1, c2 = solved(np.broadcast_to(y, up.shape))
    one, two = c1[:, None] * up, c2[:, None] * down
    rest = y - one - two
    left = np.square(np.abs(rest)).sum(axis=1)
    sizes = np.square(np.abs(c1)) + np.square(np.abs(c2))
    cost = unit * (left + ridge * sizes) + np.square(d / priors.skew)
    both, apart = t * (one + two), t * (one - two) / 2
    for x in (both, apart):
        k1, k2 = solved(x)
        x -= k1[:, None] * up + k2[:, None] * down
    alpha = np.square(np.abs(both)).sum(axis=1)
    beta = np.square(np.abs(apart)).sum(axis=1)
    gamma = (both.conj() * apart).sum(axis=1)
    rho, tau = (both.conj() * rest).sum(axis=1), (apart.conj() * rest).sum(axis=1)
    nought = np.zeros_like(alpha)
    curve = unit * np.array(
        [
            [alpha, nought, -gamma.imag, gamma.real],
            [nought, alpha, gamma.real, gamma.imag],
            [-gamma.imag, gamma.real, beta, nought],
            [gamma.real, gamma.imag, nought, beta],
        ]
    ).transpose(2, 0, 1)
    slope = unit * np.array([rho.imag, -rho.real, -tau.real, tau.imag]).T
    curve[:, D, D] += 1 / priors.skew**2
    slope[:, D] -= d / priors.skew**2
    curve[:, range(4), range(4)] += 1e-12 * unit * alpha.max() + TINY
    return _Look(cost, slope, curve, np.stack((c1, c2), axis=1), left, alpha)


def _diagonal(curve: Floats) -> Floats:
    out = np.zeros_like(curve)
    out[:, range(4), range(4)] = curve[:, range(4), range(4)]
    return out
