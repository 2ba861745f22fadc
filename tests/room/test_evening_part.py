"""Songs, gaps and drifts of an invented rehearsal, against what truly happened in it.

The rehearsals (`tests.support.rehearsal`) have known drifts of single strings and of all
together, bends, slides, vibrato, retunings, talk and applause; what the listeners would say of
them is made up with the errors the engine has on strings. Whole evenings, and the engine itself,
are too long for a test.
"""

from __future__ import annotations

import pytest

from station.measure.types import Gap, Level
from station.room.model import Player, Reference
from station.room.room import Room
from tests.support.rehearsal import make_rehearsal
from tests.support.rehearsal_events import heard_of_events
from tests.support.rehearsal_run import evening_of, told_to_the_room


@pytest.fixture(scope="module")
def score():
    """Four songs of two minutes, everything in them."""
    rehearsal = make_rehearsal(103, songs=4)
    return told_to_the_room(rehearsal, heard_of_events(rehearsal, 103))


def test_gaps_are_found_to_the_second(score):
    assert score.gaps >= 4
    assert score.f1 >= 0.95


def test_strings_that_drifted_are_named_and_nobody_is_blamed_for_bends(score):
    assert score.tall >= 5
    assert score.recall >= 0.8
    assert score.precision == 1.0


def test_what_is_told_of_a_drift_is_as_sure_as_it_says(score):
    far = [abs(error) / unsure for error, unsure in score.known_errors]

    assert len(far) >= 10
    assert sum(each <= 3.0 for each in far) >= 0.9 * len(far)


def level(line: int, at_s: float, rms_dbfs: float) -> Level:
    return Level(line, at_s, rms_dbfs, rms_dbfs + 12.0, 0.0, False, "signal")


def test_before_anything_is_heard_nothing_is_known():
    told = evening_of().as_json(1000.0)

    assert (told["state"], told["songs"], told["drifted"]) == ("not known", 0, [])
    assert not told["told_apart"]


def test_silence_and_gaps_in_the_stream_name_nobody():
    evening = evening_of()

    for second in range(600):
        evening.hear(level(1, second / 10, -90.0), 1000.0 + second / 10)
        if second % 100 == 99:
            evening.hear(Gap(1, second / 10, 4800), 1000.0 + second / 10)
        evening.tick(1000.0 + second / 10)

    assert evening.as_json(1060.0)["drifted"] == []


def test_a_room_tells_its_evening_and_begins_anew_with_a_new_reference():
    room = Room([Player("tove", "Tove", "guitar", line=1)], Reference(440.0), 1)

    room.set_reference(442.0, "tove", "typed", "2031-05-04T18:00:00Z", 1.0)
    told = room.snapshot(2.0)["evening"]

    assert set(told) == {"state", "for_s", "songs", "common", "told_apart", "drifted"}
    assert told["drifted"] == []
