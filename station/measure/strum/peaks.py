"""The peaks of a strum's spectrum, and which series of a string's partials they allow.

One long spectrum of the whole strum: peaks two hertz apart stand apart. A string lies within
so many cents of its target; each pitch there, with several stiffnesses, is worth what peaks
stand at its partials. Peaks another string explains count for little, so that a string is
not found in its neighbour's partials while its own are there.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, Row, apart_cents, partial_frequencies, solve
from station.measure.hypothesis import harris_window, most_stretched
from station.measure.windows import Floats

LOBE_BINS = 3.0  # half width of the window's main lobe, in units of 1 / length
RANGE_DB = 60.0
FLOOR_HZ = 300.0
OVER_FLOOR = 4.0  # amplitude over the lower quartile of what lies around: noise's peaks stay under
REACH_CENTS = 65.0
STEP_CENTS = 1.0
SEARCHED = 12  # partials
STIFFNESS_STEPS = (0.0, 0.03, 0.08, 0.2, 0.45, 0.9)  # of the largest to expect
SLACK_LOBES = 0.25
SLACK_CENTS = 1.2
CLAIMED_WORTH = 0.5
HOLE_COST = 0.3  # of a low partial where no peak stands
LOW_PARTIALS = 4
EXPLAINED_WORTH = 0.1
STANDING = 6  # partials
WIDTH_CENTS = 90.0  # a distant pitch is worth a little less: exp(-(c / this)^2 / 2)
PASSES = 3


class Peaks(NamedTuple):
    """Ascending `hz` (n,), amplitudes (n,), worth from 0 to 1 (n,), a main lobe's half width."""

    hz: Floats
    amplitude: Floats
    worth: Floats
    lobe_hz: float


class Series(NamedTuple):
    """One string's partials: first partial `hz`, B, and the standard deviation in cents."""

    hz: float
    stiffness: float
    cents_sd: float


def peaks_of(x: Floats, rate_hz: float, top_hz: float) -> Peaks | None:
    """Peaks of the spectrum of `x`, shape (n,), below `top_hz`; None in digital silence."""
    window = harris_window(x.size)
    padded = 1 << int(np.ceil(np.log2(x.size * 2)))
    spectrum = np.abs(np.fft.rfft((x - x.mean()) * window, padded)) * (2 / window.sum())
    bin_hz = rate_hz / padded
    top = min(spectrum.size - 1, int(top_hz / bin_hz))
    first = max(2, int(16.0 / bin_hz))
    inner = spectrum[first:top]
    loudest = float(inner.max()) if inner.size else 0.0
    if loudest <= 0.0:
        return None
    floor = np.maximum(_floor(inner, int(FLOOR_HZ / bin_hz)), loudest * 10 ** (-RANGE_DB / 20))
    is_peak = (inner > spectrum[first - 1 : top - 1]) & (inner >= spectrum[first + 1 : top + 1])
    at = np.flatnonzero(is_peak & (inner > floor))
    level = np.log10(inner[at] / floor[at]) * 20 / RANGE_DB
    at += first
    low, mid, high = (np.log(spectrum[at + step] + 1e-300) for step in (-1, 0, 1))
    curve = np.minimum(low - 2 * mid + high, -1e-9)
    shift = np.clip(0.5 * (low - high) / curve, -0.5, 0.5)
    amplitude = np.exp(mid - 0.25 * (low - high) * shift)
    worth = np.clip(level, 0.0, 1.0) ** 0.5
    return Peaks((at + shift) * bin_hz, amplitude, worth, LOBE_BINS * rate_hz / x.size)


def _floor(magnitude: Floats, block: int) -> Floats:
    """OVER_FLOOR times the lower quartile of each `block` bins, as amplitude."""
    count = max(1, magnitude.size // block)
    parts = np.array_split(magnitude, count)
    levels = [float(np.partition(part, part.size // 4)[part.size // 4]) for part in parts]
    return np.repeat(levels, [part.size for part in parts]) * OVER_FLOOR


def nearest(peaks: Peaks, hz: Floats) -> NDArray[np.intp]:
    """The index of the peak nearest to each frequency, shape of `hz`."""
    after = np.minimum(np.searchsorted(peaks.hz, hz), peaks.hz.size - 1)
    before = np.maximum(after - 1, 0)
    closer = np.abs(peaks.hz[before] - hz) < np.abs(peaks.hz[after] - hz)
    found: NDArray[np.intp] = np.where(closer, before, after)
    return found


def slack_of(peaks: Peaks, hz: Floats) -> Floats:
    """How far from its place a partial's peak may lie, Hz."""
    slack: Floats = SLACK_LOBES * peaks.lobe_hz + hz * (SLACK_CENTS / CENTS)
    return slack


def best_series(peaks: Peaks, target_hz: float, worth: Floats, top_hz: float) -> Series:
    """The pitch near `target_hz` whose partials most of `worth`, shape (peaks,), stands at."""
    cents = np.arange(-REACH_CENTS, REACH_CENTS + STEP_CENTS / 2, STEP_CENTS)
    stiffness = np.array(STIFFNESS_STEPS) * most_stretched(target_hz)
    k = np.arange(1.0, 1 + max(1, min(SEARCHED, int(top_hz / target_hz))))
    first = target_hz * np.exp(cents / CENTS)
    stretch = np.sqrt((1 + stiffness[:, None] * k * k) / (1 + stiffness[:, None]))
    hz = first[:, None, None] * (k * stretch)
    at = nearest(peaks, hz)
    off = (peaks.hz[at] - hz) / slack_of(peaks, hz)
    there = np.maximum(0.0, 1 - np.square(off))
    each = worth[at] * there - HOLE_COST * (1 - there) * (k <= LOW_PARTIALS)
    weight = 1 / np.sqrt(k)
    score = each @ weight * np.exp(-0.5 * np.square(cents / WIDTH_CENTS))[:, None]
    row, column = np.unravel_index(int(np.argmax(score)), score.shape)
    rough = Series(float(first[row]), float(stiffness[column]), 3.0)
    return refined(peaks, rough, worth, top_hz) or rough


def refined(peaks: Peaks, series: Series, worth: Floats, top_hz: float) -> Series | None:
    """The same from the peaks that stand near its partials, those that are its own if it has."""
    k = np.arange(1.0, 1 + max(1, min(SEARCHED, int(top_hz / series.hz))))
    hz = partial_frequencies(series.hz, series.stiffness, k)
    at = nearest(peaks, hz)
    near = (np.abs(peaks.hz[at] - hz) < 1.5 * slack_of(peaks, hz)) & (worth[at] > 0)
    own = near & (worth[at] >= peaks.worth[at])
    if np.count_nonzero(own) >= 2:
        near = own
    if not near.any():
        return None
    sd = 0.02 * peaks.lobe_hz
    rows: list[Row] = [
        (float(n), float(f), sd) for n, f in zip(k[near], peaks.hz[at[near]], strict=True)
    ]
    fit = solve(rows, 1.0)
    if fit is None or apart_cents(fit.hz, series.hz) > 6.0:
        return None
    return Series(fit.hz, fit.inharmonicity, max(0.1, fit.uncertainty_cents))


def unclaimed(peaks: Peaks, series: Sequence[Series], top_hz: float) -> Floats:
    """What each peak is worth when all that `series` explain are worth little, (peaks,)."""
    worth: Floats = peaks.worth * np.where(claimed_by(peaks, series, top_hz), EXPLAINED_WORTH, 1.0)
    return worth


def standing(peaks: Peaks, series: Series, worth: Floats, top_hz: float) -> int:
    """How many of the lower partials of `series` a peak stands at that has kept its `worth`."""
    k = np.arange(1.0, 1 + max(1, min(STANDING, int(top_hz / series.hz))))
    hz = partial_frequencies(series.hz, series.stiffness, k)
    at = nearest(peaks, hz)
    near = np.abs(peaks.hz[at] - hz) < slack_of(peaks, hz)
    return int(np.count_nonzero(near & (worth[at] >= peaks.worth[at])))


def assign(peaks: Peaks, targets_hz: Sequence[float], top_hz: float) -> list[Series]:
    """A series for every string, lowest first; each again with what the others explain."""
    found: list[Series | None] = [None] * len(targets_hz)
    for number in range(PASSES):
        before = list(found)
        for place, target_hz in enumerate(targets_hz):
            others = [s for i, s in enumerate(found) if i != place and s is not None]
            claimed = claimed_by(peaks, others, top_hz)
            worth = peaks.worth * np.where(claimed, CLAIMED_WORTH, 1.0)
            found[place] = best_series(peaks, target_hz, worth, top_hz)
        if number and found == before:
            break
    return [each for each in found if each is not None]


def claimed_by(peaks: Peaks, series: Sequence[Series], top_hz: float) -> NDArray[np.bool_]:
    """Which peaks stand at a partial of one of `series`, shape (peaks,)."""
    claimed = np.zeros(peaks.hz.size, bool)
    for each in series:
        k = np.arange(1.0, 1 + max(1, int(top_hz / each.hz)))
        hz = partial_frequencies(each.hz, each.stiffness, k)
        hz = hz[hz < top_hz]
        if not hz.size:
            continue
        at = nearest(peaks, hz)
        claimed[at[np.abs(peaks.hz[at] - hz) < slack_of(peaks, hz)]] = True
    return claimed
