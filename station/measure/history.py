"""The last seconds of one line, by sample number."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


class History:
    """A sliding store of samples; `start` and `stop` number the samples held."""

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._store = np.zeros(2 * capacity)
        self._end = 0  # how much of the store is filled
        self.stop = 0

    @property
    def start(self) -> int:
        """Number of the oldest sample held."""
        return self.stop - self._end

    def append(self, samples: NDArray[np.float64]) -> None:
        """Add `samples`, shape (n,), n at most the capacity; the oldest give way."""
        if self._end + samples.size > self._store.size:
            kept = self._capacity - samples.size
            self._store[:kept] = self._store[self._end - kept : self._end]
            self._end = kept
        self._store[self._end : self._end + samples.size] = samples
        self._end += samples.size
        self.stop += samples.size

    def between(self, start: int, stop: int) -> NDArray[np.float64]:
        """The samples numbered start to stop, as far as they are still held (a view)."""
        first = max(start, self.start) - self.start
        return self._store[first : max(first, stop - self.start)]
