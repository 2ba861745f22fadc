"""The last seconds of a line, by sample number."""

from __future__ import annotations

import numpy as np

from station.measure.history import History


def test_samples_are_found_by_their_number_long_after_the_store_wrapped() -> None:
    history = History(100)
    count = 0
    for size in [7, 30, 1, 64, 99, 100, 3] * 5:
        history.append(np.arange(count, count + size, dtype=float))
        count += size
        assert history.stop == count
        newest = history.between(count - min(100, count), count)
        np.testing.assert_array_equal(newest, np.arange(count - newest.size, count))
        assert newest.size == min(100, count)


def test_what_was_forgotten_is_left_out() -> None:
    history = History(10)
    for start in range(0, 60, 10):
        history.append(np.arange(start, start + 10, dtype=float))
    assert history.start > 0
    assert history.between(0, history.stop)[0] == history.start
    assert history.between(0, 5).size == 0
