"""How loud a line is, and what is wrong with it: clipping, DC, nothing connected.

0 dBFS is amplitude 1.0, so a full-scale sine has -3.01 dBFS rms and 0 dBFS
peak (AES17 puts the sine's rms at 0 dBFS; here peaks and rms share one scale,
and the page says "dB below clipping").
"""

from __future__ import annotations

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


class LevelMeter:
    """Blocks in, a Level about four times a second out."""

    def __init__(self, rate_hz: float, line: int) -> None:
        self._line = line
        self._rate_hz = rate_hz
        self._due = round(INTERVAL_S * rate_hz)
        self.clipped_at: int | None = None
        self._clear()

    def _clear(self) -> None:
        self._count = 0
        self._sum = 0.0
        self._square = 0.0
        self._peak = 0.0
        self._clipped = False

    def push(self, block: Samples, stop: int) -> Level | None:
        """Take a block that ends at sample number `stop`; a Level when one is due."""
        if block.size:
            self._count += block.size
            self._sum += float(block.sum(dtype=np.float64))
            self._square += float(np.dot(block, block))
            self._peak = max(self._peak, float(block.max()), -float(block.min()))
        if block.size and self._peak >= CLIP_AMPLITUDE and is_clipped(block):
            self._clipped = True
            self.clipped_at = stop
        return self._level(stop) if self._count >= self._due else None

    def _level(self, stop: int) -> Level:
        mean = self._sum / self._count
        variance = max(0.0, self._square / self._count - mean**2)
        rms_dbfs = dbfs(float(np.sqrt(variance)))
        if rms_dbfs < NO_SIGNAL_DBFS:
            state = "no signal"
        else:
            state = "quiet" if rms_dbfs < QUIET_DBFS else "signal"
        at_s = stop / self._rate_hz
        level = Level(self._line, at_s, rms_dbfs, dbfs(self._peak), mean, self._clipped, state)
        self._clear()
        return level
