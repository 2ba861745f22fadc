"""How near to the bound, beside other trackers on the same sounds, in one run.

    .venv/bin/python -m tests.bench.bench_pitch [TAKES]

Stiff strings (B up to 3e-4), detuned up to 45 cents, with white noise; errors
in cents, root mean square over the takes. aubio's and librosa's trackers give
a pitch for each frame: the median of those between 0.15 and 0.65 s after the
pluck counts. The bound is Cramer and Rao's for the first half second.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import aubio
import librosa
import numpy as np

from tests.support.bound import pitch_bound_cents
from tests.support.strings import Floats, StiffString, cents, hear_all

RATE_HZ = 48000
PLUCK_S, FROM_S, TO_S = 0.5, 0.65, 1.15
NOTES = {"B0": 23, "E1": 28, "A1": 33, "E2": 40, "A2": 45, "D3": 50, "G3": 55, "E4": 64, "E5": 76}


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
        times = (np.arange(len(heard)) * hop + hop) / RATE_HZ
        chosen = np.array(heard)[(times > FROM_S + size / RATE_HZ / 2) & (times < TO_S)]
        return float(np.median(chosen))

    return pitch_hz


def by_librosa(probabilistic: bool) -> Callable[[Floats], float]:
    """The median of librosa's yin or pyin."""

    def pitch_hz(x: Floats) -> float:
        part = x[round(FROM_S * RATE_HZ) : round(TO_S * RATE_HZ)]
        options = {"fmin": 25, "fmax": 1500, "sr": RATE_HZ, "frame_length": 8192}
        if probabilistic:
            return float(np.nanmedian(librosa.pyin(part, **options)[0]))
        return float(np.median(librosa.yin(part, **options)))

    return pitch_hz


def by_us(x: Floats) -> float:
    """The station's settled note."""
    notes = hear_all(x, RATE_HZ)[1]
    return notes[0].hz if len(notes) == 1 else float("nan")


TRACKERS = {
    "station": by_us,
    "aubio yinfast": by_aubio("yinfast"),
    "aubio yinfft": by_aubio("yinfft"),
    "aubio mcomb": by_aubio("mcomb"),
    "librosa yin": by_librosa(False),
    "librosa pyin": by_librosa(True),
}


def measure(midi: int, snr_db: float, takes: int) -> tuple[float, dict[str, float]]:
    """The bound and each tracker's rms error, in cents."""
    rng = np.random.default_rng(midi)
    errors: dict[str, list[float]] = {name: [] for name in TRACKERS}
    bounds = []
    for seed in range(takes):
        hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
        string = StiffString(hz, rng.uniform(0, 3e-4))
        x = string.sound(RATE_HZ, 2.0, seed)
        noise_power = float(np.mean(x[: RATE_HZ // 2] ** 2)) / 10 ** (snr_db / 10)
        bounds.append(pitch_bound_cents(string, RATE_HZ, 0.5, noise_power, seed))
        x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))
        x += np.sqrt(noise_power) * np.random.default_rng(seed + 1000).normal(size=x.size)
        for name, tracker in TRACKERS.items():
            errors[name].append(cents(max(tracker(x), 1e-9), hz))
    rms = {name: float(np.sqrt(np.mean(np.square(own)))) for name, own in errors.items()}
    return float(np.sqrt(np.mean(np.square(bounds)))), rms


def main() -> None:
    """Print the table."""
    takes = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    print(f"rms error in cents over {takes} takes; in brackets the station's over the bound")
    print("note  SNR " + "".join(f"{name:>15}" for name in TRACKERS) + "          bound")
    for snr_db in (40, 20):
        for name, midi in NOTES.items():
            bound, rms = measure(midi, snr_db, takes)
            row = "".join(f"{rms[tracker]:15.4f}" for tracker in TRACKERS)
            print(f"{name:4} {snr_db:4} {row}  {bound:8.5f} ({rms['station'] / bound:.2f})")


if __name__ == "__main__":
    main()
