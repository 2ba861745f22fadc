"""How near to the bound, beside other trackers on the same sounds, in one run.

    .venv/bin/python -m tests.bench.bench_pitch [TAKES] [--alone]

Stiff strings (B up to 3e-4), detuned up to 45 cents, with white noise 40 and 20 dB
under the power of their first half second. Errors in cents, root mean square over
the takes. aubio's and librosa's trackers give a pitch for each frame: the median of
those from 0.25 s after the pluck on counts, of pyin the voiced ones. The bound is
Cramer and Rao's for the first half second; the strings ring for two, whose bound is
a third of that, so that less than 1 is possible. `--alone` leaves the other trackers out.

`/bound` is the rms of the station's error over each take's bound, `/unsure` that of
its error over the uncertainty it published: 1 would be just right. `missed` counts
takes the station heard as no note, or as several.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import NamedTuple

import aubio
import librosa
import numpy as np

from tests.support.bound import pitch_bound_cents
from tests.support.strings import Floats, StiffString, cents, hear_all

RATE_HZ = 48000
BOUND_S = 0.5
PLUCK_S, FROM_S, TO_S = 0.5, 0.75, 1.5
NOTES = {
    "B0": 23, "E1": 28, "A1": 33, "D2": 38, "E2": 40, "A2": 45,
    "D3": 50, "G3": 55, "B3": 59, "E4": 64, "A4": 69, "E5": 76,
}  # fmt: skip
SNRS_DB = (40, 20)


def by_aubio(method: str) -> Callable[[Floats], float]:
    """The median of aubio's `method`."""

    def pitch_hz(x: Floats) -> float:
        size, hop = 4096, 512
        tracker = aubio.pitch(method, size, hop, RATE_HZ)
        tracker.set_unit("Hz")
        heard = [
            float(tracker(x[i : i + hop].astype(np.float32))[0])
            for i in range(0, x.size - hop, hop)
        ]
        ends_s = (np.arange(len(heard)) * hop + hop) / RATE_HZ
        within = (ends_s > FROM_S + size / RATE_HZ) & (ends_s < TO_S)
        return float(np.median(np.array(heard)[within]))

    return pitch_hz


def by_librosa(probabilistic: bool) -> Callable[[Floats], float]:
    """The median of librosa's yin, or of the frames its pyin takes for voiced."""

    def pitch_hz(x: Floats) -> float:
        part = x[round(FROM_S * RATE_HZ) : round(TO_S * RATE_HZ)]
        # Frames within the part alone: padded ones would hear its edges.
        options = {"fmin": 25, "fmax": 1500, "sr": RATE_HZ, "frame_length": 8192, "center": False}
        if not probabilistic:
            return float(np.median(librosa.yin(part, **options)))
        hz, voiced, _ = librosa.pyin(part, **options)
        return float(np.median(hz[voiced])) if voiced.any() else float("nan")

    return pitch_hz


OTHERS = {
    "aubio yinfast": by_aubio("yinfast"),
    "aubio yinfft": by_aubio("yinfft"),
    "aubio mcomb": by_aubio("mcomb"),
    "librosa yin": by_librosa(False),
    "librosa pyin": by_librosa(True),
}


class Take(NamedTuple):
    """One pluck: the station's error (None if it missed it) and the others', in cents."""

    bound: float
    error: float | None
    unsure: float
    others: list[float]


def off_cents(hz: float, target_hz: float) -> float:
    """The error in cents; a tracker that heard nothing is off by more than any other."""
    return cents(hz, target_hz) if hz > 0 else float("inf")


def take(midi: int, snr_db: float, seed: int, others: bool) -> Take:
    """Pluck one string and let all trackers hear it."""
    rng = np.random.default_rng(1000 * midi + seed)
    hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
    string = StiffString(hz, rng.uniform(0, 3e-4))
    x = string.sound(RATE_HZ, 2.0, seed)
    noise_power = float(np.mean(x[: round(BOUND_S * RATE_HZ)] ** 2)) / 10 ** (snr_db / 10)
    bound = pitch_bound_cents(string, RATE_HZ, BOUND_S, noise_power, seed)
    x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
    x += np.sqrt(noise_power) * rng.normal(size=x.size)
    notes = hear_all(x, RATE_HZ)[1]
    off = [off_cents(tracker(x), hz) for tracker in OTHERS.values()] if others else []
    if len(notes) != 1:
        return Take(bound, None, float("nan"), off)
    return Take(bound, cents(notes[0].hz, hz), notes[0].uncertainty_cents, off)


def rms(values: list[float]) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values)))) if values else float("nan")


def row(takes: list[Take]) -> str:
    """The figures of some takes."""
    heard = [(each.error, each.bound, each.unsure) for each in takes if each.error is not None]
    by_tracker = zip(*(each.others for each in takes), strict=True)
    others = "".join(f"{rms(list(off)):15.3f}" for off in by_tracker)
    return (
        f"{rms([error for error, _, _ in heard]):10.5f}{rms([t.bound for t in takes]):10.5f}"
        f"{rms([error / bound for error, bound, _ in heard]):8.2f}"
        f"{rms([error / unsure for error, _, unsure in heard]):9.2f}"
        f"{len(takes) - len(heard):8d}{others}"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="the settled pitch beside the bound")
    parser.add_argument("takes", type=int, nargs="?", default=4)
    parser.add_argument("--alone", action="store_true", help="without the other trackers")
    asked = parser.parse_args()
    names = [] if asked.alone else list(OTHERS)
    print(f"rms error in cents over {asked.takes} takes a row")
    head = "note  SNR   station     bound  /bound  /unsure  missed"
    print(head + "".join(f"{name:>15}" for name in names))
    for snr_db in SNRS_DB:
        all_takes = []
        for name, midi in NOTES.items():
            takes = [take(midi, snr_db, seed, not asked.alone) for seed in range(asked.takes)]
            all_takes += takes
            print(f"{name:4} {snr_db:4}{row(takes)}", flush=True)
        print(f"all  {snr_db:4}{row(all_takes)}")


if __name__ == "__main__":
    main()
