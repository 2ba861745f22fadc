"""Synthetic stiff strings with a known pitch, for checks of the measuring code."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from station.measure.listener import Listener
from station.measure.types import Heard, Note, Reading

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class StiffString:
    """A plucked string: first partial `hz`, partials k F sqrt(1 + B k^2) (Fletcher 1964).

    Partial k starts at 1/k of `level` with a random phase and falls to 1/e in
    `ring_s` / sqrt(k). `lost` partials are missing.
    """

    hz: float
    inharmonicity: float = 0.0
    ring_s: float = 1.5
    level: float = 0.3
    partials: int = 30
    lost: tuple[int, ...] = ()
    weak: tuple[tuple[int, float], ...] = ()

    def sound(self, rate_hz: int, length_s: float, seed: int = 0) -> Floats:
        """The string alone from its pluck, shape (n,)."""
        rng = np.random.default_rng(seed)
        stretched = self.hz / np.sqrt(1 + self.inharmonicity)
        x = np.zeros(round(rate_hz * length_s))
        gains = dict(self.weak)
        for k in range(1, self.partials + 1):
            f = k * stretched * np.sqrt(1 + self.inharmonicity * k**2)
            phase = rng.uniform(0, 2 * np.pi)
            if k in self.lost or f > 0.45 * rate_hz:
                continue
            gain = self.level * gains.get(k, 1.0) / k
            x += _fading(
                gain, complex(-np.sqrt(k) / self.ring_s, 2 * np.pi * f) / rate_hz, phase, x.size
            )
        return x


def _fading(level: float, change: complex, phase: float, size: int) -> Floats:
    """The real part of level exp(i phase + change n) for n < `size`, from two short tables."""
    inner = 256
    fine = np.exp(change * np.arange(inner))
    coarse = level * np.exp(1j * phase + change * inner * np.arange(-(-size // inner)))
    return np.asarray(
        (np.outer(coarse.real, fine.real) - np.outer(coarse.imag, fine.imag)).ravel()[:size]
    )


def noise(size: int, level_db: float, seed: int = 0) -> Floats:
    """White noise of `size` samples, rms `level_db` relative to 1.0."""
    return 10 ** (level_db / 20) * np.random.default_rng(seed).normal(size=size)


def bent(hz: float, cents_at: Floats, rate_hz: int, ring_s: float = 4.0) -> Floats:
    """A plucked string without stiffness, `cents_at` above `hz` sample by sample, shape (n,)."""
    phase = 2 * np.pi * np.cumsum(hz * 2 ** (cents_at / 1200)) / rate_hz
    t = np.arange(cents_at.size) / rate_hz
    partials = (
        0.2 / k * np.exp(-t * np.sqrt(k) / ring_s) * np.cos(k * phase + k) for k in range(1, 12)
    )
    return sum(partials, np.zeros(t.size))


def after_silence(
    x: Floats, rate_hz: int, silence_s: float = 0.5, hiss_db: float = -90.0
) -> Floats:
    """`x` after a silence, hiss over all of it."""
    whole = np.concatenate((np.zeros(round(silence_s * rate_hz)), x))
    return whole + noise(whole.size, hiss_db, seed=99)


def hear_all(
    x: Floats, rate_hz: int, tracker: str = "aubio", block: int = 1024
) -> tuple[list[Reading], list[Note], list[Heard]]:
    """Readings, notes and everything a listener says of `x`."""
    listener = Listener(rate_hz, tracker=tracker)
    samples = x.astype(np.float32)
    said: list[Heard] = []
    for start in range(0, samples.size, block):
        said += listener.push(samples[start : start + block])
    said += listener.finish()
    readings = [item for item in said if isinstance(item, Reading)]
    notes = [item for item in said if isinstance(item, Note)]
    return readings, notes, said


def cents(hz: float, target_hz: float) -> float:
    """How far `hz` lies above `target_hz`, by the definition: 1200 cents an octave."""
    return float(1200 * np.log2(hz / target_hz))
