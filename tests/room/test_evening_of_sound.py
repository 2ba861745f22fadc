"""A short rehearsal as sound on four lines, heard by the real engine, and what is told of it."""

from __future__ import annotations

from functools import cache

from tests.support.rehearsal import make_rehearsal
from tests.support.rehearsal_run import Score, told_to_the_room
from tests.support.rehearsal_sound import heard_through_the_engine

RATE_HZ = 8000
SEED = 3


@cache
def followed() -> Score:
    rehearsal = make_rehearsal(SEED, songs=3, song_s=32.0, gap_s=(8.0, 12.0), common_cents=2.0)
    lines = heard_through_the_engine(rehearsal, RATE_HZ, SEED)
    return told_to_the_room(rehearsal, (each for line in lines for each in line), sparing=True)


def test_the_gaps_between_songs_are_heard() -> None:
    assert followed().gaps == 3
    assert followed().f1 >= 0.95


def test_who_drifted_is_named_and_nobody_is_blamed_for_bends() -> None:
    score = followed()

    assert score.tall >= 1
    assert score.recall >= 0.9
    assert score.named_small == 0


def test_the_common_drift_is_heard_within_a_cent() -> None:
    assert max(map(abs, followed().common_errors)) <= 1.0
