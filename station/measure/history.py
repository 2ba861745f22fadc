"""The last seconds of one line, by sample number; also at a higher rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


class History:
    """A sliding store of samples; `start` and `stop` number the samples held."""

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._store = np.zeros(2 * capacity, np.float32)
        self._end = 0  # how much of the store is filled
        self.stop = 0

    @property
    def start(self) -> int:
        """Number of the oldest sample held."""
        return self.stop - self._end

    def append(self, samples: Samples) -> None:
        """Add `samples`, shape (n,), n at most the capacity; the oldest give way."""
        if self._end + samples.size > self._store.size:
            kept = self._capacity - samples.size
            self._store[:kept] = self._store[self._end - kept : self._end]
            self._end = kept
        self._store[self._end : self._end + samples.size] = samples
        self._end += samples.size
        self.stop += samples.size

    def forget_from(self, sample: int) -> None:
        """Forget all from sample number `sample` on: it is the next to come."""
        stop = max(self.start, min(sample, self.stop))
        self._end -= self.stop - stop
        self.stop = stop

    def between(self, start: int, stop: int) -> Samples:
        """The samples numbered start to stop, as far as they are held (a view)."""
        before = self.stop - self._end
        first = start - before if start > before else 0
        last = stop - before if stop < self.stop else self._end
        return self._store[first : max(first, last)]


class FineHistory:
    """The same seconds at `rate_hz`, `factor` times the working rate, by its sample numbers.

    `top_share` of the rate is free from what the decimator lets through.
    """

    def __init__(self, rate_hz: float, factor: int, top_share: float, seconds: float) -> None:
        self.rate_hz = rate_hz
        self.factor = factor
        self.top_share = top_share
        self._history = History(round(seconds * rate_hz))
        self._offset = 0  # fine number less `factor` times the working number

    def append(self, samples: Samples) -> None:
        """Add `samples`, shape (n,)."""
        most = round(self.rate_hz)
        for first in range(0, samples.size, most):
            self._history.append(samples[first : first + most])

    def align(self, working_stop: int) -> None:
        """The next sample is number `working_stop` at the working rate: after a gap."""
        self._offset = self._history.stop - working_stop * self.factor

    def between(self, start: int, stop: int) -> Samples:
        """The samples of working numbers start to stop, as far as they are still held (a view)."""
        first, last = start * self.factor + self._offset, stop * self.factor + self._offset
        return self._history.between(first, last)

    def holds(self, start: int) -> bool:
        """Whether nothing since working sample `start` has been forgotten."""
        return start * self.factor + self._offset >= self._history.start
