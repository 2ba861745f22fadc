"""Playing, gaps and tuning, from levels and notes made by hand."""

from __future__ import annotations

import itertools
import math

import pytest

from station.measure.rehearsal.activity import Activity, State, likeliest
from station.measure.rehearsal.loudness import Loudness
from station.measure.types import Gap, Level, Note, Reading

LOUD, REST = -20.0, -75.0
OPENS_HZ = (82.407, 110.0, 146.832, 195.998, 246.942, 329.628)


def level(line: int, at_s: float, rms_dbfs: float) -> Level:
    return Level(line, at_s, rms_dbfs, rms_dbfs + 10, 0.0, False, "signal")


def band(lines: int = 3, drums: bool = True) -> Activity:
    """So many lines with pitch, and one with drums."""
    activity = Activity()
    pitched: tuple[bool, tuple[float, ...]] = (True, OPENS_HZ)
    told = dict.fromkeys(range(1, lines + 1), pitched)
    if drums:
        told[lines + 1] = (False, ())
    activity.set_lines(told)
    return activity


def play(
    activity: Activity,
    begin: float,
    end: float,
    played: set[int],
    lines: int = 4,
    notes: set[int] | None = None,
    gain_db: float = 0.0,
) -> None:
    """Levels of all lines; on the `notes` lines a fretted note each quarter second."""
    for frame in range(round(begin * 4), round(end * 4)):
        at_s = frame / 4
        for line in range(1, lines + 1):
            if line in (played & {1, 2, 3} if notes is None else notes):
                hz = 87.307 * (1 + frame % 3)
                activity.hear_pitch(Reading(line, at_s + 0.15, hz, 0.1, 0.0, 8, at_s + 0.01))
                activity.hear_pitch(Note(line, at_s + 0.01, at_s + 0.2, hz, 0.1, 0.0, 8))
            loud = LOUD if line in played else REST
            activity.hear(level(line, at_s + 0.25, loud + gain_db))


def told(activity: Activity) -> list[tuple[State, float, float]]:
    return [(span.state, span.began_s, span.ended_s) for span in activity.spans()]


@pytest.mark.parametrize("gain_db", [-25.0, 0.0, 15.0])
def test_a_gap_lies_between_two_songs_whatever_the_gain(gain_db: float) -> None:
    activity = band()

    play(activity, 0.0, 5.0, set(), gain_db=gain_db)
    play(activity, 5.0, 30.0, {1, 2, 3, 4}, gain_db=gain_db)
    play(activity, 30.0, 45.0, set(), gain_db=gain_db)
    play(activity, 45.0, 60.0, {1, 2, 3, 4}, gain_db=gain_db)

    assert [state for state, *_ in told(activity)] == ["gap", "playing", "gap", "playing"]
    _, begin, end = told(activity)[2]
    assert begin == pytest.approx(30.0, abs=0.5)
    assert end == pytest.approx(45.0, abs=0.5)


def test_a_stop_of_two_seconds_is_no_gap() -> None:
    activity = band()

    play(activity, 0.0, 20.0, {1, 2, 3, 4})
    play(activity, 20.0, 22.0, set())
    play(activity, 22.0, 40.0, {1, 2, 3, 4})

    assert [state for state, *_ in told(activity)] == ["playing"]


def test_a_quiet_passage_of_one_guitar_belongs_to_its_song() -> None:
    activity = band()

    play(activity, 0.0, 20.0, {1, 2, 3, 4})
    play(activity, 20.0, 32.0, {1})
    play(activity, 32.0, 45.0, {1, 2, 3, 4})

    assert [state for state, *_ in told(activity)] == ["playing"]


def test_a_drummer_alone_between_songs_plays_no_song() -> None:
    activity = band()

    play(activity, 0.0, 30.0, {1, 2, 3, 4})
    play(activity, 30.0, 34.0, set())
    play(activity, 34.0, 42.0, {4})
    play(activity, 42.0, 60.0, set())

    assert activity.state == "gap"
    assert activity.since_s == pytest.approx(30.0, abs=1.0)


def test_loudness_without_notes_on_lines_that_have_some_is_talk() -> None:
    activity = band()

    play(activity, 0.0, 150.0, {1, 2, 3, 4})
    play(activity, 150.0, 165.0, {1, 2, 3}, notes=set())

    assert activity.state == "gap"


def test_a_band_of_one_has_gaps_as_well() -> None:
    activity = band(1, drums=False)

    play(activity, 0.0, 20.0, {1}, 1)
    play(activity, 20.0, 30.0, set(), 1)

    assert activity.state == "gap"
    assert activity.since_s == pytest.approx(20.0, abs=0.5)


def test_open_strings_that_ring_and_are_turned_are_tuning() -> None:
    activity = band()
    play(activity, 0.0, 30.0, {1, 2, 3, 4})

    for pluck in range(6):
        at_s = 30.5 + 2.0 * pluck
        for step in range(80):
            t = step / 50
            cents = 12 * min(1.0, max(0.0, t - 0.6)) if pluck % 2 == 0 else 0.0
            hz = OPENS_HZ[pluck // 2] * 2 ** ((cents - 12) / 1200)
            activity.hear_pitch(Reading(1, at_s + t + 0.05, hz, 0.1, 0.0, 8, at_s))
            if step % 13 == 12:
                frame_s = math.floor((at_s + t) * 4) / 4
                for line in (1, 2, 3, 4):
                    activity.hear(level(line, frame_s, LOUD - 6 if line == 1 else REST))

    assert activity.state == "gap"
    assert activity.line_states()[1] == "tuning"


def test_nothing_is_known_before_a_level_and_after_a_long_silence_of_the_input() -> None:
    activity = band()
    assert activity.state == "not known"

    play(activity, 0.0, 20.0, {1, 2, 3, 4})
    play(activity, 400.0, 400.5, set())

    assert activity.state == "not known"
    assert told(activity)[0] == ("playing", 0.0, 20.0)


def test_levels_that_are_no_numbers_lines_nobody_plays_and_lost_samples_change_nothing() -> None:
    activity = band()
    play(activity, 0.0, 20.0, {1, 2, 3, 4})
    before = told(activity)

    activity.hear(level(1, math.nan, LOUD))
    activity.hear(level(1, 20.25, math.nan))
    activity.hear(level(9, 20.25, LOUD))
    activity.hear(Gap(2, 20.0, 100))
    activity.hear(level(1, 3.0, LOUD))

    assert told(activity) == before
    assert activity.hear_pitch(Reading(9, 1.0, 110.0, 0.1, 0.0, 8, 0.9)) is None


def test_the_window_forgets_but_the_spans_go_on() -> None:
    activity = band()

    for song in range(6):
        play(activity, 100.0 * song, 100.0 * song + 80, {1, 2, 3, 4})
        play(activity, 100.0 * song + 80, 100.0 * song + 100, set())

    spans = told(activity)
    assert [state for state, *_ in spans] == ["playing", "gap"] * 6
    assert all(one[2] == two[1] for one, two in itertools.pairwise(spans))


def test_where_a_gap_began_stands_when_what_led_to_it_is_past_and_gone() -> None:
    activity = band()
    play(activity, 0.0, 40.0, {1, 2, 3, 4})
    # The last chord: on two lines no note of it is told, it only rings.
    play(activity, 40.0, 42.0, {1, 2, 3}, notes={3})

    play(activity, 42.0, 100.0, set())

    (_, began_s, _) = told(activity)[-1]
    assert began_s == pytest.approx(42.0, abs=0.6)


def test_talk_after_the_last_chord_is_not_its_ring() -> None:
    activity = band()
    play(activity, 0.0, 40.0, {1, 2, 3, 4})
    play(activity, 40.0, 41.0, set())

    play(activity, 41.0, 47.0, {1, 3}, notes=set(), gain_db=-14.0)
    play(activity, 47.0, 60.0, set())

    (_, began_s, _) = told(activity)[-1]
    assert began_s == pytest.approx(40.0, abs=1.0)


def test_the_likeliest_course_changes_only_for_evidence_that_pays_for_it() -> None:
    short = likeliest([1.0] * 40 + [-1.0] * 12 + [1.0] * 40, "playing")
    long = likeliest([1.0] * 40 + [-1.0] * 40 + [1.0] * 40, "playing")

    assert set(short) == {"playing"}
    assert long == ["playing"] * 40 + ["gap"] * 40 + ["playing"] * 40


def test_loudness_follows_a_line_that_is_turned_down() -> None:
    loudness = Loudness()
    for _ in range(100):
        loudness.hear(-15.0, 0.25)
        loudness.hear(-80.0, 0.25)
    assert loudness.played(-30.0)
    assert not loudness.played(-50.0)

    for _ in range(4 * 60 * 120):
        loudness.hear(-55.0, 0.25)

    assert loudness.limit_dbfs < -40.0
    loudness.hear(math.nan, 0.25)
    assert math.isfinite(loudness.limit_dbfs)
