"""When a line's hum is news, and what is said of it."""

from __future__ import annotations

import pytest

from station.room.mains import LOUD_DBFS, STAYS_S, LineHum, hum_words, is_loud, mains_hz


@pytest.mark.parametrize(("hz", "mains"), [(49.8, 50), (50.2, 50), (59.8, 60), (60.2, 60)])
def test_the_mains_is_the_nearer_of_50_and_60_hz(hz, mains):
    assert mains_hz(hz) == mains


def test_hum_is_news_when_it_is_first_heard_and_when_it_moved_by_enough():
    line = LineHum()

    said = [
        line.hear(hz, dbfs, 0.0)
        for hz, dbfs in ((50.0, -60.0), (50.04, -60.9), (50.06, -60.0), (50.06, -61.1))
    ]

    assert said == [True, False, True, True]
    assert (line.hz, line.dbfs) == (50.06, -61.1)


def test_hum_that_creeps_is_news_once_it_has_come_far_enough_from_what_was_told():
    line = LineHum()

    said = [line.hear(50.0, -60.0 + 0.4 * step, 0.0) for step in range(7)]

    assert said == [True, False, False, True, False, False, True]


def test_a_line_that_never_hummed_has_no_news():
    line = LineHum()

    assert [line.hear(None, None, now_s) for now_s in (0.0, 10.0)] == [False, False]
    assert (line.hz, line.dbfs) == (None, None)


def test_hum_that_comes_back_after_it_had_gone_is_news_again():
    line = LineHum()
    line.hear(50.0, -60.0, 0.0)

    assert line.hear(None, None, STAYS_S)
    assert not line.hear(None, None, STAYS_S + 1.0)
    assert line.hear(50.0, -60.0, STAYS_S + 2.0)


def test_hum_is_said_in_hertz_and_dbfs_and_is_loud_above_the_limit_alone():
    assert hum_words(50.031, -41.23) == "mains hum 50.03 Hz, -41.2 dBFS"
    assert is_loud(LOUD_DBFS + 0.1)
    assert not is_loud(LOUD_DBFS)
    assert not is_loud(None)
