"""How many times faster than real time one line's listener is, and where its time goes.

    .venv/bin/python -m tests.bench.bench_speed [SECONDS]

Plucked strings one after the other, in a single process on one core; then hiss while
nobody plays, and noise as loud as music. Processor time, not wall-clock time, and the
best of the runs: other programs on the machine cost this one cache and clock, never help it.
The profile's shares are of time under cProfile, which makes Python's own part look larger.
"""

from __future__ import annotations

import cProfile
import pstats
import sys
import time

import numpy as np

from station.measure.listener import Listener
from tests.support.strings import Floats, StiffString, noise

RATE_HZ = 48000
STRINGS_HZ = (41.2, 55.0, 82.4, 110.0, 146.8, 196.0, 246.9, 329.6)
RUNS = 5
STAGES = {
    "decimate.py": "lower the rate",
    "levels.py": "levels",
    "ears.py": "onsets, coarse pitch (aubio)",
    "attacks.py": "strokes",
    "hypothesis.py": "which note",
    "bank.py": "a sounding note's windows, kept",
    "windows.py": "windows heard",
    "fit.py": "fit of all partials",
    "hum.py": "mains",
    "mains_check.py": "mains or string",
    "fading.py": "fades of partials",
    "drum_check.py": "drum or string",
    "held_back.py": "held back",
    "ringing.py": "ringing on",
    "continued.py": "what rings on",
    "newly_struck.py": "what is new",
    "reading.py": "readings",
    "moving.py": "the pitch now",
    "settle.py": "settled notes",
    "tracking.py": "following",
    "sounding.py": "what is known of a note",
    "listener.py": "putting together",
    "history.py": "keeping",
}


def evening(seconds: float) -> Floats:
    """Strings plucked every 2.5 s."""
    parts = [
        StiffString(STRINGS_HZ[i % len(STRINGS_HZ)], 1e-4).sound(RATE_HZ, 2.5, i)
        for i in range(round(seconds / 2.5))
    ]
    x = np.concatenate(parts)
    return x + noise(x.size, -80)


def listen(x: Floats, tracker: str) -> float:
    """Processor seconds a listener takes for `x`."""
    samples = x.astype(np.float32)
    listener = Listener(RATE_HZ, tracker=tracker)
    began = time.process_time()
    for start in range(0, samples.size, 1024):
        listener.push(samples[start : start + 1024])
    listener.finish()
    return time.process_time() - began


def _stage(file: str) -> str:
    folder, _, name = file.rpartition("/")
    return name if folder.endswith("measure") and name in STAGES else ""


def print_profile(x: Floats) -> None:
    """Processor time by stage, functions of other packages counted where they are called."""
    profiler = cProfile.Profile()
    profiler.enable()
    listen(x, "aubio")
    profiler.disable()
    own: dict[str, float] = dict.fromkeys(STAGES, 0.0)
    for (file, _, _), (_, _, total, _, callers) in pstats.Stats(profiler).stats.items():
        stage = _stage(file)
        if stage:
            own[stage] += total
            continue
        for (caller, _, _), (_, _, share, _) in callers.items():
            if _stage(caller):
                own[_stage(caller)] += share
    whole = sum(own.values())
    for name, seconds in sorted(own.items(), key=lambda item: -item[1]):
        print(f"  {STAGES[name]:32} {100 * seconds / whole:5.1f} %")


def main() -> None:
    """Print the ratios and the profile."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 40.0
    x = evening(seconds)
    length_s = x.size / RATE_HZ
    sounds = {
        "strings, aubio": (x, "aubio"),
        "strings, numpy": (x, "numpy"),
        "nobody plays": (noise(x.size, -85), "aubio"),
        "loud noise": (noise(x.size, -20), "aubio"),
    }
    for name, (sound, tracker) in sounds.items():
        *_, second, best = sorted(length_s / listen(sound, tracker) for _ in range(RUNS))
        print(f"{name:16}{best:4.0f} times real time, best of {RUNS} (next {second:.0f});")
        print(f"{'':16}eight such lines {8 * 100 / best:.1f} % of a core")
    print("where the time goes:")
    print_profile(x)


if __name__ == "__main__":
    main()
