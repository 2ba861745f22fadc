"""Drum kits nobody tuned the station to: every number drawn from a seed.

Kicks, toms and snares are membranes that lose tension (a glide down), with an ideal
membrane's modes (zeros of Bessel functions: Abramowitz & Stegun, table 9.5) more or less
strong; cymbals and wires are noise in bands. Ranges are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.support.strings import Floats

TAKES = 4  # of each stroke, which a loop plays by turns
MODES = (1.0, 1.593, 2.136, 2.296, 2.653, 2.918)


def membrane(
    rate_hz: int,
    rng: np.random.Generator,
    hz: float,
    rings_s: float,
    glide: float,
    upper: float,
) -> Floats:
    """A stroke of a head that settles at `hz`, shape (n,).

    It begins `glide` times higher, falls to 1/e in `rings_s`; the modes above the first are up
    to `upper` as strong and ring half as long.
    """
    t = np.arange(round(5 * rings_s * rate_hz)) / rate_hz
    falls_s = rng.uniform(0.01, 0.06)
    phase = 2 * np.pi * np.cumsum(hz * (1 + (glide - 1) * np.exp(-t / falls_s))) / rate_hz
    x = np.exp(-t / rings_s) * np.sin(phase)
    for mode in MODES[1:]:
        gone = np.exp(-t / (rings_s * rng.uniform(0.2, 0.6)))
        x += upper * rng.uniform(0, 1) * gone * np.sin(mode * phase + rng.uniform(0, 6.28))
    click = rng.normal(size=t.size) * np.exp(-t / 0.002)
    return np.asarray(x + rng.uniform(0.02, 0.3) * click)


def band(rate_hz: int, rng: np.random.Generator, length_s: float, from_hz: float) -> Floats:
    """Noise from `from_hz` up, shape (n,), rms 1."""
    size = round(length_s * rate_hz)
    spectrum = np.fft.rfft(rng.normal(size=size))
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    spectrum *= 1 / (1 + (from_hz / np.maximum(hz, 1.0)) ** 6)
    x = np.fft.irfft(spectrum, size)
    return np.asarray(x / x.std())


class Kit:
    """One drummer's kit: `snare_hz` is where the snare's body rings."""

    def __init__(self, rate_hz: int, seed: int, snare_hz: float | None = None) -> None:
        self.rate_hz = rate_hz
        self._rng = rng = np.random.default_rng(seed)
        self.kick_hz, self._kick_s = rng.uniform(40, 90), 10 ** rng.uniform(-1.3, -0.3)
        self._kick_glide, self._kick_upper = rng.uniform(1.0, 4.0), rng.choice([0.0, 0.02, 0.2])
        self.snare_hz = rng.uniform(150, 260) if snare_hz is None else snare_hz
        self._snare_s, self._wires = rng.uniform(0.03, 0.1), rng.uniform(0.1, 1.0)
        self.tom_hz = tuple(rng.uniform(70, 250, 3))
        self._tom_s, self._tom_upper = rng.uniform(0.08, 0.4), rng.uniform(0.05, 0.5)
        self._hat_hz, self._hat_s = rng.uniform(3000, 9000), rng.uniform(0.02, 0.25)

    def kick(self) -> Floats:
        """A stroke of the bass drum."""
        args = (self.kick_hz, self._kick_s, self._kick_glide, self._kick_upper)
        return membrane(self.rate_hz, self._rng, *args)

    def snare(self) -> Floats:
        """Wires over a body."""
        body = membrane(self.rate_hz, self._rng, self.snare_hz, self._snare_s, 1.05, 0.5)
        wires = band(self.rate_hz, self._rng, 0.5, 1500.0)
        t = np.arange(wires.size) / self.rate_hz
        x = 0.5 * self._wires * wires * np.exp(-t / 0.09)
        size = min(x.size, body.size)
        x[:size] += body[:size]
        return x

    def tom(self) -> Floats:
        """One of the toms."""
        hz = float(self._rng.choice(self.tom_hz))
        return membrane(self.rate_hz, self._rng, hz, self._tom_s, 1.08, self._tom_upper)

    def hat(self) -> Floats:
        """A closed hat, or an open one now and then."""
        rings_s = self._hat_s * self._rng.choice([1.0, 1.0, 4.0])
        x = band(self.rate_hz, self._rng, 5 * rings_s, self._hat_hz)
        return np.asarray(0.2 * x * np.exp(-np.arange(x.size) / self.rate_hz / rings_s))

    def loop(self, length_s: float) -> Floats:
        """A pattern of the kit's own, over and over, by a drummer's hands; shape (n,)."""
        rng, rate_hz = self._rng, self.rate_hz
        step_s = 15 / rng.uniform(70, 170)  # sixteenths
        pattern: list[list[Callable[[], Floats]]] = [[] for _ in range(16)]
        for place in range(16):
            if place % 8 == 0 or rng.uniform() < 0.1:
                pattern[place].append(self.kick)
            if place % 8 == 4 or rng.uniform() < 0.05:
                pattern[place].append(self.snare)
            if place % 2 == 0 and rng.uniform() < 0.8:
                pattern[place].append(self.hat)
            if place > 11 and rng.uniform() < 0.3:
                pattern[place].append(self.tom)
        made = (self.kick, self.snare, self.hat, self.tom)
        takes = {make: [make() for _ in range(TAKES)] for make in made}
        x = np.zeros(round((length_s + 4) * rate_hz))
        for number in range(int(length_s / step_s) + 1):
            for stroke in pattern[number % 16]:
                at = max(0, round((number * step_s + rng.normal(0, 0.004)) * rate_hz))
                sound = takes[stroke][int(rng.integers(TAKES))][: x.size - at]
                x[at : at + sound.size] += rng.uniform(0.5, 1.0) * sound
        return x[: round(length_s * rate_hz)]
