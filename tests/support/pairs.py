"""Two strings sounding together, with a known beat, for checks of what is heard of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.music.pairs import StringPair
from tests.support.strings import Floats, noise

A4_HZ = 440.0


@dataclass(frozen=True)
class Plucked:
    """A string as it sounds: first partial `hz`, B, and the time to 1/e of its first partial.

    Only multiples of `harmonic` sound; what a finger leaves of the others is `left` of them.
    Partial k starts at `level` / k and falls to 1/e in `ring_s` / sqrt(k). It is plucked `at_s`
    after the beginning, `glide_cents` sharp, which falls away as exp(-t / `glide_s`).
    """

    hz: float
    stiffness: float = 6e-5
    ring_s: float = 3.0
    level: float = 0.2
    harmonic: int = 1
    left: float = 0.0
    at_s: float = 0.3
    glide_cents: float = 0.0
    glide_s: float = 0.12

    def partial_hz(self, k: int) -> float:
        """Where partial k settles: k F sqrt(1 + B k^2), the first at `hz` (Fletcher 1964)."""
        b = self.stiffness
        return self.hz * k * float(np.sqrt((1 + b * k * k) / (1 + b)))

    def sound(self, rate_hz: int, length_s: float, rng: np.random.Generator) -> Floats:
        """The string alone, shape (n,)."""
        t = np.arange(round(rate_hz * length_s)) / rate_hz - self.at_s
        after = t >= 0
        t = np.where(after, t, 0.0)
        # The glide's phase: the integral of exp(-t / glide_s), in seconds.
        bend = self.glide_s * (1 - np.exp(-t / self.glide_s)) * (2 ** (self.glide_cents / 1200) - 1)
        x = np.zeros(t.size)
        for k in range(1, 25):
            f = self.partial_hz(k)
            phase = rng.uniform(0, 2 * np.pi)
            share = 1.0 if k % self.harmonic == 0 else self.left
            if f > 0.45 * rate_hz or share == 0:
                continue
            size = self.level * share / max(1, k // self.harmonic if share == 1 else k)
            fall = np.exp(-t * np.sqrt(k / self.harmonic) / self.ring_s)
            x += size * fall * np.cos(2 * np.pi * f * (t + bend) + phase)
        return np.where(after, x, 0.0)


def together(
    strings: Sequence[Plucked], rate_hz: int, length_s: float, snr_db: float, seed: int
) -> Floats:
    """All strings at once, with white noise `snr_db` under their first half second."""
    rng = np.random.default_rng(seed)
    x = sum((s.sound(rate_hz, length_s, rng) for s in strings), np.zeros(round(rate_hz * length_s)))
    first = round(max(s.at_s for s in strings) * rate_hz)
    power = float(np.mean(np.square(x[first : first + rate_hz // 2])))
    return x + noise(x.size, 10 * float(np.log10(power)) - snr_db, seed + 1)


def sides(
    pair: StringPair, beat_hz: float, harmonic: bool = False, **shared: float
) -> tuple[Plucked, Plucked]:
    """The first string in its place, the second so that the lowest meeting beats at `beat_hz`.

    Positive: the first string's line is the upper one.
    """
    p, q = pair.partials
    first = Plucked(pair.first.target_hz(A4_HZ), harmonic=p if harmonic else 1, **shared)
    second = Plucked(pair.second.target_hz(A4_HZ), harmonic=q if harmonic else 1, **shared)
    wanted = first.partial_hz(p) - beat_hz
    hz = second.hz * wanted / second.partial_hz(q)
    return first, Plucked(hz, harmonic=second.harmonic, **shared)
