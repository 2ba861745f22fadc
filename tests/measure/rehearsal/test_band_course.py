"""What a band's strings have in common, from gap to gap."""

from __future__ import annotations

import pytest

from station.measure.rehearsal.band import GAPS_KEPT, BandCourse
from station.measure.rehearsal.heard import StringDrift

SONG_S = 140.0
PLAYERS = ("wren", "isolde", "odell")


def strings(cents: list[float], since_s: float = 10.0, doubt: float = 0.0) -> list[StringDrift]:
    return [
        StringDrift(n + 1, each, 0.6, each, 20.0, since_s, doubt, 0.2)
        for n, each in enumerate(cents)
    ]


def band_of(course: BandCourse, song: int, **cents: list[float]) -> tuple[float, float] | None:
    told = {player: strings(each) for player, each in cents.items()}
    return course.hear(song, (song + 1) * SONG_S, told)


def test_what_all_strings_do_is_the_bands() -> None:
    course = BandCourse()

    for song in range(4):
        told = band_of(course, song, **{p: [-1.5 * (song + 1)] * 4 for p in PLAYERS})

    assert told is not None
    assert told[0] == pytest.approx(-6.0, abs=0.3)
    assert told[1] < 0.6
    assert course.at(2 * SONG_S)[0] == pytest.approx(-3.0, abs=0.3)
    assert course.at(0.0) == (0.0, 0.0)


def test_strings_that_slipped_in_different_songs_do_not_move_the_band() -> None:
    course = BandCourse()
    slipped = {player: [0.0] * 4 for player in PLAYERS}

    # In the end most of them are flat, but at no gap did more than three of twelve go.
    for song in range(4):
        for player in PLAYERS:
            slipped[player][song] = -14.0
        told = band_of(
            course, song, **{p: [c - 0.5 * (song + 1) for c in slipped[p]] for p in PLAYERS}
        )

    assert told is not None
    assert told[0] == pytest.approx(-2.0, abs=0.4)


def test_a_player_whose_strings_all_went_is_not_the_band() -> None:
    course = BandCourse()
    steady = {player: [1.0] * 4 for player in PLAYERS}

    band_of(course, 0, **steady)
    told = band_of(course, 1, **{**steady, "odell": [-11.0] * 4})

    assert told is not None
    assert told[0] == pytest.approx(1.0, abs=0.4)
    assert told[1] < 1.0


def test_of_two_players_who_part_it_is_open_who_moved() -> None:
    course = BandCourse()

    band_of(course, 0, wren=[0.0] * 4, odell=[0.0] * 4)
    told = band_of(course, 1, wren=[0.0] * 4, odell=[-4.0] * 4)

    assert told is not None
    assert told[1] > 1.2


def test_strings_tuned_between_two_gaps_count_from_where_the_band_was_then() -> None:
    course = BandCourse()
    for song in range(2):
        band_of(course, song, **{p: [-2.0 * (song + 1)] * 4 for p in PLAYERS})
    tuned_s = 2 * SONG_S + 35.0

    # A quarter of the way from the second gap to the third one.
    told = course.hear(2, 3 * SONG_S, {p: strings([-1.5] * 4, tuned_s) for p in PLAYERS})

    assert told is not None
    assert told[0] == pytest.approx(-6.0, abs=0.5)


def test_one_player_alone_says_nothing_of_a_band_and_what_is_unsure_nothing_at_all() -> None:
    course = BandCourse()

    assert band_of(course, 0, wren=[-5.0] * 4) is None
    assert course.hear(0, SONG_S, {p: strings([-5.0], doubt=0.9) for p in PLAYERS}) is None
    assert course.hear(0, SONG_S, {p: strings([float("nan")]) for p in PLAYERS}) is None
    assert course.hear(0, SONG_S, {}) is None


def test_the_same_gap_told_again_is_told_once() -> None:
    course = BandCourse()

    first = band_of(course, 0, **{p: [-3.0] * 4 for p in PLAYERS})
    again = [band_of(course, 0, **{p: [-3.0] * 4 for p in PLAYERS}) for _ in range(3)]

    assert again == [first] * 3


def test_a_long_evening_goes_on_from_what_was_found_of_its_beginning() -> None:
    course = BandCourse()

    for song in range(2 * GAPS_KEPT):
        told = band_of(course, song, **{p: [0.3 * (song + 1)] * 4 for p in PLAYERS})

    assert told is not None
    assert told[0] == pytest.approx(0.3 * 2 * GAPS_KEPT, abs=0.5)
