"""How fast each partial of a sound fades, and how high it is, from as little of it as will do.

Within a short sound a partial is (a + b t) exp(2 pi i f t): the real part of b / a is by how much
its level changes, the imaginary part how far its frequency lies off `f`, in radians a second.
All partials together by least squares, weighted by half a sine's arch: no partial has to wait until
the others fall on zeros of a window, and what the ends of the sound are like hardly counts.
What is left half-way between the partials is noise and gives each change its uncertainty.
White noise of s a sample leaves b / a of n samples within T unsure by sqrt(24 / n) s / (a T)
(the bound, as for a frequency: Rife & Boorstyn 1974, IEEE Trans. Inf. Theory 20), by a fifth
more with these weights.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from station.measure.windows import Floats, carriers

LEAST_PERIODS = 4.0  # of the spacing of partials: in less, what is between them is not noise alone
NOISE_POINTS = 2  # to either side of a partial: one alone is too often small by chance
# Of the arch w over -1 < u < 1: (integral of w^2 u^2) over (integral of w u^2), which is what
# noise does to the change weighted so, over what it would if weights were its inverse variance.
ARCH = (1 / 3 - 2 / np.pi**2) / (4 / np.pi - 32 / np.pi**3)


class Changes(NamedTuple):
    """Of each partial: `fades` (k,) as 1/s, its level's fall; `turns` (k,), radians a second.

    `turns` are how much its frequency lies above the one asked for. `sd` (k,) is one standard
    deviation of either, unlimited where a partial changes by more than a straight line tells.
    `level` (k,) is its amplitude half-way through the sound. `left` (n,) is all that is no partial.
    """

    fades: Floats
    turns: Floats
    sd: Floats
    level: Floats
    left: Floats


def changes(x: Floats, rate_hz: float, frequencies_hz: Floats) -> Changes:
    """How the partials at `frequencies_hz`, shape (k,), change in `x`, shape (n,).

    They are LEAST_PERIODS of the sound's length and more apart.
    """
    n = x.size
    half_s = n / rate_hz / 2
    u = (np.arange(n) - (n - 1) / 2) * (2 / n)
    turning = carriers(2 * np.pi * frequencies_hz / rate_hz, n, np.complex64, -(n - 1) / 2)
    cosines = np.concatenate((np.ones((1, n), np.float32), turning.real))
    sines = -turning.imag
    arch = np.cos(np.pi / 2 * u)
    weights = np.stack((arch, arch * u))
    heard = weights * x * (2 / n)
    even, odd = _inverses(2 * np.pi * frequencies_hz * half_s)
    by_cosine = np.einsum("an,kn->ak", heard, cosines)
    by_sine = np.einsum("an,kn->ak", heard, sines)
    evens = even @ np.concatenate((by_cosine[0], by_sine[1]))
    odds = odd @ np.concatenate((by_sine[0], by_cosine[1]))
    k, one = frequencies_hz.size, frequencies_hz.size + 1
    # a cos + b sin is the real part of (a - i b) exp(i ..)
    level = evens[1:one] - 1j * odds[:k]
    change = odds[one:] - 1j * evens[one:]
    left = x - evens[:one] @ cosines - odds[:k] @ sines
    left -= u * (odds[k:] @ cosines + evens[one:] @ sines)
    variance = np.maximum(np.diagonal(even)[one:], np.diagonal(odd)[one:]) * ARCH * (2 / n)
    # White noise of 1 a sample leaves a half of this in each.
    weights /= np.sqrt(2 * np.square(weights).sum(axis=1, keepdims=True))
    noise = _noise(weights * left, rate_hz, frequencies_hz)
    size = np.abs(level)
    of_level = change / level / half_s
    sd = np.sqrt(variance * noise) / (size * half_s)
    sd[np.abs(change) > size] = np.inf
    return Changes(-of_level.real, of_level.imag, sd, size, left)


def _inverses(angles: Floats) -> tuple[Floats, Floats]:
    """Inverses of the normal matrices of what is even about the middle, and of what is odd.

    Partials turn by `angles` (k,) from the middle to an end. Even are a constant, k cosines
    and k sines times u; odd are k sines, u, and k cosines times u. Sums over samples
    are integrals over -1 < u < 1, for the arch leaves next to nothing at its ends.
    """
    with_0 = np.concatenate(([0.0], angles))
    less, more = _arch(with_0[:, None] - with_0), _arch(with_0[:, None] + with_0)
    cosines = [0.5 * (a + b) for a, b in zip(less, more, strict=True)]
    sines = [0.5 * (a - b)[1:, 1:] for a, b in zip(less, more, strict=True)]
    # sin(a) cos(b) = (sin(a + b) + sin(a - b)) / 2
    mixed = cosines[1][1:]
    even = np.block([[cosines[0], mixed.T], [mixed, sines[2]]])
    odd = np.block([[sines[0], mixed], [mixed.T, cosines[2]]])
    return np.linalg.inv(even), np.linalg.inv(odd)


def _arch(angle: Floats) -> tuple[Floats, Floats, Floats]:
    """Integrals over -1 < u < 1 of the arch times cos(angle u), u sin(angle u), u^2 cos(angle u).

    The first is pi cos(angle) / (pi^2 / 4 - angle^2), the others its derivatives' negatives.
    """
    below: Floats = np.pi**2 / 4 - np.square(angle)
    cosine: Floats = np.pi * np.cos(angle) / below
    sine: Floats = np.pi * np.sin(angle) / below
    first: Floats = sine - 2 * angle * cosine / below
    second: Floats = cosine * (1 - 2 / below - 8 * np.square(angle / below))
    second += 4 * angle * sine / below
    return cosine, first, second


def _noise(weighted: Floats, rate_hz: float, frequencies_hz: Floats) -> Floats:
    """Variance a sample of white noise as strong as what is left about each partial.

    `weighted` (2, n): what is left, as heard for levels and for changes. Either tells half: a
    click near an end shows in changes alone.
    """
    middles = 0.5 * (frequencies_hz[1:] + frequencies_hz[:-1])
    outer = 0.5 * frequencies_hz[0]
    half_way = np.concatenate(([outer], middles, frequencies_hz[-1:] + outer))
    table = carriers(2 * np.pi * half_way / rate_hz, weighted.shape[1], np.complex64)
    power = np.einsum("an,kn->ak", weighted, table.real) ** 2
    power += np.einsum("an,kn->ak", weighted, table.imag) ** 2
    both = power.sum(axis=0)
    beside = [
        both[max(0, i + 1 - NOISE_POINTS) : i + 1 + NOISE_POINTS].mean()
        for i in range(frequencies_hz.size)
    ]
    # Some of these are small by chance: none is under what is usual.
    noise: Floats = np.maximum(beside, np.median(both))
    return noise
