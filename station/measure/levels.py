"""How loud a line is, and what is wrong with it: clipping, DC, nothing connected.

0 dBFS is amplitude 1.0, so a full-scale sine has -3.01 dBFS rms and 0 dBFS
peak (AES17 puts the sine's rms at 0 dBFS; here peaks and rms share one scale,
and the page says "dB below clipping").
"""

from __future__ import annotations

import math

import numpy as np

from station.measure.decimate import Samples
from station.measure.types import Level

INTERVAL_S = 0.25
FLOOR_DBFS = -150.0
CLIP_AMPLITUDE = 0.999
CLIP_RUN = 3  # samples in a row at full scale: one alone may be a true peak
NO_SIGNAL_DBFS = -96.0  # under the rounding noise of 16 bits: nothing is connected
QUIET_DBFS = -60.0


def dbfs(amplitude: float) -> float:
    """Amplitude (1.0 = full scale) in dBFS, floored at -150."""
    return max(FLOOR_DBFS, 20 * float(np.log10(max(amplitude, 1e-12))))


def is_clipped(block: Samples) -> bool:
    """Whether `block`, shape (n,), holds CLIP_RUN samples in a row at full scale."""
    full = np.abs(block) >= CLIP_AMPLITUDE
    if not full.any():
        return False
    runs = np.convolve(full.astype(np.int8), np.ones(CLIP_RUN, np.int8), "valid")
    return bool((runs == CLIP_RUN).any())


def _peak(x: Samples) -> float:
    return max(float(x.max()), -float(x.min()))


def level_of(x: Samples, line: int, at_s: float) -> Level:
    """The level of all of `x`, shape (n,) with n at least 1, which ends at `at_s`."""
    mean = float(x.mean(dtype=np.float64))
    square = float(np.dot(x, x)) / x.size
    rms_dbfs = dbfs(math.sqrt(max(0.0, square - mean**2)))
    peak = _peak(x)
    if rms_dbfs < NO_SIGNAL_DBFS:
        state = "no signal"
    else:
        state = "quiet" if rms_dbfs < QUIET_DBFS else "signal"
    clipped = peak >= CLIP_AMPLITUDE and is_clipped(x)
    return Level(line, at_s, rms_dbfs, dbfs(peak), mean, clipped, state)


class LevelMeter:
    """Blocks in, a Level every INTERVAL_S out, however the sound is cut into blocks."""

    def __init__(self, rate_hz: float, line: int) -> None:
        self._line = line
        self._rate_hz = rate_hz
        self._interval = round(INTERVAL_S * rate_hz)
        self._parts: list[Samples] = []
        self._count = 0
        self.clipped_at: int | None = None
        """Number of the sample at whose block's end the line last clipped, or None."""

    def push(self, block: Samples, stop: int) -> list[Level]:
        """Take a block that ends at sample number `stop`; the levels that fell due."""
        if block.size and _peak(block) >= CLIP_AMPLITUDE and is_clipped(block):
            self.clipped_at = stop
        levels = []
        begin = stop - block.size
        while self._count + block.size >= self._interval:
            missing = self._interval - self._count
            self._parts.append(block[:missing])
            begin += missing
            whole: Samples = np.concatenate(self._parts)
            levels.append(level_of(whole, self._line, begin / self._rate_hz))
            block, self._parts, self._count = block[missing:], [], 0
        if block.size:
            self._parts.append(block)
            self._count += block.size
        return levels
