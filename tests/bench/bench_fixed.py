"""The ear for instruments of fixed pitch: how fast, how near, how honest.

    .venv/bin/python -m tests.bench.bench_fixed [TAKES]

Speed: 60 s of each sound, as multiples of real time (the quickest of three runs, of this
process's own time). Errors: rms in cents over the takes, of single reeds, of two reeds,
of chords and of a piano's stiff strings, white noise so many dB under full scale;
`/unsure` is the rms of the error over the uncertainty told, 1 would be just right;
`missed` counts takes in which not just the notes played were heard.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from tests.support.reeds import RATE_HZ, Floats, Voice, hear, hz_of, sound
from tests.support.strings import cents

SECONDS = 60
SINGLES = (36, 48, 60, 69, 81, 93, 105)
PAIRS = ((60, 8.0), (69, 4.0), (69, 12.0), (69, 25.0), (81, 8.0))
CHORDS = ((60, 64, 67), (57, 60, 64), (60, 67), (65, 69, 72))


def minute(kind: str) -> Floats:
    """A minute of notes of 1.5 s."""
    scale = (60, 62, 64, 65, 67, 69, 71, 72)
    voices = []
    for i in range(int(SECONDS / 1.5)):
        start, hz = 0.1 + 1.5 * i, hz_of(scale[i % 8])
        span = {"start_s": start, "end_s": start + 1.3}
        if kind == "single reeds":
            voices.append(Voice(hz, **span))
        elif kind == "tremolo reeds":
            voices += [Voice(hz, **span), Voice(hz * 1.006, **span)]
        elif kind == "triads":
            voices += [Voice(hz * ratio, **span) for ratio in (1.0, 1.2599, 1.4983)]
        elif kind == "piano":
            voices.append(Voice(hz, inharmonicity=3e-4, ring_s=0.8, **span))
    return sound(*voices, length_s=SECONDS, noise_db=-20 if kind == "noise" else -80)


def speeds() -> None:
    """Print how many times real time each kind of sound takes."""
    for kind in ("single reeds", "tremolo reeds", "triads", "piano", "noise", "silence"):
        x = minute(kind)
        spent = []
        for _ in range(3):
            began = time.process_time()
            hear(x)
            spent.append(time.process_time() - began)
        print(f"{kind:14} {SECONDS / min(spent):8.0f} x real time")


def row(name: str, played: list[tuple[list[float], Floats]]) -> None:
    """Print the errors of some takes: the pitches of all reeds, and the sound."""
    errors, ratios, missed = [], [], 0
    for truth, x in played:
        reeds = [reed for note in hear(x) for reed in note.reeds]
        if len(reeds) != len(truth):
            missed += 1
            continue
        for reed, hz in zip(sorted(reeds, key=lambda each: each.hz), sorted(truth), strict=True):
            errors.append(cents(reed.hz, hz))
            ratios.append(errors[-1] / reed.uncertainty_cents)
    rms, unsure = (float(np.sqrt(np.mean(np.square(v)))) if v else np.nan for v in (errors, ratios))
    print(f"{name:30}{rms:10.5f}{unsure:9.2f}{missed:8d} of {len(played)}", flush=True)


def errors(takes: int) -> None:
    """Print the table of errors."""
    print(f"{'':30}rms cents  /unsure  missed")
    for noise_db in (-60, -40):
        for midi in SINGLES:
            hz = [hz_of(midi + 0.01 * seed) for seed in range(takes)]
            one = [([f], sound(Voice(f), noise_db=noise_db, seed=i)) for i, f in enumerate(hz)]
            row(f"reed, MIDI {midi}, {noise_db} dB", one)
        for midi, apart in PAIRS:
            two = []
            for seed in range(takes):
                pair = [hz_of(midi + 0.01 * seed + off / 100) for off in (0.0, apart)]
                voices = [Voice(pair[0]), Voice(pair[1], 0.06)]
                two.append((pair, sound(*voices, noise_db=noise_db, seed=seed)))
            row(f"two, MIDI {midi}, {apart:g} cents, {noise_db} dB", two)
        for chord in CHORDS:
            several = []
            for seed in range(takes):
                rng = np.random.default_rng(seed)
                truth = [hz_of(midi + rng.uniform(-0.05, 0.05)) for midi in chord]
                voices = [Voice(f, 0.06) for f in truth]
                several.append((truth, sound(*voices, noise_db=noise_db, seed=seed)))
            row(f"chord {chord}, {noise_db} dB", several)
        for midi in (28, 45, 60, 76, 88):
            strings = []
            for seed in range(takes):
                f = hz_of(midi + 0.01 * seed)
                string = Voice(f, 0.2, inharmonicity=3e-4, ring_s=1.0)
                strings.append(([f], sound(string, noise_db=noise_db, seed=seed)))
            row(f"piano, MIDI {midi}, {noise_db} dB", strings)


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description="speed and errors of the fixed-pitch ear")
    parser.add_argument("takes", type=int, nargs="?", default=4)
    takes = parser.parse_args().takes
    print(f"{SECONDS} s at {RATE_HZ} Hz, one core")
    speeds()
    errors(takes)


if __name__ == "__main__":
    main()
