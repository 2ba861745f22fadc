"""Two strings together, and a string's health: how near, how honest, how fast.

    .venv/bin/python -m tests.bench.bench_beats [TAKES]

Synthetic pairs (stiff strings that ring for 3 s to 1/e and glide 6 cents), three seconds after the
pluck, white noise so many dB under them: the worst and rms error of the beat in Hz, `/unsure` the
rms of the error over the uncertainty told (1 would be just right), how many were resolved, of
those that were not how many bounds hold, and how often the sign was told, right or wrong.
Recorded pairs: two single notes of a sound font mixed, one of them replayed by known cents, the
truth measured on each alone. Health: how many of so many days of synthetic strings were
judged dull or false. Speed: seconds of one core for a second of sound, live.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from station.measure.beats.ear import BeatEar
from station.measure.beats.types import BeatReading
from station.measure.string_health import hear_pluck, judge, state_of
from station.measure.string_health_types import StringState
from station.music.pairs import StringPair, Way, pair_by_way, strings_named
from tests.support.pairs import RECORDED_HZ, mixed, recorded, sides, together
from tests.support.strings import Floats
from tests.support.worn_strings import RATE_HZ as WORN_HZ
from tests.support.worn_strings import Worn

RATE_HZ = 48_000
LENGTH_S = 3.3
BEATS_HZ = (0.05, 0.1, -0.186, 0.372, -1.0, 5.0, -14.0)
SYNTHETIC: tuple[tuple[str, Way], ...] = (
    ("E1-A1", "harmonics"), ("E2-A2", "harmonics"), ("E1-A1", "open"), ("E2-A2", "open"),
    ("E2-A2", "fretted"), ("D3-D4", "open"), ("G3-D4", "open"), ("E4-E4", "open"),
)  # fmt: skip
RECORDED: tuple[tuple[str, int, tuple[str, ...], tuple[Way, ...]], ...] = (
    ("nylon guitar", 24, ("E2-A2", "D3-G3"), ("open", "fretted")),
    ("steel guitar", 25, ("E2-A2", "D3-G3"), ("open", "fretted")),
    ("jazz guitar", 26, ("E2-A2", "D3-G3"), ("open", "fretted")),
    ("clean guitar", 27, ("E2-A2", "D3-G3"), ("open", "fretted")),
    ("double bass", 32, ("E1-A1",), ("open", "fretted")),
    ("fingered bass", 33, ("E1-A1", "A1-D2"), ("open", "fretted")),
    ("picked bass", 34, ("E1-A1",), ("open", "fretted")),
    ("fretless bass", 35, ("E1-A1",), ("open", "fretted")),
    ("slapped bass", 36, ("A1-D2",), ("open", "fretted")),
    ("banjo", 105, ("D3-G3", "G3-B3"), ("open", "fretted")),
    ("violin, vibrato", 40, ("G3-D4", "A4-E5"), ("open",)),
    ("cello, vibrato", 42, ("C2-G2", "D3-A3"), ("open",)),
)
CENTS = (-9.0, 3.0, 20.0)
STRINGS_HZ = (55.0, 110.0, 196.0, 329.63)


class Trial(NamedTuple):
    """A beat as it is, signed, and as it was read; None where nothing was told."""

    beat_hz: float
    said: BeatReading | None


def pair_of(name: str, way: Way) -> StringPair:
    """The pair; the tables here hold none that do not meet."""
    pair = pair_by_way(*strings_named(name), way)
    if pair is None:
        raise ValueError(f"{name} {way} does not meet")
    return pair


def read(
    x: Floats, pair: StringPair, thorough: bool = True, every_s: float = 10.0
) -> BeatReading | None:
    """The last reading of a sound."""
    ear = BeatEar(RATE_HZ, pair, every_s=every_s, thorough=thorough)
    said = ear.push(x.astype(np.float32)) + ear.finish()
    return said[-1] if said else None


def row(name: str, trials: list[Trial]) -> None:
    """Print the figures of some trials."""
    heard = [(t.beat_hz, t.said) for t in trials if t.said is not None]
    off = np.array([said.beat_hz - abs(beat) for beat, said in heard])
    unsure = np.array([said.uncertainty_hz for _, said in heard])
    vague = [(beat, said.bound_hz) for beat, said in heard if said.bound_hz is not None]
    holds = sum(bound >= abs(beat) for beat, bound in vague)
    signs = Counter(said.signed_hz * beat > 0 for beat, said in heard if said.signed_hz is not None)
    print(
        f"{name:34}{np.abs(off).max():9.4f}{np.sqrt(np.mean(off**2)):9.4f}"
        f"{np.sqrt(np.mean((off / unsure) ** 2)):8.2f}{sum(np.abs(off) > 0.02):6d}"
        f"{len(heard) - len(vague):7d} of {len(trials)}{holds:5d} of {len(vague)}"
        f"{signs[True]:7d} {signs[False]}",
        flush=True,
    )


def synthetic(takes: int) -> None:
    """Print the table of synthetic pairs."""
    for snr_db in (40, 20):
        for name, way in SYNTHETIC:
            pair = pair_of(name, way)
            for beat_hz in BEATS_HZ:
                strings = sides(pair, beat_hz, way == "harmonics", glide_cents=6.0)
                trials = [
                    Trial(beat_hz, read(together(strings, RATE_HZ, LENGTH_S, snr_db, seed), pair))
                    for seed in range(takes)
                ]
                row(f"{name} {way} {beat_hz:g} Hz {snr_db} dB", trials)


def recordings() -> None:
    """Print the table of recorded pairs."""
    with tempfile.TemporaryDirectory() as folder:
        for title, program, names, ways in RECORDED:
            trials = []
            for pair in (pair_of(name, way) for name in names for way in ways):
                first_midi = pair.first.string.midi + pair.first.fret
                first = recorded(Path(folder), program, first_midi, 3.5)
                second = recorded(Path(folder), program, pair.second.string.midi, 3.5)
                for cents in CENTS:
                    made = mixed(first, second, pair, cents, LENGTH_S)
                    trials.append(Trial(made.beat_hz, read(made.x, pair)))
            row(title, trials)


def health(days: int) -> None:
    """Print how often strings are judged what they are."""

    def day(string: Worn, seed: int, snr_db: float) -> StringState:
        x = [string.pluck(1000 * seed + i, snr_db) for i in range(4)]
        return state_of([hear_pluck(each, WORN_HZ, string.hz) for each in x])

    kinds = {
        "good": {}, "dull, 1.3 times": {"upper_times": 1.3},
        "dull, 1.5 times": {"upper_times": 1.5},
        "damped throughout": {"ring_s": 1.5}, "false, 2 cents": {"split_cents": 2.0},
        "false, 4 cents": {"split_cents": 4.0}, "uneven, 5 cents": {"uneven_cents": 5.0},
    }  # fmt: skip
    for snr_db in (40, 30):
        for kind, change in kinds.items():
            said: Counter[str] = Counter()
            for hz in STRINGS_HZ:
                first_day = day(Worn(hz), 0, snr_db)
                for seed in range(1, days + 1):
                    said[
                        judge(first_day, day(replace(Worn(hz), **change), seed, snr_db)).health
                    ] += 1
            print(f"{kind:20} {snr_db} dB  {dict(said)}", flush=True)


def speed() -> None:
    """Print what live listening costs."""
    for name, way in SYNTHETIC[:5]:
        pair = pair_of(name, way)
        x = together(sides(pair, 0.4, way == "harmonics"), RATE_HZ, LENGTH_S, 40, 0)
        spent = []
        for _ in range(3):
            began = time.process_time()
            read(x, pair, thorough=False, every_s=0.25)
            spent.append(time.process_time() - began)
        print(f"{name} {way:10} {min(spent) / LENGTH_S:6.3f} s a second of sound")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description="beats, and health")
    parser.add_argument("takes", type=int, nargs="?", default=6)
    takes = parser.parse_args().takes
    head = f"{'':34}{'worst':>9}{'rms':>9}{'/unsure':>8}{'>0.02':>6}"
    print(f"{head}  resolved   bounds   signs ok, wrong")
    recordings()
    synthetic(takes)
    health(takes)
    speed()


if __name__ == "__main__":
    if RATE_HZ != RECORDED_HZ:
        raise SystemExit("recordings and synthetic pairs are heard at one rate")
    main()
