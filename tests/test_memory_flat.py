"""What a station keeps does not grow with what it has heard."""

from __future__ import annotations

import gc
import sys
from pathlib import Path

from station.room.model import Player
from tests.support.readings import ReadingsFed
from tests.support.running import cellar, starting

FIRST = 18_000  # by then the 400 notes a line that are remembered have been heard
MORE = 6_000
GROWTH = 0.5  # blocks of memory a reading: a single number kept of each would be 1


def blocks() -> int:
    """Blocks of memory that Python has given out and that are still in use."""
    gc.collect()
    return sys.getallocatedblocks()


def test_what_is_kept_does_not_grow_with_the_readings(tmp_path: Path) -> None:
    players = (Player("tove", "Tove", "guitar"), Player("brannock", "Brannock", "bass", line=2))
    with starting(cellar(tmp_path, *players), keep=False) as start:
        station = start()
        for _ in range(2):
            station.hub.subscribe(lambda: None)  # streams that nobody reads
        fed = ReadingsFed(station._hear)
        fed.feed(FIRST)
        before = blocks()
        fed.feed(MORE)
        after = blocks()
        told = station.snapshot()

    assert after - before < GROWTH * MORE
    assert told["roll_call"]["in"] + told["roll_call"]["out"] == 10
