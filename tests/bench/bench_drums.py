"""How near a drum's pitch and ring are found, how soon, and at what cost.

    .venv/bin/python -m tests.bench.bench_drums [STROKES]

Synthetic toms with an ideal membrane's modes and a glide of 0 to 8 percent, in noise: error of
the settled pitch in cents (rms, and over the uncertainty that was told), of the ring in percent,
of the first answer; how much sound the first answer took; and times real time.
"""

from __future__ import annotations

import math
import sys
import time

import numpy as np

from station.measure.drums.ear import DrumEar
from station.measure.drums.types import Stroke
from tests.support.drum_strokes import RATE_HZ, Floats, take, tom

DRUMS = ((50.0, 1.5), (80.0, 1.2), (110.0, 1.0), (160.0, 0.8), (250.0, 0.6), (350.0, 0.4))
NOISES_DB = (-80.0, -50.0, -35.0)
BLOCK = 480
STRUCK_S = 0.4


def hear(x: Floats) -> list[tuple[float, Stroke]]:
    """Every answer, with how much sound had been given."""
    ear = DrumEar(RATE_HZ)
    samples = x.astype(np.float32)
    said = []
    for first in range(0, samples.size, BLOCK):
        at_s = (first + BLOCK) / RATE_HZ
        said += [(at_s, stroke) for stroke in ear.push(samples[first : first + BLOCK])]
    return said + [(samples.size / RATE_HZ, stroke) for stroke in ear.finish()]


def main() -> None:
    strokes = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    heads = ("Hz", 6), ("noise", 8), ("found", 7), ("cents", 9), ("/told", 7), ("ring %", 8)
    print("".join(f"{word:>{width}}" for word, width in (*heads, ("first", 9), ("s", 7))))
    for hz, ring_s in DRUMS:
        for noise_db in NOISES_DB:
            print(row(hz, ring_s, noise_db, strokes))
    print(f"\n{speed(1.0):.0f} times real time, a tap a second; {speed(0.0):.0f} in silence")


def row(hz: float, ring_s: float, noise_db: float, strokes: int) -> str:
    """One drum in one noise."""
    last, first, waits = [], [], []
    for seed in range(strokes):
        drum = tom(hz, ring_s, 0.08 * seed / strokes, seed)
        said = hear(take([(STRUCK_S, drum.sound(2.6))], 3.2, noise_db, seed=seed))
        good = [(at_s, each) for at_s, each in said if each.verdict == "good"]
        if not good:
            continue
        waits.append(good[0][0] - STRUCK_S)
        first.append(off(good[0][1], hz)[0])
        own = good[-1][1].fundamental
        ring = own.ring_s if own is not None and own.ring_s is not None else math.nan
        last.append((*off(good[-1][1], hz), 100 * (ring / ring_s - 1)))
    if not last:
        return f"{hz:6.0f}{noise_db:8.0f}{0:7d}"
    cents, told, rings = np.sqrt(np.nanmean(np.square(last), axis=0))
    early = math.sqrt(float(np.mean(np.square(first))))
    return (
        f"{hz:6.0f}{noise_db:8.0f}{len(last):7d}{cents:9.3f}{told:7.2f}{rings:8.2f}"
        f"{early:9.2f}{max(waits):7.3f}"
    )


def off(stroke: Stroke, hz: float) -> tuple[float, float]:
    """A stroke's error in cents, and over its uncertainty."""
    if stroke.fundamental is None:
        return math.nan, math.nan
    cents = 1200 * math.log2(stroke.fundamental.hz / hz)
    return cents, cents / stroke.fundamental.uncertainty_cents


def speed(taps_a_second: float) -> float:
    """Seconds of sound heard in a second."""
    length_s = 20.0
    count = int(taps_a_second * (length_s - 1))
    x = take([(0.5 + at, tom(seed=at).sound(1.5)) for at in range(count)], length_s)
    began = time.perf_counter()
    hear(x)
    return length_s / (time.perf_counter() - began)


if __name__ == "__main__":
    main()
