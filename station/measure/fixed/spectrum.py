"""The lines of a sound that holds still: one Hann-windowed spectrum of the whole of it.

A Hann window (Harris 1978, "On the use of windows for harmonic analysis") of length T
makes of a steady sine a line with the shape g(n) = sinc(n) / (1 - n^2), n counted in
bins of 1 / T from its frequency, once time is counted from the middle of the window.
A sine that grows or fades is g and its derivative g' together; so is one whose
frequency is a little off (g(n - e) = g(n) - e g'(n) + ...): the real part of the ratio of the
two amplitudes is the frequency's error, the imaginary part the growth. Least squares
over the few bins of a line gives both at once (Newton's method for the nonlinear
least squares of one sinusoid; Stoica & Moses, Spectral Analysis of Signals, ch. 4).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.windows import TINY_POWER, Floats, Phasors, hann

Bins = NDArray[np.intp]

REACH = 4  # bins to either side of a line; further out g is below 1/60
NEWTON_STEPS = 3
FLOOR_BINS = 24  # to either side, in which the noise is looked for
# Bins of a Hann spectrum share their noise: covariance with the next two (Harris 1978; the
# transform of the window's square), signs as with time counted from the middle.
SHARED_NOISE = (1.0, 2 / 3, 1 / 6)
QUARTILE = 0.2877  # -ln(3/4): below it lies a quarter of noise's powers, whose mean is 1
NEAR_BIN = 1e-5
BEND_STEP = 0.02  # of a bin, to take g'' as the difference of g'


def line_shapes(first: Floats, count: int) -> tuple[Floats, Floats]:
    """g and g' at `first`, `first` + 1, ... bins from lines, shapes (*first.shape, count)."""
    whole = np.rint(first)
    rest = first - whole
    # Where a bin hits the line g is 0 / 0: a hundred-thousandth of a bin beside it is not.
    rest = np.where(np.abs(rest) < NEAR_BIN, NEAR_BIN, rest)
    steps = np.arange(count)
    sign = np.where(whole % 2 == 0, 1.0, -1.0)[..., None] * (1 - 2.0 * (steps & 1))
    n = (whole + rest)[..., None] + steps
    square = n * n
    below = n * (1 - square)
    g: Floats = sign * (np.sin(np.pi * rest) / np.pi)[..., None] / below
    slope: Floats = (sign * np.cos(np.pi * rest)[..., None] - g * (1 - 3 * square)) / below
    return g, slope


def smooth_size(most: int) -> int:
    """The largest 2^a 3^b 5^c that is at most `most`: transforms of such lengths are quick."""
    best = 1
    five = 1
    while five <= most:
        three = five
        while three <= most:
            best = max(best, three << (most // three).bit_length() - 1)
            three *= 3
        five *= 5
    return best


class Spectrum(NamedTuple):
    """`bins` (m,) complex, of a sound of `seconds`, time counted from its middle.

    A sine of amplitude 1 is a line of height 1.
    """

    bins: Phasors
    power: Floats
    seconds: float

    @property
    def top_hz(self) -> float:
        """The highest frequency held."""
        return (self.bins.size - 1) / self.seconds


def spectrum_of(x: NDArray[np.float32], rate_hz: float) -> Spectrum:
    """The spectrum of `x`, shape (n,), or nearly all of it: its middle."""
    size = smooth_size(x.size)
    first = (x.size - size) // 2
    part = x[first : first + size] - x[first : first + size].mean()
    bins: Phasors = np.fft.rfft(part * (2 * hann(size)))
    bins[1::2] *= -1  # hann() is centred half a sample late: less than any line notices
    power: Floats = np.square(bins.real) + np.square(bins.imag) + TINY_POWER
    return Spectrum(bins, power, size / rate_hz)


def limited(x: Floats, most: float) -> Floats:
    """`x` kept within -most and most; np.clip takes thrice as long for a few numbers."""
    kept: Floats = np.minimum(np.maximum(x, -most), most)
    return kept


class Lines(NamedTuple):
    """Single lines, one entry each: `hz`, complex `amplitude`, growth and what is left.

    `sd_hz` is one standard deviation from the noise beside the line, `noise` the power of
    that noise in a bin, `misfit` the share of the line's power the model leaves.
    """

    hz: Floats
    amplitude: Phasors
    sd_hz: Floats
    noise: Floats
    misfit: Floats

    def of(self, chosen: NDArray[np.bool_]) -> Lines:
        """Some of them, `chosen` of shape (p,)."""
        hz, amplitude, sd_hz, noise, misfit = self
        return Lines(hz[chosen], amplitude[chosen], sd_hz[chosen], noise[chosen], misfit[chosen])


def _slope_variance() -> float:
    """Variance of g' amplitude from noise of power 1 in each bin, g and g' fitted together."""
    basis = np.stack(line_shapes(np.array(-float(REACH)), 2 * REACH + 1), axis=1)
    inverse = np.linalg.pinv(basis)
    shared = sum(
        worth * (np.eye(len(basis), k=apart) + np.eye(len(basis), k=-apart)) / (2 - (apart > 0))
        for apart, worth in enumerate(SHARED_NOISE)
    )
    return float(inverse[1] @ shared @ inverse[1])


SLOPE_VARIANCE = _slope_variance()


def nearest_peak(spectrum: Spectrum, hz: Floats, within_hz: Floats) -> Bins:
    """The loudest bin within so much of each frequency, shapes (p,)."""
    last = spectrum.power.size - REACH - 2
    low = np.clip(np.rint((hz - within_hz) * spectrum.seconds), REACH, last).astype(np.intp)
    high = np.clip(np.rint((hz + within_hz) * spectrum.seconds), REACH, last).astype(np.intp)
    widest = int((high - low).max()) + 1
    at = np.minimum(low[:, None] + np.arange(widest), high[:, None])
    best: Bins = at[np.arange(at.shape[0]), spectrum.power[at].argmax(axis=1)]
    return best


def noise_around(spectrum: Spectrum, at: Bins) -> Floats:
    """Mean noise power in a bin near each of `at`, shape (p,), whatever lines stand there."""
    around = at[:, None] + np.arange(-FLOOR_BINS, FLOOR_BINS + 1)
    around = np.clip(around, 1, spectrum.power.size - 1)
    quarter = around.shape[1] // 4
    floor: Floats = np.partition(spectrum.power[around], quarter, axis=1)[:, quarter] / QUARTILE
    return floor


def measure_lines(spectrum: Spectrum, at: Bins) -> Lines:
    """The single lines whose loudest bins are `at`, shape (p,)."""
    heard = spectrum.bins[at[:, None] + np.arange(-REACH, REACH + 1)]
    off: Floats = np.zeros(at.size)
    for _ in range(NEWTON_STEPS):
        level, slope, _, _ = _solve(heard, off)
        off = limited(off + limited(-np.real(slope / level), 0.5), 1.5)
    level, slope, g, tilt = _solve(heard, off)
    rest = heard - level[:, None] * g - slope[:, None] * tilt
    bend = _bend(off)
    curve = (rest * bend).sum(axis=1) / np.square(bend).sum(axis=1)
    rest -= curve[:, None] * bend
    noise = noise_around(spectrum, at)
    size = np.square(np.abs(level))
    sd_bins = np.sqrt(SLOPE_VARIANCE * noise / (2 * size))
    loud = np.square(np.abs(heard)).sum(axis=1) + TINY_POWER
    misfit = np.square(np.abs(rest)).sum(axis=1) / loud
    return Lines((at + off) / spectrum.seconds, level, sd_bins / spectrum.seconds, noise, misfit)


def _bend(off: Floats) -> Floats:
    """g'' in the bins around lines `off` bins from the middle, shape (p, bins)."""
    count = 2 * REACH + 1
    above = line_shapes(BEND_STEP - REACH - off, count)[1]
    below = line_shapes(-BEND_STEP - REACH - off, count)[1]
    bend: Floats = (above - below) / (2 * BEND_STEP)
    return bend


def _solve(heard: Phasors, off: Floats) -> tuple[Phasors, Phasors, Floats, Floats]:
    """Least squares of g and g' at lines `off` bins from the middle, rows of `heard`."""
    g, slope = line_shapes(-REACH - off, 2 * REACH + 1)
    gg, gs, ss = (g * g).sum(axis=1), (g * slope).sum(axis=1), (slope * slope).sum(axis=1)
    by_g, by_slope = (heard * g).sum(axis=1), (heard * slope).sum(axis=1)
    determinant = gg * ss - gs * gs
    level = (ss * by_g - gs * by_slope) / determinant
    tilt = (gg * by_slope - gs * by_g) / determinant
    return level + TINY_POWER, tilt, g, slope
