"""How loud a line is, and what is wrong with it: clipping, DC, nothing connected.

0 dBFS is amplitude 1.0, so a full-scale sine has -3.01 dBFS rms and 0 dBFS
peak (AES17 puts the sine's rms at 0 dBFS; here peaks and rms share one scale).
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from station.measure.decimate import Samples
from station.measure.types import Level
from station.measure.windows import plain

INTERVAL_S = 0.25
FLOOR_DBFS = -150.0  # 24 bits round with -149
CLIP_AMPLITUDE = 0.999  # full scale but for the last 33 steps of 16 bits
BEYOND_AMPLITUDE = 1.0001  # samples in floating point may be louder than that: they are whole
CLIP_RUN = 3  # samples in a row at full scale: one alone may be a true peak
# 16 bits round with -101 dBFS of noise, and their last bit toggling is -96 at most: nothing is
# connected. (1 / sqrt(12) and 1/2 of a step of 2^-15.)
NO_SIGNAL_DBFS = -96.0
QUIET_DBFS = -60.0
CLIPS_KEPT = 4096
CLIPS_AN_INTERVAL = 25  # noted at most every 10 ms
MOST_CLIPPED = 0.97  # of a stretch: even of a square wave some samples lie between


def dbfs(amplitude: float) -> float:
    """Amplitude (1.0 = full scale) in dBFS, floored at -150."""
    return max(FLOOR_DBFS, 20 * float(np.log10(max(amplitude, 1e-12))))


def clips(block: Samples) -> NDArray[np.intp]:
    """Where in `block`, shape (n,), CLIP_RUN samples in a row at full scale begin."""
    full = _at_full_scale(block)
    if not full.any():
        return np.empty(0, np.intp)
    runs = np.convolve(full.astype(np.int8), np.ones(CLIP_RUN, np.int8), "valid")
    return np.flatnonzero(runs == CLIP_RUN)


def _at_full_scale(x: Samples) -> NDArray[np.bool_]:
    amplitude = np.abs(x)
    return (amplitude >= CLIP_AMPLITUDE) & (amplitude <= BEYOND_AMPLITUDE)


def _peak(x: Samples) -> float:
    return max(float(np.maximum.reduce(x)), -float(np.minimum.reduce(x)))


def level_of(x: Samples, line: int, at_s: float) -> Level:
    """The level of all of `x`, shape (n,) with n at least 1, which ends at `at_s`."""
    mean = float(np.add.reduce(x)) / x.size  # summed in pairs: as exact as single precision is
    swing = x - np.float32(mean)
    rms_dbfs = dbfs(math.sqrt(float(swing.dot(swing)) / x.size))
    peak = _peak(x)
    if rms_dbfs < NO_SIGNAL_DBFS:
        state = "no signal"
    else:
        state = "quiet" if rms_dbfs < QUIET_DBFS else "signal"
    clipped = peak >= CLIP_AMPLITUDE and clips(x).size > 0
    return Level(line, at_s, rms_dbfs, dbfs(peak), mean, clipped, state)


class LevelMeter:
    """Blocks in, a Level every INTERVAL_S out, however the sound is cut into blocks."""

    def __init__(self, rate_hz: float, line: int) -> None:
        self._line = line
        self._rate_hz = rate_hz
        self._interval = round(INTERVAL_S * rate_hz)
        self._parts: list[Samples] = []
        self._count = 0
        self._edge: Samples = np.zeros(0, np.float32)  # a run may go on in the next block
        self._clips: deque[int] = deque(maxlen=CLIPS_KEPT)
        self._slot = max(1, self._interval // CLIPS_AN_INTERVAL)
        self._full: deque[tuple[int, int]] = deque(maxlen=CLIPS_KEPT)  # slot, samples in it

    def clipped_between(self, start: int, stop: int) -> bool:
        """Whether the line clipped from sample number `start` to before `stop`, lately."""
        return any(start <= at < stop for at in self._clips)

    def clipped_share(self, start: int, stop: int) -> float:
        """Which share of the samples from number `start` to before `stop` is at full scale."""
        first, last = start // self._slot, -(-stop // self._slot)
        count = 0
        for slot, full in reversed(self._full):
            if slot < first:
                break
            count += full if slot < last else 0
        return min(MOST_CLIPPED, count / (max(1, last - first) * self._slot))

    def last_clip(self, start: int, stop: int) -> int:
        """Number of a sample soon after which nothing clips until `stop`; `start` if nothing does.

        Where more than one sample in a hundred clips, that is.
        """
        often = self._slot // 100
        late = (slot for slot, full in reversed(self._full) if full > often)
        last = next((slot for slot in late if slot * self._slot < stop), -1)
        return max(start, (last + 1) * self._slot)

    def push(self, block: Samples, stop: int) -> list[Level]:
        """Take a block that ends at sample number `stop`; the levels that fell due."""
        self._note_clips(block, stop)
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

    def _note_clips(self, block: Samples, stop: int) -> None:
        if not block.size:
            return
        if _peak(block) >= CLIP_AMPLITUDE:
            whole: Samples = np.concatenate((self._edge, block))
            for at in clips(whole) + (stop - whole.size):
                # One entry for what clips in one go is enough to answer by.
                if not self._clips or at - self._clips[-1] >= self._slot:
                    self._clips.append(int(at))
            self._count_full(block, stop - block.size)
        kept = CLIP_RUN - 1
        if block.size < kept:
            block = np.concatenate((self._edge, block))
        self._edge = block[-kept:].copy()

    def _count_full(self, block: Samples, begin: int) -> None:
        """Note how many samples of `block`, which begins at sample `begin`, are at full scale."""
        at = np.flatnonzero(_at_full_scale(block)) + begin
        slots, counts = np.unique(at // self._slot, return_counts=True)
        for slot, count in zip(plain(slots), plain(counts), strict=True):
            if self._full and self._full[-1][0] == slot:
                count += self._full.pop()[1]
            self._full.append((slot, count))
