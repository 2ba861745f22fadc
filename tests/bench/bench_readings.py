"""What a running station keeps after 100,000 readings.

    .venv/bin/python -m tests.bench.bench_readings [READINGS]

The whole station as the daemon wires it: room, hub with four streams that nobody
reads, lamps on pins that only pretend, storage. Readings of two players' strings,
now in, now out, a note after every twenty and a level after every five, are handed to
it as listening would. Prints resident memory and what Python holds at ten points.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import psutil

from station.room.model import Player
from tests.support.readings import ReadingsFed
from tests.support.running import cellar, starting

READINGS = 100_000
POINTS = 10
STREAMS = 4


def main() -> None:
    """Feed and print."""
    readings = int(sys.argv[1]) if len(sys.argv) > 1 else READINGS
    players = (Player("tove", "Tove", "guitar"), Player("brannock", "Brannock", "bass", line=2))
    own, first_mb = psutil.Process(), None
    with tempfile.TemporaryDirectory() as folder, starting(cellar(Path(folder), *players)) as start:
        station = start()
        for _ in range(STREAMS):
            station.hub.subscribe(lambda: None)
        fed = ReadingsFed(station._hear)
        print("readings   rss, MB   growth, MB")
        for _ in range(POINTS):
            fed.feed(readings // POINTS)
            rss_mb = own.memory_info().rss / 1e6
            first_mb = rss_mb if first_mb is None else first_mb
            print(f"{fed.count:8}{rss_mb:10.2f}{rss_mb - first_mb:+13.2f}", flush=True)


if __name__ == "__main__":
    main()
