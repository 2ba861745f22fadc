"""How well a rehearsal is followed: gaps, drifting strings, the drift all have in common.

    .venv/bin/python -m tests.bench.bench_rehearsal [SEEDS [SOUNDS [FIRST]]]

Rehearsals of eight songs in about twenty minutes (`tests/support/rehearsal.py`), by seeds that no
test uses. SEEDS of them (8) as what the engine would say, with its errors; SOUNDS of them (1) as
sound on four lines at 16 kHz through the real engine, which takes two minutes. Of each it is said
whether it holds all of what is wanted: gaps F1 0.95, precision and recall of those named 0.9,
the drift in common within a cent at every gap; and at the end what was worst of any. FIRST is the
first seed (301).
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
LEAST_F1, LEAST_SHARE, MOST_COMMON_CENTS = 0.95, 0.9, 1.0
RATE_HZ = 16_000
CLASSES = (0.0, 0.02, 0.1, 0.5, 0.9, 0.98, 1.01)


def _rms(values: Iterable[float]) -> float:
    squares = [value * value for value in values]
    return math.sqrt(sum(squares) / max(1, len(squares)))


def _worst_cents(score: Score) -> float:
    return max(map(abs, score.common_errors), default=0.0)


def _holds(score: Score) -> bool:
    return (
        score.f1 >= LEAST_F1
        and min(score.precision, score.recall) >= LEAST_SHARE
        and _worst_cents(score) <= MOST_COMMON_CENTS
    )


def _line(name: str, score: Score) -> str:
    common = score.common_errors
    within = sum(abs(error) <= MOST_COMMON_CENTS for error in common)
    return (
        f"{name:14} gaps F1 {score.f1:.3f}; precision {score.precision:.3f}"
        f" ({score.named} named, {score.named_small} wrongly);"
        f" recall {score.recall:.3f} ({score.tall_named} of {score.tall});"
        f" common rms {_rms(common):.2f}, worst {_worst_cents(score):.2f},"
        f" within a cent {within}/{len(common)}"
    )


def _print_worst(name: str, scores: list[Score]) -> None:
    if not scores:
        return
    print(
        f"{name}: {sum(map(_holds, scores))} of {len(scores)} hold all four; worst of any:"
        f" gaps F1 {min(each.f1 for each in scores):.3f},"
        f" precision {min(each.precision for each in scores):.3f},"
        f" recall {min(each.recall for each in scores):.3f},"
        f" common {max(map(_worst_cents, scores)):.2f} cents"
    )


def _follow(name: str, rehearsal: Rehearsal, heard: list[Heard], total: Score) -> Score:
    began = time.process_time()
    score = told_to_the_room(rehearsal, heard)
    took_s = time.process_time() - began
    ratio = rehearsal.length_s / took_s
    word = "holds" if _holds(score) else "does not hold"
    print(f"{_line(name, score)}: {word}; {ratio:.0f} times real time", flush=True)
    for note in score.notes:
        print(f"    {note[:150]}")
    total.add(score)
    return score


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
    first = int(sys.argv[3]) if len(sys.argv) > 3 else FIRST_SEED
    total, each = Score(), []
    for seed in range(first, first + seeds):
        rehearsal = make_rehearsal(seed)
        heard = heard_of_events(rehearsal, seed)
        each.append(_follow(f"seed {seed}", rehearsal, heard, total))
    print(_line("all", total))
    _print_worst("as events", each)
    _print_confidence(total)
    each = []
    for seed in range(first, first + sounds):
        rehearsal, began = make_rehearsal(seed), time.process_time()
        lines = heard_through_the_engine(rehearsal, RATE_HZ, seed)
        heard = [one for line in lines for one in line]
        took_s = time.process_time() - began
        ratio = 4 * rehearsal.length_s / took_s
        print(f"sound: {rehearsal.length_s:.0f} s on four lines in {took_s:.0f} s ({ratio:.0f} x)")
        each.append(_follow(f"sound {seed}", rehearsal, heard, Score()))
    _print_worst("as sound", each)


if __name__ == "__main__":
    main()
