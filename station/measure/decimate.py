"""Lower the sample rate before measuring: strings need 5 kHz, sound cards give 22 to 96.

A linear-phase low-pass (windowed sinc, Kaiser window; Oppenheim & Schafer,
Discrete-Time Signal Processing, "Design by windowing") followed by taking
every D-th sample. Pass band to 0.34 of the new rate, stop band from 0.66 of
it at -80 dB: what aliases falls above the pass band, where nothing is read.
A decimated frequency is the true frequency; nothing is rounded to a new rate.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from station.errors import SignalError

Samples = NDArray[np.float32]

LOWEST_RATE_HZ = 8000
HIGHEST_RATE_HZ = 192000
WORKING_RATE_HZ = 14000  # the least decimated rate: 0.34 of it is 4.7 kHz, above a piano's top C
FINE_RATE_HZ = 40000  # at which high notes are settled, with partials up to where hearing ends
PASS_SHARE = 0.34
STOP_SHARE = 0.66
WHOLE_SHARE = (
    0.45  # a converter's own filter passes so much of its rate (common practice, no source)
)
STOP_DB = 80.0
DELAY_TAPS_PER_FACTOR = 8


def decimation_factor(rate_hz: float, least_rate_hz: float = WORKING_RATE_HZ) -> int:
    """By how much `rate_hz` is divided so that `least_rate_hz` is left.

    Raises SignalError outside 8 to 192 kHz.
    """
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SignalError(
            f"sample rate {rate_hz:g} Hz is outside {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
        )
    return max(1, int(rate_hz // least_rate_hz))


@lru_cache(maxsize=16)
def low_pass(factor: int) -> NDArray[np.float32]:
    """The filter for `factor`: odd length, unit gain at 0 Hz."""
    half = DELAY_TAPS_PER_FACTOR * factor
    n = np.arange(-half, half + 1)
    cutoff = (PASS_SHARE + STOP_SHARE) / 2 / factor  # cycles a sample at the input rate
    beta = 0.1102 * (STOP_DB - 8.7)  # Kaiser's formula for the attenuation wanted
    taps = 2 * cutoff * np.sinc(2 * cutoff * n) * np.kaiser(n.size, beta)
    scaled: NDArray[np.float32] = (taps / taps.sum()).astype(np.float32)
    return scaled


class Decimator:
    """Blocks in, decimated blocks out; sample m of the output stands at input sample m D."""

    def __init__(self, rate_hz: float, least_rate_hz: float = WORKING_RATE_HZ) -> None:
        self.factor = decimation_factor(rate_hz, least_rate_hz)
        self.rate_hz = rate_hz / self.factor
        self.top_share = PASS_SHARE if self.factor > 1 else WHOLE_SHARE  # of its rate, undisturbed
        self._taps = low_pass(self.factor) if self.factor > 1 else np.ones(1, np.float32)
        # An output needs the input so long past the sample it stands at.
        self.delay_s = (self._taps.size - 1) / 2 / rate_hz
        self.reset()

    def reset(self) -> None:
        """Forget everything: the next sample is the first, and was so before it, too."""
        self._kept: Samples | None = None

    def push(self, block: Samples) -> Samples:
        """Filter and decimate `block`, shape (n,); returns what has become final."""
        if self.factor == 1 or not block.size:
            return block
        if self._kept is None:
            # Silence before it would make a stroke of a converter's offset.
            self._kept = np.full((self._taps.size - 1) // 2, block[0], np.float32)
        x: Samples = np.concatenate((self._kept, block)).astype(np.float32, copy=False)
        y = _filtered(x, self._taps, self.factor)
        self._kept = x[y.size * self.factor :].copy()
        return y


def _filtered(x: Samples, taps: NDArray[np.float32], factor: int) -> Samples:
    """Every `factor`-th output of the filter, as far as all of its input is in `x`, shape (n,)."""
    outputs = max(0, (x.size - taps.size) // factor + 1)
    # Only the outputs that are kept: one window of the input each.
    strides = (factor * x.itemsize, x.itemsize)
    windows: Samples = np.ndarray((outputs, taps.size), x.dtype, x, 0, strides)
    y: Samples = np.einsum("ij,j->i", windows, taps)
    return y


def lowered(x: Samples, factor: int) -> Samples:
    """`x`, shape (n,), at its rate over `factor`, without the filter's length at either end."""
    if factor == 1:
        return x
    return _filtered(np.ascontiguousarray(x, np.float32), low_pass(factor), factor)
