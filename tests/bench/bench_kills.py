"""A thousand kills while the band agrees on one reference after another.

    .venv/bin/python -m tests.bench.bench_kills [KILLS]

A process saves state after state, each a reference with its own roll call, and is
killed (SIGKILL) at a random moment. Then the database is opened: it must hold the state
last reported as kept or the one being written, whole, with its log. Prints how many
kills fell into a save, which state was found, and every one that was neither.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

tests_room = Path(__file__).parents[1] / "room"
sys.path.insert(0, str(tests_room))

KILLS = 1000
LATEST_S = 0.02


def main() -> int:
    """Kill, look, count."""
    import test_store

    kills = int(sys.argv[1]) if len(sys.argv) > 1 else KILLS
    chance, found, before = random.Random(7), Counter(), 0
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "room.sqlite"
        for _ in range(kills):
            kept, tried = test_store.kill_a_writer(path, chance.uniform(0.0, LATEST_S))
            number, old = test_store.stored_number(path), max(before, kept)
            found["saves", "in all"] += tried - before
            found["kills", "within a save"] += kept < tried
            which = {old: "the old state", tried: "the new state"}.get(number, "NEITHER")
            found["found", which] += 1
            before = number
    print(f"{kills} kills in {time.monotonic() - began_s:.0f} s")
    for (what, which), count in sorted(found.items()):
        print(f"{what:>6} {which:<15}{count:7}")
    return found["found", "NEITHER"] > 0


if __name__ == "__main__":
    sys.exit(main())
