"""How long the exact search for a kit's targets takes, and how much fewer sets it looks at.

    .venv/bin/python -m tests.bench.bench_kit

Processor time of `find_targets` for kits and running orders of several sizes, beside the number
of sets of notes that trying them all would cost.
"""

from __future__ import annotations

import math
import random
import time

from station.music.keys import STEPS, parse_key
from station.music.kit import Drum, Song, make_drum, make_song
from station.music.kit_targets import choices, find_targets
from station.music.kit_view import kit_view

SIZES_IN = (8, 10, 12, 13, 14, 16, 18, 20)
KITS = ((3, 1), (3, 12), (5, 30), (8, 60), (24, 200))


def invented_kit(count: int, chance: random.Random) -> list[Drum]:
    """Toms of several sizes, somewhere near the middle of what such drums are tuned to."""
    sizes = sorted(SIZES_IN[n % len(SIZES_IN)] for n in range(count))
    return [
        make_drum(f"tom {n}", size, 1700.0 / size * chance.uniform(0.9, 1.1))
        for n, size in enumerate(sizes)
    ]


def invented_songs(count: int, chance: random.Random) -> list[Song]:
    """Songs of three bass notes in random keys."""
    songs = []
    for number in range(count):
        key = parse_key(f"{chance.choice('ABCDEFG')} {chance.choice(sorted(STEPS))}")
        bass = [key.note(28 + chance.randrange(20)) for _ in range(3)]
        songs.append(make_song(f"song {number}", key, bass))
    return songs


def main() -> None:
    """Print a line for each size."""
    chance = random.Random(1)
    print("toms songs   targets      view   sets of notes there are")
    for toms, songs in KITS:
        kit, order = invented_kit(toms, chance), invented_songs(songs, chance)
        began = time.process_time()
        find_targets(kit, order)
        found = time.process_time()
        kit_view(kit, order)
        seen = time.process_time()
        sets = math.prod(len(choices(drum)) for drum in kit)
        print(f"{toms:4} {songs:5} {found - began:7.3f} s {seen - found:7.3f} s   {sets:.1e}")


if __name__ == "__main__":
    main()
