"""Narrow bands of a sound: where its lines are, and their complex envelopes.

A band is heard through Hann windows (`windows.py`) stepped by a quarter of their length: a
line within a window's lobe keeps its frequency and decay whatever the window does to its
level; neighbours outside the lobe are 31 dB down and more (Harris 1978, table I).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.beats.poles import TINY, Envelope, Floats
from station.measure.windows import Windows

STEPS_A_WINDOW = 4
HANN_BANDWIDTH = 1.5  # bins of independent noise (Harris 1978, table I)
LOOK_S = 2.0
FLOOR_HZ = 60.0  # the noise around a line is the median of so much of the spectrum
PEAK_BINS = 2

Sound = NDArray[np.floating[Any]]


class Look(NamedTuple):
    """A spectrum: power in bins `bin_hz` apart, and the noise there, shapes (n,)."""

    power: Floats
    floor: Floats
    bin_hz: float

    def around(self, hz: float, within_hz: float) -> slice:
        """The bins so near a frequency."""
        low = max(1, int((hz - within_hz) / self.bin_hz))
        return slice(low, max(low + 1, int((hz + within_hz) / self.bin_hz) + 2))

    def peak(self, hz: float, within_hz: float) -> tuple[float, float, float]:
        """The loudest bin near a frequency: where, its power, and its power over the noise."""
        bins = self.around(hz, within_hz)
        part = self.power[bins]
        if not part.size:
            return hz, 0.0, 0.0
        at = bins.start + int(part.argmax())
        power = float(self.power[at])
        return at * self.bin_hz, power, power / float(self.floor[at])

    def centre(self, hz: float, within_hz: float) -> float:
        """The middle of the power near a frequency, what is 20 dB below the loudest left out."""
        bins = self.around(hz, within_hz)
        part = self.power[bins]
        if not part.size or part.max() <= 0:
            return hz
        loud = np.where(part > 0.01 * part.max(), part, 0.0)
        at = np.arange(bins.start, bins.start + part.size)
        return float((at * loud).sum() / loud.sum()) * self.bin_hz


def look(x: Sound, rate_hz: float) -> Look:
    """The spectrum of the first two seconds of `x`, shape (n,)."""
    part = np.asarray(x[: round(LOOK_S * rate_hz)], np.float64)
    part = (part - part.mean()) * np.hanning(part.size)
    size = 1 << (2 * part.size - 1).bit_length()
    power: Floats = np.square(np.abs(np.fft.rfft(part, size)))
    bin_hz = rate_hz / size
    wide = max(8, round(FLOOR_HZ / bin_hz))
    blocks = power[: power.size // wide * wide].reshape(-1, wide)
    middle = np.median(blocks, axis=1) / np.log(2)  # of an exponential spread, its mean
    at = (np.arange(middle.size) + 0.5) * wide
    floor: Floats = np.interp(np.arange(power.size), at, middle) + TINY
    return Look(power, floor, bin_hz)


def envelopes(x: Sound, rate_hz: float, centres_hz: Floats, window_s: float) -> list[Envelope]:
    """The envelopes of bands at `centres_hz`, shape (b,), of the sound `x`, shape (n,)."""
    size = max(8, round(window_s * rate_hz))
    step = max(1, size // STEPS_A_WINDOW)
    sound = np.ascontiguousarray(x, np.float32)
    heard = Windows(centres_hz, rate_hz, size).hear(sound, step)
    t: Floats = np.arange(heard.shape[0]) * (step / rate_hz)
    still = heard * np.exp(-2j * np.pi * centres_hz * t[:, None])
    worth = min(1.0, HANN_BANDWIDTH * step / size)
    return [Envelope(np.ascontiguousarray(y), t, worth) for y in still.T]
