"""Applause and talk in several microphones, and two players who only happen to play at once."""

from __future__ import annotations

from collections import deque

import numpy as np

from station.measure.rehearsal.one_line import Line
from station.measure.rehearsal.played import Struck
from station.measure.rehearsal.room_sound import of_the_room

FRAMES = 24


def line(levels_dbfs: np.ndarray, note: Struck | None = None) -> Line:
    out = Line(True, levels=deque(map(float, levels_dbfs)), notes=deque([note] * FRAMES))
    out.loudness.floor_dbfs = -80.0
    return out


def murmur(seed: int) -> np.ndarray:
    return np.asarray(-40.0 + np.random.default_rng(seed).normal(0.0, 5.0, FRAMES))


def test_what_two_lines_hear_alike_is_the_room_whatever_their_gains() -> None:
    room = murmur(1)
    rng = np.random.default_rng(2)
    quiet = np.full(FRAMES, -75.0)

    found = of_the_room(
        [line(room), line(room + 9.0 + rng.normal(0.0, 0.5, FRAMES)), line(quiet)],
        [False] * FRAMES,
    )

    assert found[0].mean() > 0.8
    assert found[1].mean() > 0.8
    assert not found[2].any()


def test_two_players_who_each_play_their_own_are_not_the_room() -> None:
    found = of_the_room([line(murmur(3)), line(murmur(4))], [False] * FRAMES)

    assert found[0].mean() < 0.2


def test_while_a_note_of_a_song_sounds_nothing_is_the_room() -> None:
    room = murmur(5)

    found = of_the_room([line(room), line(room)], [True] * FRAMES)

    assert not found[0].any()


def test_a_line_on_which_a_note_sounds_does_not_hear_the_room() -> None:
    room = murmur(6)
    tuned = Struck(1, 0.0, 6.0, 110.0)

    found = of_the_room([line(room), line(room, tuned), line(room)], [False] * FRAMES)

    assert found[0].all()
    assert not found[1].any()


def test_fewer_frames_than_it_takes_tell_nothing() -> None:
    assert [each.size for each in of_the_room([Line(True), Line(True)], [])] == [0, 0]
