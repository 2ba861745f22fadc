"""What the ears have in common that listen beside a line's listener: samples in, hops worked on.

Samples are decimated, kept for some seconds, and worked on in hops of fixed length, so that how
the sound is cut into blocks changes nothing. What an ear makes of a hop is its own.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from typing import Generic, TypeVar

import numpy as np

from station.errors import SignalError
from station.measure.decimate import WORKING_RATE_HZ, Decimator, Samples
from station.measure.history import History
from station.measure.levels import LevelMeter

LONGEST_BLOCK_S = 0.5  # of more at once so much is heard at a time

Told = TypeVar("Told")


class HopEar(ABC, Generic[Told]):
    """Listens to line `line` (counted from 1) at `rate_hz`, 8 to 192 kHz, in hops of `hop_s`.

    The last `kept_s` are kept, at a rate of at least `least_hz`. Raises SignalError for an
    impossible rate, and from `push` for samples of the wrong shape or not finite.
    """

    def __init__(
        self,
        rate_hz: float,
        line: int,
        hop_s: float,
        kept_s: float,
        least_hz: float = WORKING_RATE_HZ,
    ) -> None:
        self._line = line
        self._rate_hz = rate_hz
        self._decimator = Decimator(rate_hz, least_hz)
        self._rate = self._decimator.rate_hz
        self._hop = max(8, round(hop_s * self._rate))
        self._history = History(round(kept_s * self._rate))
        self._meter = LevelMeter(rate_hz, line)
        self._taken = 0  # samples of the line
        self._done = 0  # working samples seen in hops
        self._base = 0  # the first working sample after a gap
        self._origin_s = 0.0  # of working sample 0

    def push(self, block: Samples) -> list[Told]:
        """Take the next samples, shape (n,), full scale 1.0; what they let us tell."""
        if block.ndim != 1:
            raise SignalError(f"a line takes samples of shape (n,), not {block.shape}")
        if not math.isfinite(float(np.dot(block, block))):
            raise SignalError(f"line {self._line}: a sample is not a finite number")
        most = max(1, round(LONGEST_BLOCK_S * self._rate_hz))
        told: list[Told] = []
        for first in range(0, block.size, most):
            told += self._hear(np.asarray(block[first : first + most], np.float32))
        return told

    def mark_gap(self, lost_frames: int) -> list[Told]:
        """Samples were lost: tell what was heard, start afresh after them."""
        told = self.finish()
        self._taken += max(0, lost_frames)
        self._decimator.reset()
        self._done = self._base = self._history.stop
        self._origin_s = self._taken / self._rate_hz - self._history.stop / self._rate
        self._start_afresh()
        return told

    @abstractmethod
    def finish(self) -> list[Told]:
        """The stream ends: what still sounds, as far as it was heard."""

    @abstractmethod
    def _start_afresh(self) -> None:
        """Forget what was struck before a gap."""

    @abstractmethod
    def _step(self) -> list[Told]:
        """What the hop that ends at `_done` lets us tell."""

    def _keep(self, decimated: Samples) -> None:
        """Keep the next samples at the working rate."""
        self._history.append(decimated)

    def _hear(self, block: Samples) -> list[Told]:
        self._taken += block.size
        self._meter.push(block, self._taken)
        self._keep(self._decimator.push(block))
        told: list[Told] = []
        while self._done + self._hop <= self._history.stop:
            self._done += self._hop
            told += self._step()
        return told
