"""How well a rehearsal is followed: gaps, drifting strings, the drift all have in common.

    .venv/bin/python -m tests.bench.bench_rehearsal [SEEDS [SOUNDS]]

Rehearsals of eight songs in about twenty minutes (`tests/support/rehearsal.py`), by seeds that no
test uses. SEEDS of them (8) as what the engine would say, with its errors; SOUNDS of them (1) as
sound on four lines at 16 kHz through the real engine, which takes two minutes.
"""

from __future__ import annotations

import itertools
import math
import sys
import time
from collections.abc import Iterable

from station.measure.types import Heard
from tests.support.rehearsal import Rehearsal, make_rehearsal
from tests.support.rehearsal_events import heard_of_events
from tests.support.rehearsal_run import Score, told_to_the_room
from tests.support.rehearsal_sound import heard_through_the_engine

FIRST_SEED = 301
RATE_HZ = 16_000
CLASSES = (0.0, 0.02, 0.1, 0.5, 0.9, 0.98, 1.01)


def _rms(values: Iterable[float]) -> float:
    squares = [value * value for value in values]
    return math.sqrt(sum(squares) / max(1, len(squares)))


def _line(name: str, score: Score) -> str:
    common = score.common_errors
    within = sum(abs(error) <= 1.0 for error in common)
    return (
        f"{name:14} gaps F1 {score.f1:.3f}; named {score.named}, wrongly {score.named_small};"
        f" recall {score.tall_named}/{score.tall};"
        f" common rms {_rms(common):.2f}, worst {max(map(abs, common), default=0.0):.2f},"
        f" within a cent {within}/{len(common)}"
    )


def _follow(name: str, rehearsal: Rehearsal, heard: list[Heard], total: Score) -> None:
    began = time.process_time()
    score = told_to_the_room(rehearsal, heard)
    took_s = time.process_time() - began
    print(f"{_line(name, score)}; {rehearsal.length_s / took_s:.0f} times real time", flush=True)
    for note in score.notes:
        print(f"    {note[:150]}")
    total.add(score)


def _print_confidence(total: Score) -> None:
    print("confidence that a string has drifted by 5 cents, and how often it had:")
    for low, high in itertools.pairwise(CLASSES):
        inside = [(p, so) for p, so in total.confidences if low <= p < high]
        if inside:
            told = sum(p for p, _ in inside) / len(inside)
            so = sum(so for _, so in inside) / len(inside)
            place = f"{low:.2f} to {min(1.0, high):.2f}"
            print(f"  {place}: told {told:.3f}, was {so:.3f} ({len(inside)})")
    over = [error / unsure for error, unsure in total.known_errors]
    print(f"error over uncertainty: rms {_rms(over):.2f}, errors rms", end=" ")
    print(f"{_rms(error for error, _ in total.known_errors):.2f} cents")


def main() -> None:
    """Print a line for each rehearsal, and all together."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    sounds = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    total = Score()
    for seed in range(FIRST_SEED, FIRST_SEED + seeds):
        rehearsal = make_rehearsal(seed)
        _follow(f"seed {seed}", rehearsal, heard_of_events(rehearsal, seed), total)
    print(_line("all", total))
    _print_confidence(total)
    for seed in range(FIRST_SEED, FIRST_SEED + sounds):
        rehearsal, began = make_rehearsal(seed), time.process_time()
        lines = heard_through_the_engine(rehearsal, RATE_HZ, seed)
        heard = [each for line in lines for each in line]
        took_s = time.process_time() - began
        ratio = 4 * rehearsal.length_s / took_s
        print(f"sound: {rehearsal.length_s:.0f} s on four lines in {took_s:.0f} s ({ratio:.0f} x)")
        _follow(f"sound {seed}", rehearsal, heard, Score())


if __name__ == "__main__":
    main()
