"""How long, in sound, until a pluck's first reading, and how true readings are from then on.

    .venv/bin/python -m tests.bench.bench_latency [TAKES]

Stiff strings, detuned up to 45 cents, that start 4 cents sharp and glide to their
pitch with a time constant of 0.1 s, in white noise 30 dB under the power of their
first half second. The sound arrives a millisecond at a time; a reading counts from
when it is handed out, not from the sound it was made of. Beside the first reading
stands the aim, 4 periods and 35 ms. `error` is the worst reading's, against the
gliding pitch at its time `at_s`; `gap` the longest wait between two readings, the
one up to the end of the sound included. `late`, `lies` and `gaps` count what misses
the aims: the first reading in time, no reading more than 5 cents off, one at least
every 20 ms. In brackets the take it happened in.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from station.measure.listener import Listener
from station.measure.types import Reading
from tests.bench.bench_pitch import NOTES
from tests.support.strings import Floats, cents, noise

RATE_HZ = 48000
BLOCK = RATE_HZ // 1000
PLUCK_S, RINGS_S = 0.5, 2.0
GLIDE_CENTS, GLIDE_S = 4.0, 0.1
SNR_DB = 30
PARTIALS = 30
AIM_PERIODS, AIM_S = 4, 0.035
AIM_CENTS = 5.0
AIM_GAP_S = 0.020 + 1e-9


class Take(NamedTuple):
    """What a pluck gave: seconds from the pluck, cents, seconds."""

    first_s: float
    worst_cents: float
    gap_s: float
    lies: int
    gaps: int


def gliding(hz: float, inharmonicity: float, seed: int) -> Floats:
    """A stiff string (Fletcher 1964) whose partials glide together, from its pluck."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(RINGS_S * RATE_HZ)) / RATE_HZ
    # Time as the string counts it: the integral of its pitch over the pitch it settles at.
    own_t = np.cumsum(sharp_by(t)) / RATE_HZ
    numbers = np.arange(1, PARTIALS + 1)
    stretch = np.sqrt((1 + inharmonicity * numbers**2) / (1 + inharmonicity))
    x = np.zeros(t.size)
    for k, f in zip(numbers, hz * numbers * stretch, strict=True):
        phase = rng.uniform(0, 2 * np.pi)
        if f < 0.45 * RATE_HZ:
            x += np.exp(-t * np.sqrt(k) / 1.5) / k * np.cos(2 * np.pi * f * own_t + phase)
    return 0.2 * x


def sharp_by(t: Floats | float) -> Floats:
    """The pitch `t` seconds after the pluck, over the one it settles at."""
    return np.asarray(2 ** (GLIDE_CENTS * np.exp(-np.asarray(t) / GLIDE_S) / 1200))


def listen(x: Floats) -> list[tuple[float, Reading]]:
    """Every reading with the seconds of sound that had been taken when it came."""
    listener = Listener(RATE_HZ)
    samples = x.astype(np.float32)
    return [
        ((start + BLOCK) / RATE_HZ, said)
        for start in range(0, samples.size, BLOCK)
        for said in listener.push(samples[start : start + BLOCK])
        if isinstance(said, Reading)
    ]


def take(midi: int, seed: int) -> Take:
    """Pluck one string."""
    rng = np.random.default_rng(1000 * midi + seed)
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
    x = gliding(hz, rng.uniform(0, 3e-4), seed)
    noise_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - SNR_DB
    x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
    heard = listen(x + noise(x.size, float(noise_db), 1000 * midi + seed + 1))
    if not heard:
        return Take(np.inf, np.nan, np.inf, 0, 0)
    errors = [
        abs(cents(said.hz, hz * float(sharp_by(max(0.0, said.at_s - PLUCK_S)))))
        for _, said in heard
    ]
    times = [at_s for at_s, _ in heard]
    waits = [later - sooner for sooner, later in pairwise([*times, PLUCK_S + RINGS_S])]
    return Take(
        times[0] - PLUCK_S,
        max(errors),
        max(waits),
        sum(error > AIM_CENTS for error in errors),
        sum(wait > AIM_GAP_S for wait in waits),
    )


def row(name: str, midi: int, takes: list[Take]) -> str:
    """One note's line of the table."""
    aim_s = AIM_PERIODS / (440 * 2 ** ((midi - 69) / 12)) + AIM_S
    firsts = [each.first_s for each in takes]
    errors = [each.worst_cents for each in takes]
    gaps = [each.gap_s for each in takes]
    return (
        f"{name:4}{1e3 * float(np.median(firsts)):8.0f}"
        f"{1e3 * max(firsts):8.0f} ({int(np.argmax(firsts)):2}){1e3 * aim_s:6.0f}"
        f"{sum(first > aim_s for first in firsts):6}"
        f"{np.nanmax(errors):9.2f} ({int(np.nanargmax(errors)):2})"
        f"{sum(each.lies for each in takes):6}"
        f"{1e3 * max(gaps):8.0f} ({int(np.argmax(gaps)):2}){sum(each.gaps for each in takes):6}"
    )


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    print(f"{count} takes a note; first reading in ms: median, slowest, aim")
    print("note  median slowest (in)   aim  late    error (in)  lies  gap, ms (in)  gaps")
    for name, midi in NOTES.items():
        print(row(name, midi, [take(midi, seed) for seed in range(count)]), flush=True)


if __name__ == "__main__":
    main()
