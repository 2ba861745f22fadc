"""Which notes sound together: the fewest harmonic series that explain a spectrum's peaks.

A sound that holds still is a set of peaks. A note explains those near its partials
k F sqrt(1 + B k^2) (Fletcher 1964). The notes are the set with the least cost: what
nobody explains, so much for each note, and what a note promises and does not have
("holes": a partial missing between partials that are there). It is the principle of
description lengths (Rissanen 1978): a note must pay for itself. So the common measure of
a chord, which lacks most of its own partials, loses against the chord's own notes, and
ranks in octaves (8', 4', 2') are one note, for the octaves explain nothing more.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.hypothesis import most_stretched
from station.measure.windows import TINY_POWER, Floats, hann

LOWEST_HZ = 26.0  # a semitone under a piano's A0 (27.5 Hz)
HIGHEST_HZ = 4700.0  # two semitones above a piano's C8 (4186 Hz)
LOOK_S = 0.5  # semitones from C3 up stand apart in a spectrum of so long a window
MOST_LOOKS = 8
PARTIALS = 48
SURE_PARTIALS = 24  # beyond these partials lie so close that a peak is near one by chance
PEAKS = 70
SAME_BASE_CENTS = 8.0
STRONGEST = 18  # peaks whose sub-multiples are tried
DIVISORS = 10
RANGE_DB = 50.0
FLOOR_BLOCK_HZ = 300.0
OVER_FLOOR = 4.0  # amplitude over the median beside: noise alone does so once in 10^5 bins
SAME_CENTS = 35.0  # reeds tuned apart by so much are one note (common practice, no source)
SLACK_CENTS = 22.0  # half of SAME_CENTS and some
HIGH_SLACK_CENTS = 15.0
SLACK_BINS = 0.35
STIFFNESS_STEPS = (0.0, 0.15, 0.4, 0.8)  # of the largest to expect
COMPRESS = 0.65
NOTE_COST = 0.07
HOLE_COST = 0.3
HOLE_DEPTH = 0.35
FIRST_HOLE = 0.7
FADES = 0.85
PRIOR_SQUARE = 400.0  # k^2 of a lone voice for the stiffness assumed
LEAST_OWN = 0.05  # -26 dB: a note's loudest own partial against the loudest of all
GROUND = 0.17
GROUND_HZ = 62.0
DENSE, DENSE_OF = 8, 12
MOST_NOTES = 4
BEAM = 5
CENTS_PER_RATIO = 1731.234  # 1200 / ln 2


class Peaks(NamedTuple):
    """`hz` ascending and `amplitude`, shapes (p,), from windows of `seconds`."""

    hz: Floats
    amplitude: Floats
    seconds: float


class Series(NamedTuple):
    """One note as found among peaks: partial k near k F sqrt(1 + B k^2), F `base_hz`.

    `own` is the share of the peaks' strength that only this note explains, `strength` its
    loudest partial's amplitude.
    """

    base_hz: float
    stiffness: float
    own: float
    strength: float


def mean_power(x: NDArray[np.float32], rate_hz: float) -> tuple[Floats, float, float]:
    """Power spectrum of `x`, shape (n,), the mean of Hann windows (Welch 1967).

    Returns powers, Hz from bin to bin, and the windows' length in seconds.
    """
    size = min(x.size, round(LOOK_S * rate_hz))
    padded = 1 << (2 * size - 1).bit_length()
    looks = min(MOST_LOOKS, max(1, (x.size - size) // (size // 2) + 1))
    starts = np.linspace(0, x.size - size, looks).astype(int)
    frames = np.stack([x[start : start + size] for start in starts])
    frames = (frames - frames.mean(axis=1, keepdims=True)) * (2 * hann(size))
    heard = np.fft.rfft(frames, padded)
    power: Floats = (np.square(heard.real) + np.square(heard.imag)).mean(axis=0) + TINY_POWER
    return power, rate_hz / padded, size / rate_hz


def find_peaks(x: NDArray[np.float32], rate_hz: float, top_hz: float) -> Peaks:
    """The peaks of `x`, shape (n,), up to `top_hz`; reeds of one note are one peak."""
    power, bin_hz, seconds = mean_power(x, rate_hz)
    first, last = int(0.9 * LOWEST_HZ / bin_hz), min(power.size - 2, int(top_hz / bin_hz))
    inner = power[first:last]
    floor = np.maximum(_floor(inner, bin_hz), inner.max() * 10 ** (-RANGE_DB / 10))
    is_peak = (inner > power[first - 1 : last - 1]) & (inner >= power[first + 1 : last + 1])
    at = np.flatnonzero(is_peak & (inner > floor)) + first
    hz, height = _vertex(power, at)
    hz, height = _merged(hz * bin_hz, height, 1.0 / seconds)
    if hz.size > PEAKS:
        kept = np.sort(np.argpartition(height, -PEAKS)[-PEAKS:])
        hz, height = hz[kept], height[kept]
    return Peaks(hz, np.sqrt(height), seconds)


def _floor(power: Floats, bin_hz: float) -> Floats:
    block = max(16, int(FLOOR_BLOCK_HZ / bin_hz))
    whole = max(1, power.size // block)
    parts = np.array_split(power, whole)
    levels = [np.partition(part, part.size // 2)[part.size // 2] for part in parts]
    floor: Floats = OVER_FLOOR**2 * np.repeat(levels, [part.size for part in parts])
    return floor


def _vertex(power: Floats, at: NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Vertex of the parabola through the log powers around each peak bin."""
    low, mid, high = (np.log(power[at + step]) for step in (-1, 0, 1))
    curve = np.minimum(low - 2 * mid + high, -1e-9)
    shift = np.clip(0.5 * (low - high) / curve, -0.5, 0.5)
    return at + shift, np.exp(mid - 0.25 * (low - high) * shift)


def _merged(hz: Floats, height: Floats, least_hz: float) -> tuple[Floats, Floats]:
    """Peaks so near to each other that they are reeds of one note, as one at their centre."""
    if hz.size < 2:
        return hz, height
    apart = np.diff(hz) > np.maximum(least_hz, hz[1:] * SAME_CENTS / CENTS_PER_RATIO)
    group = np.concatenate(([0], np.cumsum(apart)))
    total: Floats = np.bincount(group, height).astype(np.float64)
    centre: Floats = np.bincount(group, height * hz) / total
    return centre, total


class _Tried(NamedTuple):
    """Candidates, one row each: `base` (c,), `stiffness` (c,), `explains` (c, p), `holes` (c,)."""

    base: Floats
    stiffness: Floats
    explains: NDArray[np.bool_]
    holes: Floats


@lru_cache(maxsize=1)
def _numbers() -> Floats:
    return np.arange(1.0, PARTIALS + 1)


def _candidates(peaks: Peaks) -> Floats:
    strongest = peaks.hz[np.argsort(peaks.amplitude)[::-1][:STRONGEST]]
    base = np.sort((strongest[:, None] / np.arange(1, DIVISORS + 1)).ravel())
    base = base[(base >= LOWEST_HZ) & (base <= HIGHEST_HZ)]
    same = SAME_BASE_CENTS / CENTS_PER_RATIO
    kept: Floats = base[np.diff(base, prepend=1.0) > same * base]
    return kept


def _match(
    peaks: Peaks, base: Floats, stiffness: Floats, partials: int = PARTIALS
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Nearest peak to each of so many partials, shape (c, k), and whether it is near enough."""
    k = _numbers()[:partials]
    expected = base[:, None] * k * np.sqrt(1 + stiffness[:, None] * k**2)
    right = np.clip(np.searchsorted(peaks.hz, expected), 1, max(1, peaks.hz.size - 1))
    left = right - 1
    right = np.minimum(right, peaks.hz.size - 1)
    nearer = np.abs(peaks.hz[left] - expected) < np.abs(peaks.hz[right] - expected)
    at = np.where(nearer, left, right)
    cents = np.where(k <= SURE_PARTIALS, SLACK_CENTS, HIGH_SLACK_CENTS)
    slack = SLACK_BINS / peaks.seconds + expected * cents / CENTS_PER_RATIO
    slack = np.minimum(slack, 0.25 * base[:, None])
    return at, np.abs(peaks.hz[at] - expected) < slack


def _refined(
    peaks: Peaks, base: Floats, stiffness: Floats, strength: Floats
) -> tuple[Floats, Floats]:
    """Each candidate's base and stiffness from the partials it matches, weighted by strength.

    Least squares of (f / k)^2 on k^2, with what was assumed as one more voice.
    """
    at, near = _match(peaks, base, stiffness, SURE_PARTIALS)
    square = np.square(_numbers()[:SURE_PARTIALS])
    weight = np.where(near, strength[at], 0.0) * np.minimum(square, 36.0)
    ratio = np.square(peaks.hz[at] / base[:, None]) / square - 1 - stiffness[:, None] * square
    total = weight.sum(axis=1) + TINY_POWER
    mean_x, mean_y = (weight * square).sum(axis=1) / total, (weight * ratio).sum(axis=1) / total
    off = square - mean_x[:, None]
    spread = (weight * off * off).sum(axis=1) + total * PRIOR_SQUARE
    slope = (weight * off * ratio).sum(axis=1) / spread
    bent = np.maximum(0.0, stiffness + slope)
    level = 1 + mean_y - (bent - stiffness) * mean_x
    return base * np.sqrt(np.maximum(level, 0.5)), bent


def _try_all(peaks: Peaks, strength: Floats, top_hz: float) -> _Tried:
    base = _candidates(peaks)
    steps = np.array(STIFFNESS_STEPS)
    stiffest = np.array([most_stretched(float(hz)) for hz in base])
    stiffness = (stiffest[:, None] * steps).ravel()
    base = np.repeat(base, steps.size)
    base, stiffness = _refined(peaks, base, stiffness, strength)
    at, near = _match(peaks, base, stiffness)
    explains = np.zeros((base.size, peaks.hz.size), bool)
    rows = np.broadcast_to(np.arange(base.size)[:, None], at.shape)
    explains[rows[near], at[near]] = True
    k = _numbers()
    inside = base[:, None] * k * np.sqrt(1 + stiffness[:, None] * k**2) < top_hz
    heights = np.where(near & inside, strength[at], 0.0)
    kept = _grounded(base, heights)
    return _Tried(base[kept], stiffness[kept], explains[kept], _holes(heights[kept]))


def _holes(heights: Floats) -> Floats:
    """What is missing between the partials that are there, as strength; (c, k) to (c,)."""
    heights = heights[:, :SURE_PARTIALS]
    below, above = _fading(heights), _fading(heights[:, ::-1])[:, ::-1]
    promised = HOLE_DEPTH * np.where(below > 0, np.minimum(below, above), FIRST_HOLE * above)
    holes: Floats = np.maximum(0.0, promised - heights).sum(axis=1)
    return holes


def _fading(heights: Floats) -> Floats:
    """The greatest height before each column, fading by FADES a column."""
    faded = np.zeros_like(heights)
    for k in range(1, heights.shape[1]):
        faded[:, k] = FADES * np.maximum(faded[:, k - 1], heights[:, k - 1])
    return faded


def _grounded(base: Floats, heights: Floats) -> NDArray[np.bool_]:
    """Whether each candidate has a ground of its own: no common measure of a chord has.

    A reed, a pipe, a string from GROUND_HZ up sounds its fundamental; lower ones must
    have most of their first partials (those of a triad's common measure are 4, 5, 6, 8, 10, 12).
    """
    loud = heights > GROUND * heights.max(axis=1, keepdims=True)
    dense = loud[:, :DENSE_OF].sum(axis=1) >= DENSE
    grounded: NDArray[np.bool_] = loud[:, 0] | (dense & (base < GROUND_HZ))
    return grounded


def find_series(peaks: Peaks, top_hz: float) -> tuple[list[Series], float]:
    """The notes that explain `peaks` at the least cost, and the share nobody explains."""
    if peaks.hz.size == 0:
        return [], 1.0
    strength = peaks.amplitude**COMPRESS
    strength /= strength.sum()
    tried = _try_all(peaks, strength, top_hz)
    if tried.base.size == 0:
        return [], 1.0
    chosen = _cheapest(tried, strength, peaks.amplitude > LEAST_OWN * peaks.amplitude.max())
    if not chosen:
        return [], 1.0
    series = []
    for row in chosen:
        others = [other for other in chosen if other != row]
        owned = tried.explains[row] & ~tried.explains[others].any(axis=0)
        loudest = float(peaks.amplitude[tried.explains[row]].max())
        base, stiffness = float(tried.base[row]), float(tried.stiffness[row])
        series.append(Series(base, stiffness, float(strength[owned].sum()), loudest))
    unexplained = float(strength[~tried.explains[chosen].any(axis=0)].sum())
    return sorted(series, key=lambda one: one.base_hz), unexplained


def _cheapest(tried: _Tried, strength: Floats, loud: NDArray[np.bool_]) -> list[int]:
    """Rows of the candidates that together cost least: a beam search, note by note."""
    price = NOTE_COST + HOLE_COST * tried.holes
    beam: list[tuple[float, list[int], NDArray[np.bool_]]] = [
        (1.0, [], np.zeros(strength.size, bool))
    ]
    best = beam[0]
    for _ in range(MOST_NOTES):
        longer: list[tuple[float, list[int], NDArray[np.bool_]]] = []
        for _, rows, covered in beam:
            together = tried.explains | covered
            paid = float(price[rows].sum())
            cost = 1.0 - together @ strength + price + paid
            cost[~(tried.explains & loud & ~covered).any(axis=1)] = np.inf
            longer += [
                (float(cost[row]), [*rows, int(row)], together[row])
                for row in np.argsort(cost)[:BEAM]
                if np.isfinite(cost[row])
            ]
        longer.sort(key=lambda one: one[0])
        beam = longer[:BEAM]
        if not beam or beam[0][0] >= best[0]:
            break
        best = beam[0]
    return best[1]
