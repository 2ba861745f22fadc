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


def test_what_comes_after_a_cut_takes_the_place_of_what_came_before_it() -> None:
    history = History(10)
    history.append(np.arange(10.0))
    history.append(np.arange(10.0, 16.0))
    history.forget_from(13)
    assert history.stop == 13
    history.append(np.array([-1.0, -2.0]))
    np.testing.assert_array_equal(history.between(11, 20), [11.0, 12.0, -1.0, -2.0])
    history.forget_from(99)
    assert history.stop == 15
    history.forget_from(0)
    assert history.stop == history.start
