"""What a station keeps does not grow with what it has heard."""

from __future__ import annotations

import gc
import tracemalloc
from pathlib import Path

from station.room.model import Player
from tests.support.readings import ReadingsFed
from tests.support.running import cellar, starting

READINGS = 1200
GROWTH_BYTES = 40_000  # 33 bytes a reading: hardly one number kept of each


def test_what_is_kept_does_not_grow_with_the_readings(tmp_path: Path) -> None:
    players = (Player("tove", "Tove", "guitar"), Player("brannock", "Brannock", "bass", line=2))
    with starting(cellar(tmp_path, *players), keep=False) as start:
        station = start()
        for _ in range(2):
            station.hub.subscribe(lambda: None)  # streams that nobody reads
        # Short notes: those that are remembered, 400 a line, have soon been heard.
        fed = ReadingsFed(station._hear, a_note=6)
        fed.feed(5000)
        tracemalloc.start()
        try:
            fed.feed(5000)  # all that is remembered has been made anew, and is counted
            gc.collect()
            before, _ = tracemalloc.get_traced_memory()
            fed.feed(READINGS)
            gc.collect()
            after, _ = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        told = station.snapshot()

    assert after - before < GROWTH_BYTES
    assert told["roll_call"]["in"] + told["roll_call"]["out"] == 10
