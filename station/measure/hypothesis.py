"""Which note is it? The fundamental whose partials explain the sound, octave and all.

Peaks of one windowed spectrum are matched to the partials of every candidate
fundamental, for several stiffnesses. A candidate is worth the share of the
peaks' amplitude that its partials carry, less something for partials that
are missing; among the candidates worth nearly as much as the best, the highest
is taken. Then it is asked whether a lower one's own partials are really there,
not as the ghost of an open string under a touched harmonic, some 28 dB down and
more (16 dB under one touched at a fourth or less of its length), but as strong as
strings have them: if so, the lower one is the note.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.windows import plain

Floats = NDArray[np.floating[Any]]

LOWEST_HZ = 25.0  # under a five-string bass's B0 (30.87 Hz) by 3.6 semitones
HIGHEST_HZ = 4600.0  # above a piano's C8 (4186 Hz)
PARTIALS = 12  # matched for the decision; higher ones are stretched too far by stiffness
PEAKS = 40  # more than three times as many as are matched
DIVISORS = 8
GROUND_DB = 40.0  # a fundamental so far below the loudest partial is not there
STRONGEST = 6  # peaks whose sub-multiples are tried
PEAK_RANGE_DB = 50.0  # within the window's side lobes, -67 dB
FLATTEST = 1e-12  # a peak's curvature is at least so much: below it logarithms are rounded
ABOVE_FLOOR = 3.2  # times the lower quartile's amplitude
# Of the best one's worth: generous, for `_fills_in` decides between octaves. Four ghosts as loud as
# GHOST_OF_MANY leave each touched partial as much: 1 / (1 + 4 * 0.4^2).
NEARLY = 0.6
# Harris (1978), table I: the three-term window with side lobes of -67 dB.
HARRIS = (0.42323, 0.49755, 0.07922)
SLACK_LOBES = 0.07
SLACK_SHARE = 0.004  # 7 cents
SAME_SHARE = 0.0006  # 1 cent
NEAR_OCTAVES = 0.03  # a third of a semitone
HOLE_COST = 0.3
GHOST = 0.2  # -28 dB a partial: recorded strings keep at least 0.24, ghosts stay under it
# Of those that are no multiples of four, five and more: -16 dB. Where a string is plucked and heard
# silences multiples of a number, never all the others, and no body's resonance is so narrow: of
# 2400 notes of two sound fonts none has them so weak, but harmonics of one have (0.2 to 0.33).
GHOST_OF_MANY, MANY = 0.4, 4
COVERED = 0.25
LOBE_SHARE = 0.6  # of a main lobe's half width, which holds nearly all its power
LEAST_IN_PEAKS = 0.6  # of all power: noise has 0.4
SHARE_TO_START = 0.75
WORTH_TO_START = 0.45
FIRST_GUESS_PERIODS = 4.0
MAIN_LOBE_BINS = 3.0  # its half width, in units of 1 / length


STIFF, STIFF_HZ, STIFFEST = 4e-4, 250.0, 0.02  # see most_stretched
STIFFNESS_STEPS = np.array([0.0, 0.1, 0.3, 0.7])  # of the largest to expect


@dataclass(frozen=True, slots=True)
class Peaks:
    """Spectral peaks: frequencies (n,) in Hz and amplitudes (n,).

    `width_hz` is the half width of a main lobe. They were found in a spectrum
    with a bin every `bin_hz`, of which `power_below` holds the power below each.
    """

    hz: Floats
    amplitude: Floats
    width_hz: float
    power_below: Floats
    bin_hz: float


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A fundamental in Hz, its inharmonicity, and the share of power it explains.

    `worth` is the share of the peaks' amplitude. Not `grounded` is what may be
    the common measure of several notes sounding together.
    """

    hz: float
    inharmonicity: float
    share: float
    worth: float
    grounded: bool


@lru_cache(maxsize=32)
def harris_window(size: int) -> Floats:
    """The three-term window of Harris (1978), `size` samples, peak 1."""
    phase = 2 * np.pi * np.arange(size) / size
    window: Floats = HARRIS[0] - HARRIS[1] * np.cos(phase) + HARRIS[2] * np.cos(2 * phase)
    return window


def find_peaks(x: Floats, rate_hz: float) -> Peaks | None:
    """Peaks of the power spectrum of `x`, shape (n,); None in digital silence."""
    window = harris_window(x.size)
    padded = 1 << int(np.ceil(np.log2(x.size * 1.5)))
    bin_hz = rate_hz / padded
    width_hz = MAIN_LOBE_BINS * rate_hz / x.size
    top = min(padded // 2, int(HIGHEST_HZ * 1.15 / bin_hz), int(0.36 * padded))
    first = max(2, int(0.8 * LOWEST_HZ / bin_hz))
    bins = np.fft.rfft((x - x.mean()) * window, padded)[: top + 1]
    power = np.square(bins.real)
    power += np.square(bins.imag)
    inner = power[first:top]
    loudest = float(inner.max()) if inner.size else 0.0
    if loudest <= 0.0:
        return None
    is_peak = (inner > power[first - 1 : top - 1]) & (inner >= power[first + 1 : top + 1])
    floor = np.maximum(
        _noise_floor(inner, bin_hz) * ABOVE_FLOOR**2, loudest * 10 ** (-PEAK_RANGE_DB / 10)
    )
    at = np.flatnonzero(is_peak & (inner > floor)) + first
    if at.size > PEAKS:
        at = np.sort(at[np.argpartition(power[at], -PEAKS)[-PEAKS:]])
    hz, amplitude = _interpolate(power, at)
    power_below = np.zeros(top + 1)
    np.cumsum(power[:top], out=power_below[1:])
    return Peaks(hz * bin_hz, amplitude * (2 / window.sum()), width_hz, power_below, bin_hz)


def _noise_floor(power: Floats, bin_hz: float) -> Floats:
    """The lower quartile in each 400 Hz: what lies between the partials."""
    block = max(8, int(400 / bin_hz))
    whole = power.size // block * block
    if whole == 0:
        return np.full(power.size, np.partition(power, power.size // 4)[power.size // 4])
    ranked = np.partition(power[:whole].reshape(-1, block), block // 4, axis=1)[:, block // 4]
    floor = np.empty(power.size)
    floor[:whole].reshape(-1, block)[:] = ranked[:, None]
    floor[whole:] = ranked[-1]
    return floor


def _interpolate(power: Floats, at: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Vertex of the parabola through the log magnitudes around each peak bin."""
    low, mid, high = 0.5 * np.log(power[at + _AROUND] + 1e-300)
    # Negative, but for the logarithms' rounding, for neither neighbour is as high.
    curve = np.minimum(low - 2 * mid + high, -FLATTEST)
    shift = 0.5 * (low - high) / curve
    return at + shift, np.exp(mid - 0.25 * (low - high) * shift)


_MULTIPLE_OCTAVES = np.log2(np.arange(2.0, DIVISORS + 1))
_AROUND = np.array([[-1], [0], [1]])


def candidates(peaks: Peaks, hints_hz: tuple[float, ...] = ()) -> Floats:
    """Fundamentals worth trying: the strong peaks, their sub-multiples, and the hints."""
    strongest = peaks.hz[np.argsort(peaks.amplitude)[::-1][:STRONGEST]]
    hinted = [hint * octave for hint in hints_hz for octave in (0.5, 1.0, 2.0)]
    every: Floats = np.concatenate(
        ((strongest[:, None] / np.arange(1, DIVISORS + 1)).ravel(), hinted)
    )
    every = np.sort(every[(every >= LOWEST_HZ) & (every <= HIGHEST_HZ)])
    # The partials of one string have their sub-multiples in common: each but once.
    new = every > 0
    new[1:] = every[1:] - every[:-1] > SAME_SHARE * every[1:]
    return every[new]


def most_stretched(hz: float) -> float:
    """The largest inharmonicity to expect at a fundamental.

    4e-4 up to 250 Hz (bass and guitar strings), then rising as f^2 towards the 1e-2 of a
    piano's top octave (Fletcher & Rossing, The Physics of Musical Instruments, ch. 12).
    """
    return min(max(STIFF * (hz / STIFF_HZ) ** 2, STIFF), STIFFEST)


def _match(peaks: Peaks, tried: Floats, stiffness: Floats) -> tuple[NDArray[np.bool_], Floats]:
    """Which peak is a partial of which candidate: (c, p) booleans and partial numbers.

    A peak's own frequency error is a small part of its main lobe; a gliding
    attack moves it by some cents more. Single precision is far finer than either.
    """
    hz = peaks.hz.astype(np.float32)
    b, f = stiffness.astype(np.float32)[:, None], tried.astype(np.float32)[:, None]
    number = np.square(hz / f)
    # Invert f/F = k sqrt(1 + B k^2) for the real-valued partial number nearest to each peak.
    root = np.sqrt(1 + 4 * b * number)
    root += 1
    number *= 2
    number /= root
    np.rint(np.sqrt(number, out=number), out=number)
    np.maximum(number, 1, out=number)
    expected = np.sqrt(1 + b * np.square(number))
    expected *= number
    expected *= f
    slack = SLACK_SHARE * expected
    slack += SLACK_LOBES * peaks.width_hz
    np.minimum(slack, np.float32(0.2) * f, out=slack)
    expected -= hz
    matched = np.abs(expected, out=expected) <= slack
    matched &= number <= PARTIALS
    return matched, number


# Which partials are there, as bits: how many they are, and the highest.
_SETS = np.arange(1 << (PARTIALS + 1))
_COUNT = ((_SETS[:, None] >> np.arange(PARTIALS + 1)) & 1).sum(axis=1).astype(float)
_HIGHEST = np.maximum(np.floor(np.log2(np.maximum(_SETS, 1))), 1.0)


# Of all partials up to the next above twice `multiple`, those that are no multiples of it.
_BETWEEN = [
    sum(1 << k for k in range(1, 2 * multiple + 2) if k % multiple)
    for multiple in range(1, DIVISORS + 1)
]


def _present(matched: NDArray[np.bool_], number: Floats) -> NDArray[np.int64]:
    """Which partials of each candidate some peak stands for, shape (c,): of number k bit k."""
    bits = np.left_shift(matched, number.astype(np.int64))
    present: NDArray[np.int64] = np.bitwise_or.reduce(bits, axis=1)
    return present


def _worth(
    peaks: Peaks, tried: Floats, stiffness: Floats
) -> tuple[Floats, NDArray[np.bool_], Floats, NDArray[np.int64]]:
    """What each candidate is worth (c,), what it matches as `_match`, and as `_present`."""
    matched, number = _match(peaks, tried, stiffness)
    # Peaks stand in ascending order: what lies below a limit is a running sum.
    running = np.concatenate(([0.0], np.cumsum(peaks.amplitude)))
    inside = running[np.searchsorted(peaks.hz, (PARTIALS + 0.5) * tried, side="right")]
    worth = (matched @ peaks.amplitude) / np.maximum(inside, 1e-12)
    # A candidate below most of the sound would be judged on a few peaks only.
    covered = inside / running[-1]
    present = _present(matched, number)
    # The share of partials, up to the highest one matched, that no peak stands for.
    holes = 1.0 - _COUNT[present] / _HIGHEST[present]
    worth *= np.minimum(1.0, covered / COVERED) * (1 - HOLE_COST * holes)
    return worth, matched, number, present


def decide(peaks: Peaks, hints_hz: tuple[float, ...] = ()) -> Hypothesis | None:
    """The fundamental behind `peaks`; None where they hold too little of the sound."""
    tried = candidates(peaks, hints_hz)
    if tried.size == 0 or peaks.hz.size == 0:
        return None
    if _share_around(peaks, peaks.hz, LOBE_SHARE * peaks.width_hz) < LEAST_IN_PEAKS:
        return None
    limits = np.minimum(np.maximum(STIFF * np.square(tried / STIFF_HZ), STIFF), STIFFEST)
    stiffness = (limits[:, None] * STIFFNESS_STEPS).ravel()
    tried = np.repeat(tried, STIFFNESS_STEPS.size)
    worth, matched, number, present = _worth(peaks, tried, stiffness)
    octave = np.log2(tried)  # ascending, as `tried` is
    highest = int(np.flatnonzero(worth >= NEARLY * worth.max())[-1])
    chosen = _best_near(octave, worth, octave[highest : highest + 1])[0]
    lowers = _best_near(octave, worth, octave[chosen] - _MULTIPLE_OCTAVES)
    for multiple, lower in enumerate(lowers, start=2):
        if lower < 0 or not _may_fill_in(int(present[lower]), multiple):
            continue
        if _fills_in(peaks, matched[lower], number[lower], multiple):
            chosen = lower
            break
    hz, inharmonicity = _refine(peaks, float(tried[chosen]), matched[chosen], number[chosen])
    share = _power_share(peaks, hz, inharmonicity)
    strength = _strengths(peaks, matched[chosen], number[chosen], PARTIALS)
    return Hypothesis(hz, inharmonicity, share, float(worth[chosen]), _grounded(strength))


def suppose(x: Floats, rate_hz: float, coarse_hz: Callable[[Floats], float]) -> Hypothesis | None:
    """Which note may be in `x`, shape (n,); None where none explains enough of it.

    `coarse_hz` is asked for a coarse pitch of it, 0 for none, if there is anything to explain.
    """
    peaks = find_peaks(x, rate_hz)
    if peaks is None:
        return None
    hint_hz = coarse_hz(x)
    guess = decide(peaks, (hint_hz,) if hint_hz > 0 else ())
    if guess is None or not convincing(guess):
        return None
    return guess if guess.hz * x.size / rate_hz >= FIRST_GUESS_PERIODS else None


def convincing(guess: Hypothesis) -> bool:
    """Whether `guess` explains enough to be a note, and not what is left of one."""
    return guess.share >= SHARE_TO_START and guess.worth >= WORTH_TO_START and guess.grounded


def _strengths(
    peaks: Peaks, matched: NDArray[np.bool_], number: Floats, highest: int
) -> list[float]:
    """Amplitude of partials 0 .. `highest`, zero where no peak stands for one."""
    strength = [0.0] * (highest + 1)
    near = np.flatnonzero(matched & (number <= highest))
    for k, amplitude in zip(plain(number[near]), plain(peaks.amplitude[near]), strict=True):
        strength[int(k)] = max(strength[int(k)], amplitude)
    return strength


def _grounded(strength: list[float]) -> bool:
    """Whether the fundamental itself sounds, or else partials that only it explains.

    Chords have a common measure far below: that of a fifth has partials 2, 3,
    4, 6, 8, 9, 10, of a major chord 4, 5, 6, 8, 10, 12. None has a seventh or an
    eleventh. A string that is felt but not heard at its fundamental has both.
    """
    least = max(strength) * 10 ** (-GROUND_DB / 20)
    return strength[1] > least or strength[7] > least or strength[11] > least


def _best_near(octave: Floats, worth: Floats, wanted: Floats) -> list[int]:
    """Indices of the worthiest candidates within NEAR_OCTAVES of each `wanted`, -1 for none.

    `octave` and `wanted`, shape (n,), are log2 of Hz.
    """
    bounds = np.searchsorted(octave, np.concatenate((wanted - NEAR_OCTAVES, wanted + NEAR_OCTAVES)))
    ranges = plain(bounds.reshape(2, -1).T)
    return [int(i + worth[i:j].argmax()) if j > i else -1 for i, j in ranges]


def _may_fill_in(present: int, multiple: int) -> bool:
    """Whether of the partials that only the lower candidate explains more than half are there."""
    between = _BETWEEN[multiple - 1]
    return 2 * (present & between).bit_count() > between.bit_count()


def _fills_in(peaks: Peaks, matched: NDArray[np.bool_], number: Floats, multiple: int) -> bool:
    """Whether the partials that only the lower candidate explains are strong enough.

    Mean square-rooted amplitude of partials 1 .. 2m+1 that are no multiples of
    m (a missing one counts nothing) against that of the multiples.
    """
    heights = _strengths(peaks, matched, number, 2 * multiple + 1)
    strength = [math.sqrt(height) for height in heights]
    multiples = strength[multiple::multiple]
    between = [a for k, a in enumerate(strength) if k % multiple]
    mean = sum(between) / len(between)
    ghost = GHOST_OF_MANY if multiple >= MANY else GHOST
    return mean * len(multiples) >= ghost * sum(multiples)


def _refine(
    peaks: Peaks, hz: float, matched: NDArray[np.bool_], number: Floats
) -> tuple[float, float]:
    """Least squares of (f/k)^2 = F^2 + F^2 B k^2 over the matched peaks."""
    k, f, a = number[matched].astype(float), peaks.hz[matched], peaks.amplitude[matched]
    if k.size == 0:
        return hz, 0.0
    if k.size < 3 or np.ptp(k) < 2:
        return float(np.average(f / k, weights=a * k)), 0.0
    y, x = (f / k) ** 2, k**2
    weight = a * k**2  # a peak's frequency error is the same in hertz, so less in f / k
    weight = weight / weight.sum()
    mean_x, mean_y = weight @ x, weight @ y
    slope = weight @ ((x - mean_x) * (y - mean_y)) / (weight @ (x - mean_x) ** 2)
    square = mean_y - slope * mean_x
    stiffness = float(slope / square) if square > 0 else -1.0
    if not 0.0 <= stiffness <= most_stretched(hz):
        return float(np.sqrt(mean_y)), 0.0
    return float(np.sqrt(square)), stiffness


def _power_share(peaks: Peaks, hz: float, stiffness: float) -> float:
    """How much of the power within the spectrum lies in main lobes of the partials."""
    top_hz = (peaks.power_below.size - 1) * peaks.bin_hz
    k = np.arange(1, max(2, int(top_hz / hz) + 1))
    centre = k * hz * np.sqrt(1 + stiffness * k**2)
    return _share_around(
        peaks, centre[centre < top_hz], min(LOBE_SHARE * peaks.width_hz, 0.35 * hz)
    )


def _share_around(peaks: Peaks, centre_hz: Floats, half_hz: float) -> float:
    """The share of all power within `half_hz` of the ascending `centre_hz`."""
    below, last = peaks.power_below, peaks.power_below.size - 1
    low = np.maximum(((centre_hz - half_hz) / peaks.bin_hz).astype(int), 0)
    high = np.minimum(((centre_hz + half_hz) / peaks.bin_hz).astype(int) + 1, last)
    # Lobes may overlap; count nothing twice.
    low[1:] = np.maximum(low[1:], high[:-1])
    power = np.maximum(0.0, below[high] - below[np.minimum(low, last)]).sum()
    return float(power / max(below[-1], 1e-300))
