"""What of an evening is noted, and when it is stored."""

from __future__ import annotations

import itertools

import pytest

from station.record.recorder import OVER_S, READING_EVERY_S, WAITING_MAX, Recorder
from tests.support.evenings import PLAYERS, evening, snapshot

AT = "2031-05-04T18:00:00Z"


def recorded(minutes: int) -> list:
    recorder, rows = Recorder(), []
    for now_s, room in evening(minutes):
        recorder.take(room, AT, now_s)
        if recorder.due(now_s):
            rows += recorder.give(now_s)
    return rows + recorder.give(60.0 * minutes)


def of(rows, kind):
    return [row for row in rows if row.kind == kind]


def test_a_room_nobody_plays_in_has_nothing_to_store():
    recorder = Recorder()

    for second in range(1200):
        recorder.take(snapshot(evening={"state": "quiet"}), AT, float(second))

    assert not recorder.under_way
    assert not recorder.due(1200.0)


def test_a_rehearsal_begins_with_the_first_string():
    recorder = Recorder()

    recorder.take(snapshot(sounding=("tove", 6), cents=-3.0), AT, 100.0)

    assert (recorder.under_way, recorder.began_at, recorder.players) == (True, AT, PLAYERS)


def test_a_string_is_noted_once_a_minute_however_often_it_is_heard():
    rows = recorded(60)
    seen: dict[tuple[str, int | None], float] = {}

    for row in of(rows, "reading"):
        before_s = seen.get((row.player, row.string), float("-inf"))
        assert row.at_s - before_s >= READING_EVERY_S
        seen[(row.player, row.string)] = row.at_s

    assert len(seen) == 10


def test_every_reference_and_every_step_of_the_roll_call_is_noted():
    rows = recorded(60)

    assert [row.hz for row in of(rows, "reference")] == [440.0, 441.3]
    assert of(rows, "reference")[0].word == "Tove: the harmonica"
    # Each of the ten strings once: none changes its place again.
    assert sorted((row.player, row.string) for row in of(rows, "check")) == sorted(
        (player, string)
        for player, strings in (("tove", range(1, 7)), ("brannock", range(1, 5)))
        for string in strings
    )


def test_gaps_are_noted_from_where_to_where_with_who_had_drifted():
    rows = recorded(60)
    gaps = of(rows, "gap")

    # Songs of 210 s, gaps of 30 s: the last gap is still going on when the hour ends.
    assert [(row.at_s, row.end_s) for row in gaps[:2]] == [(210.0, 240.0), (450.0, 480.0)]
    assert len(gaps) == 14
    found = [row for row in of(rows, "drift") if row.player == "tove"]
    assert {row.string for row in found} == {6}
    assert [row.cents for row in of(rows, "drift") if not row.player][:1] == [-1.0]


def test_rows_are_given_at_most_once_a_minute():
    recorder, given_s = Recorder(), []

    for now_s, room in evening(20):
        recorder.take(room, AT, now_s)
        if recorder.due(now_s):
            recorder.give(now_s)
            given_s.append(now_s)

    assert len(given_s) > 4
    assert min(b - a for a, b in itertools.pairwise(given_s)) >= 60.0


def test_silence_ends_a_rehearsal_and_the_next_sound_begins_another():
    recorder = Recorder()
    recorder.take(snapshot(sounding=("tove", 6)), AT, 0.0)

    recorder.take(snapshot(), AT, OVER_S - 1)
    still = recorder.over(OVER_S - 1)
    ended = recorder.over(OVER_S + 1)
    recorder.end()
    recorder.take(snapshot(sounding=("tove", 5)), "2031-05-05T18:00:00Z", OVER_S + 100)

    assert (still, ended) == (False, True)
    assert (recorder.began_at, recorder.lasted_s()) == ("2031-05-05T18:00:00Z", 0.0)


def test_what_could_not_be_stored_waits_and_is_bounded():
    recorder = Recorder()
    recorder.take(snapshot(sounding=("tove", 6)), AT, 0.0)
    rows = recorder.give(0.0)

    recorder.give_back(rows * WAITING_MAX)
    waiting = recorder.give(1.0)

    assert len(waiting) == WAITING_MAX
    assert waiting[-1] == rows[-1]


@pytest.mark.parametrize("told", [None, {}, {"state": "playing", "drifted": None, "common": None}])
def test_an_evening_that_says_little_is_enough(told):
    recorder = Recorder()

    recorder.take(snapshot(sounding=("tove", 6), evening=told), AT, 0.0)

    assert [row.kind for row in recorder.give(1.0)] == ["reference", "reading"]
