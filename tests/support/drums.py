"""Synthetic drums, seeded, for checks that they are never taken for strings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.support.strings import Floats

SNARE_HZ = 190.0  # the body of a 14-inch snare rings near there (common practice, no source)
HATS_ABOVE_HZ = 6000.0


@dataclass(frozen=True)
class Kick:
    """A membrane losing its tension: from `from_hz` down to `to_hz`, with two time constants."""

    from_hz: float = 150.0
    to_hz: float = 55.0
    falls_s: float = 0.03
    rings_s: float = 0.15

    def sound(self, rate_hz: int) -> Floats:
        """One stroke, shape (n,), peak near 1, until it has fallen by 60 dB."""
        t = np.arange(round(7 * self.rings_s * rate_hz)) / rate_hz
        hz = self.to_hz + (self.from_hz - self.to_hz) * np.exp(-t / self.falls_s)
        phase = 2 * np.pi * np.cumsum(hz) / rate_hz
        return np.asarray(np.exp(-t / self.rings_s) * np.sin(phase))


def snare(rate_hz: int, seed: int) -> Floats:
    """Rattling wires over a body that rings at SNARE_HZ, shape (n,)."""
    t = np.arange(round(0.3 * rate_hz)) / rate_hz
    wires = np.random.default_rng(seed).normal(size=t.size) * np.exp(-t / 0.08)
    return 0.25 * wires + 0.4 * np.exp(-t / 0.06) * np.sin(2 * np.pi * SNARE_HZ * t)


def cymbal(rate_hz: int, length_s: float, rings_s: float, seed: int) -> Floats:
    """Noise above HATS_ABOVE_HZ dying away, shape (n,)."""
    size = round(length_s * rate_hz)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=size))
    spectrum[np.fft.rfftfreq(size, 1 / rate_hz) < HATS_ABOVE_HZ] = 0
    high = np.fft.irfft(spectrum, size)
    return np.asarray(high * np.exp(-np.arange(size) / rate_hz / rings_s))


def drum_loop(
    rate_hz: int, length_s: float, seed: int = 0, bpm: float = 120.0, kick: Kick | None = None
) -> Floats:
    """Kick on one and three, snare on two and four, hats on every eighth; shape (n,)."""
    rng = np.random.default_rng(seed)
    low = (kick or Kick()).sound(rate_hz)
    eighth_s = 30 / bpm
    strokes = []
    for place in range(round(length_s / eighth_s) + 1):
        at = place * eighth_s + rng.normal(0, 0.003)  # a drummer's hands
        strokes.append((at, 0.2 * cymbal(rate_hz, 0.15, 0.03, seed + place)))
        if place % 4 == 0:
            strokes.append((at, low))
        if place % 4 == 2:
            strokes.append((at, snare(rate_hz, seed + place)))
    x = np.zeros(round((length_s + 2) * rate_hz))
    for at, sound in strokes:
        start = max(0, round(at * rate_hz))
        sound = sound[: x.size - start]
        x[start : start + sound.size] += rng.uniform(0.8, 1.0) * sound
    return x[: round(length_s * rate_hz)]


def below(other: Floats, string: Floats, by_db: float) -> Floats:
    """`other` made `by_db` weaker than `string`, rms against rms."""
    power = np.mean(string**2) / np.mean(other**2)
    return np.asarray(other * np.sqrt(power) * 10 ** (-by_db / 20))
