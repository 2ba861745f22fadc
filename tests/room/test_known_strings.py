"""Who is named for a drift, and who is not."""

from __future__ import annotations

import pytest

from station.measure.rehearsal.common import Moved, Shares
from station.measure.rehearsal.drift import PlayerDrift
from station.measure.rehearsal.heard import StringDrift
from station.room.known_strings import OPEN_DOUBT, Known, named

TARGETS = ((6, 40, 0.0), (5, 45, 0.0))


def known(doubt: float) -> Known:
    found = [
        StringDrift(6, -9.0, 0.6, -9.0, 20.0, 10.0, doubt, 0.2),
        StringDrift(5, 0.0, 0.6, 0.0, 20.0, 10.0, 0.0, 0.2),
    ]
    return Known(1, "guitar", TARGETS, PlayerDrift(TARGETS), found)


def shares(probability: float) -> Shares:
    strings = {("wren", 6): Moved(-9.0, 0.7, probability), ("wren", 5): Moved(0.0, 0.7, 0.0)}
    return Shares(None, {}, strings)


def test_a_string_that_drifted_is_named_with_how_far_and_how_surely() -> None:
    (entry,) = named("wren", known(0.0), shares(0.99))

    assert (entry["player"], entry["string"], entry["strings"]) == ("wren", 6, [6])
    assert entry["cents"] == pytest.approx(-9.0)
    assert entry["confidence"] == pytest.approx(0.99)


def test_where_it_may_have_been_the_next_string_nobody_is_named_yet() -> None:
    assert named("wren", known(OPEN_DOUBT + 0.01), shares(0.8)) == []
    assert len(named("wren", known(OPEN_DOUBT - 0.01), shares(0.9))) == 1
