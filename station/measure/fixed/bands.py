"""The bins about a note's partials, in which its reeds' lines are looked for."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, partial_frequencies
from station.measure.fixed.partials import Tone, clear_of
from station.measure.fixed.spectrum import REACH, Spectrum, noise_around
from station.measure.windows import TINY_POWER, Floats, Phasors

MOST_PARTIALS = 6
SWAY_HZ = 9.0  # tremulants and hands sway 3 to 8 times a second (common practice, no source)
MOST_BINS = 192
WIDEST_CENTS = 32.0  # reeds tuned further apart sound as two notes (common practice, no source)


class Bands(NamedTuple):
    """Bins around the partials `numbers`, (p, j); zero, not `inside`, where a band is shorter.

    `offset` is each bin's distance from the partial in bins, `bins_per_ratio` (p,) how
    many bins a ratio of one makes, `noise` (p,) power in a bin.
    """

    numbers: Floats
    heard: Phasors
    parts: Floats  # the same, (p, j, 2) real and imaginary
    inside: NDArray[np.bool_]
    offset: Floats
    bins_per_ratio: Floats
    noise: Floats
    seconds: float

    @property
    def power(self) -> Floats:
        """All power in each band, shape (p,)."""
        total: Floats = np.square(np.abs(self.heard)).sum(axis=1) + TINY_POWER
        return total


def bands_of(spectrum: Spectrum, tone: Tone, others_hz: Floats) -> Bands | None:
    """The bands of the partials that tell most; None where none stands clear of the others."""
    size = np.abs(tone.lines.amplitude)
    hz = partial_frequencies(tone.hz, tone.stiffness, tone.numbers)
    half_hz = np.maximum(hz * (WIDEST_CENTS / CENTS), SWAY_HZ) + REACH / spectrum.seconds
    fits = (half_hz < 0.45 * tone.hz) & (2 * half_hz * spectrum.seconds < MOST_BINS)
    fits &= clear_of(hz, others_hz, spectrum.seconds, half_hz)
    fits &= hz + half_hz < spectrum.top_hz - 1
    usable = np.flatnonzero(fits)
    if usable.size == 0:
        return None
    # Higher partials tell reeds apart k times as well, as long as they are heard.
    merit = size[usable] * np.minimum(tone.numbers[usable], 4)
    chosen = np.sort(usable[np.argsort(-merit)[:MOST_PARTIALS]])
    centre = np.rint(hz[chosen] * spectrum.seconds).astype(np.intp)
    half = np.ceil(half_hz[chosen] * spectrum.seconds).astype(np.intp)
    j = np.arange(-int(half.max()), int(half.max()) + 1)
    inside = np.abs(j) <= half[:, None]
    at = np.clip(centre[:, None] + j, 1, spectrum.bins.size - 1)
    heard = np.where(inside, spectrum.bins[at], 0.0)
    middle = hz[chosen] * spectrum.seconds
    return Bands(
        tone.numbers[chosen],
        heard,
        np.stack((heard.real, heard.imag), axis=2),
        inside,
        centre[:, None] + j - middle[:, None],
        middle,
        noise_around(spectrum, centre),
        spectrum.seconds,
    )


def beside(tone: Tone, bands: Bands) -> float:
    """The share of power in the bands that single lines, growing or fading, do not explain."""
    near = np.abs(bands.offset) <= REACH
    power = np.square(np.abs(bands.heard))
    around = np.where(near, power, 0.0).sum(axis=1)
    further = power.sum(axis=1) - around - bands.noise * (bands.inside & ~near).sum(axis=1)
    left = tone.lines.misfit[np.isin(tone.numbers, bands.numbers)] * around
    return float((left + np.maximum(further, 0.0)).sum() / power.sum())
