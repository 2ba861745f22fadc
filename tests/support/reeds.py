"""Synthetic reeds, pipes, pianos and forks with known pitches, and what the ear hears of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.measure.fixed.ear import FixedEar
from station.measure.fixed.types import FixedNote

Floats = NDArray[np.float64]
RATE_HZ = 48000


@dataclass(frozen=True)
class Voice:
    """One reed, pipe, course of strings or fork that sounds from `start_s` to `end_s`.

    Partial k has 1/k^`slope` of `level`, a random phase and stands at k F sqrt(1 + B k^2)
    (Fletcher 1964), its first at `hz`. It fades to 1/e in `ring_s` / sqrt(k), 0: it does not.
    `sway_hz`: its level goes up and down by `sway`. It begins and ends within `edge_s`, and
    `bend_cents` off its pitch, which it reaches within `bend_s`.
    """

    hz: float
    level: float = 0.1
    start_s: float = 0.3
    end_s: float = 2.0
    slope: float = 1.0
    partials: int = 24
    inharmonicity: float = 0.0
    ring_s: float = 0.0
    sway_hz: float = 0.0
    sway: float = 0.0
    edge_s: float = 0.02
    bend_cents: float = 0.0
    bend_s: float = 0.05
    weak: tuple[tuple[int, float], ...] = ()

    def add_to(self, x: Floats, rng: np.random.Generator, rate_hz: float = RATE_HZ) -> None:
        """Add its sound to `x`, shape (n,)."""
        first, last = round(self.start_s * rate_hz), min(x.size, round(self.end_s * rate_hz))
        t = np.arange(last - first) / rate_hz
        edges = np.minimum(1.0, np.minimum(t, t[::-1]) / self.edge_s)
        shape = edges * (1 + self.sway * np.sin(2 * np.pi * self.sway_hz * t + 1.0))
        bent = t + self.bend_cents / 1731.234 * self.bend_s * (1 - np.exp(-t / self.bend_s))
        base = self.hz / np.sqrt(1 + self.inharmonicity)
        gains = dict(self.weak)
        for k in range(1, self.partials + 1):
            hz = k * base * np.sqrt(1 + self.inharmonicity * k**2)
            phase = rng.uniform(0, 2 * np.pi)
            if hz > 0.45 * rate_hz:
                break
            fading = np.exp(-t * np.sqrt(k) / self.ring_s) if self.ring_s else 1.0
            gain = self.level * k**-self.slope * gains.get(k, 1.0)
            x[first:last] += gain * shape * fading * np.cos(2 * np.pi * hz * bent + phase)


def sound(*voices: Voice, length_s: float = 2.4, noise_db: float = -70.0, seed: int = 0) -> Floats:
    """All `voices` together at RATE_HZ, with white noise of `noise_db` rms, shape (n,)."""
    rng = np.random.default_rng(seed)
    x = 10 ** (noise_db / 20) * rng.normal(size=round(length_s * RATE_HZ))
    for voice in voices:
        voice.add_to(x, rng)
    return x


def hear(x: Floats, rate_hz: float = RATE_HZ, block: int = 4800) -> list[FixedNote]:
    """What the ear says of `x`, shape (n,): of each note the last that was said."""
    ear = FixedEar(rate_hz)
    samples = x.astype(np.float32)
    said: list[FixedNote] = []
    for start in range(0, samples.size, block):
        said += ear.push(samples[start : start + block])
    return last_said([*said, *ear.finish()])


def last_said(said: list[FixedNote]) -> list[FixedNote]:
    """Without what was told again later, in the order of onsets and pitches."""
    kept: list[FixedNote] = []
    for note in said:
        kept = [known for known in kept if not _same(known, note)]
        kept.append(note)
    return sorted(kept, key=lambda note: (note.onset_s, note.hz))


def _same(known: FixedNote, note: FixedNote) -> bool:
    near = abs(1200 * np.log2(known.hz / note.hz)) < 50
    return bool(known.line == note.line and known.onset_s == note.onset_s and near)


def midi_of(hz: float) -> float:
    """The MIDI note number, with its fraction (A4 = 69 = 440 Hz)."""
    return float(69 + 12 * np.log2(hz / 440))


def hz_of(midi: float) -> float:
    """The frequency of a MIDI note number in equal temperament (A4 = 69 = 440 Hz)."""
    return float(440 * 2 ** ((midi - 69) / 12))
