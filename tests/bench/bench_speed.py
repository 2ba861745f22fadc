"""How many times faster than real time one line's listener is, and where its time goes.

    .venv/bin/python -m tests.bench.bench_speed [SECONDS]

Plucked strings one after the other, in a single process on one core, in blocks as a sound
card gives them and as `station hear` reads them from a file; then hiss while
nobody plays, and noise as loud as music. Processor time, not wall-clock time, and the
best of the runs: other programs on the machine cost this one cache and clock, never help it.
Then `station hear --json` itself, by the clock: how much longer it takes for a long file than for
a short one, and how long for the short one, which is nearly all start-up.
The profile's shares are of time under cProfile, which makes Python's own part look larger.
"""

from __future__ import annotations

import cProfile
import pstats
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

from station.measure.listener import Listener
from station.sound.files import BLOCK_FRAMES
from tests.support.strings import Floats, StiffString, noise

RATE_HZ = 48000
STRINGS_HZ = (41.2, 55.0, 82.4, 110.0, 146.8, 196.0, 246.9, 329.6)
RUNS = 5
LIVE_FRAMES = 1024
SHORT_S = 2.5
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


def listen(x: Floats, tracker: str, block: int = LIVE_FRAMES) -> float:
    """Processor seconds a listener takes for `x`, so many samples at a time."""
    samples = x.astype(np.float32)
    listener = Listener(RATE_HZ, tracker=tracker)
    began = time.process_time()
    for start in range(0, samples.size, block):
        listener.push(samples[start : start + block])
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


def command_s(x: Floats, folder: Path) -> float:
    """Seconds by the clock that `station hear --json` takes for `x`."""
    path = folder / "evening.wav"
    soundfile.write(path, 0.7 * x / np.abs(x).max(), RATE_HZ, subtype="PCM_16")
    command = [sys.executable, "-m", "station.cli", "hear", "--json", str(path)]
    began = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - began


def print_command(x: Floats) -> None:
    """How fast the whole command is, and how long it takes to begin."""
    with tempfile.TemporaryDirectory() as name:
        short = min(command_s(x[: round(SHORT_S * RATE_HZ)], Path(name)) for _ in range(RUNS))
        whole = min(command_s(x, Path(name)) for _ in range(RUNS))
    rest_s = x.size / RATE_HZ - SHORT_S
    print(f"station hear    {rest_s / (whole - short):4.0f} times real time, by the clock,")
    print(f"{'':16}and {short:.2f} s for the first {SHORT_S:g} s")


def main() -> None:
    """Print the ratios and the profile."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 40.0
    x = evening(seconds)
    length_s = x.size / RATE_HZ
    sounds = {
        "strings, aubio": (x, "aubio", LIVE_FRAMES),
        "strings, numpy": (x, "numpy", LIVE_FRAMES),
        "strings, a file": (x, "aubio", BLOCK_FRAMES),
        "nobody plays": (noise(x.size, -85), "aubio", LIVE_FRAMES),
        "loud noise": (noise(x.size, -20), "aubio", LIVE_FRAMES),
    }
    for name, heard in sounds.items():
        *_, second, best = sorted(length_s / listen(*heard) for _ in range(RUNS))
        print(f"{name:16}{best:4.0f} times real time, best of {RUNS} (next {second:.0f});")
        print(f"{'':16}eight such lines {8 * 100 / best:.1f} % of a core")
    print_command(x)
    print("where the time goes:")
    print_profile(x)


if __name__ == "__main__":
    main()
