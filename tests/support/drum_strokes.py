"""Strokes on drums with known modes, what is no drum, and what is heard of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from station.measure.drums.ear import DrumEar
from station.measure.drums.types import Stroke

Floats = NDArray[np.float64]
RATE_HZ = 48_000
NEPERS_RT60 = 3 * math.log(10)


@dataclass(frozen=True)
class Ringing:
    """A mode: settled frequency, amplitude at the stroke, RT60."""

    hz: float
    level: float
    ring_s: float


@dataclass(frozen=True)
class Drum:
    """A drum's modes; the first is its loudest, whose power bends all of them.

    `glide`: the share of its frequency by which each mode is higher at the stroke. `click`: the
    stick's, some milliseconds of noise. `wires`: a snare's, noise that dies away within `wires_s`.
    """

    modes: tuple[Ringing, ...]
    glide: float = 0.0
    click: float = 0.05
    wires: float = 0.0
    wires_s: float = 0.25
    seed: int = 0

    def sound(self, length_s: float, rate_hz: int = RATE_HZ) -> Floats:
        """One stroke from its first sample on, shape (n,)."""
        rng = np.random.default_rng(self.seed)
        t = np.arange(round(length_s * rate_hz)) / rate_hz
        bend = 2 * NEPERS_RT60 / self.modes[0].ring_s
        phase = 2 * np.pi * (t + self.glide * (1 - np.exp(-bend * t)) / bend)
        x = self.click * rng.normal(size=t.size) * np.exp(-t / 0.002)
        x += self.wires * rng.normal(size=t.size) * np.exp(-NEPERS_RT60 * t / self.wires_s)
        for mode in self.modes:
            start = rng.uniform(0, 2 * np.pi)
            x += (
                mode.level
                * np.exp(-NEPERS_RT60 * t / mode.ring_s)
                * np.sin(mode.hz * phase + start)
            )
        return x


def tom(hz: float = 110.0, ring_s: float = 1.2, glide: float = 0.02, seed: int = 0) -> Drum:
    """A tom with an ideal membrane's lower modes (Abramowitz & Stegun, table 9.5)."""
    modes = (
        Ringing(hz, 0.5, ring_s),
        Ringing(1.593 * hz, 0.15, 0.6 * ring_s),
        Ringing(2.136 * hz, 0.08, 0.4 * ring_s),
        Ringing(2.296 * hz, 0.06, 0.35 * ring_s),
    )
    return Drum(modes, glide, seed=seed)


def take(
    strokes: Sequence[tuple[float, Floats]],
    length_s: float,
    noise_db: float = -80.0,
    rate_hz: int = RATE_HZ,
    seed: int = 0,
) -> Floats:
    """Sounds at their times, with white noise of `noise_db` rms, shape (n,)."""
    x = 10 ** (noise_db / 20) * np.random.default_rng(seed).normal(size=round(length_s * rate_hz))
    for at_s, sound in strokes:
        first = round(at_s * rate_hz)
        part = sound[: x.size - first]
        x[first : first + part.size] += part
    return x


def told(x: Floats, rate_hz: float = RATE_HZ, block: int = 1024) -> list[Stroke]:
    """All that the ear says of `x`, shape (n,), as it says it."""
    ear = DrumEar(rate_hz)
    samples = x.astype(np.float32)
    said: list[Stroke] = []
    for first in range(0, samples.size, block):
        said += ear.push(samples[first : first + block])
    return [*said, *ear.finish()]


def heard(x: Floats, rate_hz: float = RATE_HZ, block: int = 1024) -> list[Stroke]:
    """Each stroke as it was last told, in order."""
    last = {stroke.at_s: stroke for stroke in told(x, rate_hz, block)}
    return [last[at_s] for at_s in sorted(last)]


def alone(x: Floats, rate_hz: int, level: float = 0.8) -> Floats:
    """A recording with a little of nothing before and behind it, below full scale."""
    quiet = round(0.4 * rate_hz)
    return take([(0.4, level * x)], (x.size + 2 * quiet) / rate_hz, -100.0, rate_hz)


def one_stroke(x: Floats, rate_hz: int) -> Stroke:
    """The only stroke of a recording; fails where there is none, or are several."""
    (stroke,) = heard(alone(x, rate_hz), rate_hz)
    return stroke


def fft_peak_hz(x: Floats, rate_hz: float, near_hz: float, within: float = 0.08) -> float:
    """The highest point of a long zero-padded Hann spectrum near a frequency.

    Independent of what is tested; a parabola through the logarithms of the three highest
    bins (Smith & Serra 1987).
    """
    size = 1 << 21
    power = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(x.size), size))
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    inside = np.flatnonzero(np.abs(hz / near_hz - 1) < within)
    top = int(inside[np.argmax(power[inside])])
    low, middle, high = np.log(power[top - 1 : top + 2])
    return float(hz[top] + 0.5 * (low - high) / (low - 2 * middle + high) * (hz[1] - hz[0]))


def clap(rate_hz: int = RATE_HZ, seed: int = 0) -> Floats:
    """Hands: four bursts of noise around 1.2 kHz some milliseconds apart (from memory)."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(0.2 * rate_hz)) / rate_hz
    x = np.zeros(t.size)
    for at_s in (0.0, 0.009, 0.017, 0.026):
        late = np.maximum(t - at_s, 0.0)
        x += (t >= at_s) * np.exp(-late / 0.012) * rng.normal(size=t.size)
    spectrum = np.fft.rfft(x)
    hz = np.fft.rfftfreq(t.size, 1 / rate_hz)
    spectrum *= np.exp(-0.5 * np.square(np.log(np.maximum(hz, 1.0) / 1200.0) / 0.4))
    y = np.fft.irfft(spectrum, t.size)
    return np.asarray(0.6 * y / np.abs(y).max())


def rim_click(rate_hz: int = RATE_HZ, seed: int = 0) -> Floats:
    """A stick on the rim: short modes of wood and shell from 700 Hz up, the head hardly moved."""
    modes = tuple(Ringing(hz, 0.2, 0.05) for hz in (740.0, 1160.0, 1730.0, 2480.0))
    return replace(Drum(modes, click=0.3, seed=seed)).sound(0.4, rate_hz)


def speech(rate_hz: int = RATE_HZ, seed: int = 0, hz: float = 120.0) -> Floats:
    """Six syllables: pulses of the vocal folds through three formants, louder and softer.

    Formants of three vowels by Peterson & Barney 1952 (from memory), 80 Hz wide.
    """
    rng = np.random.default_rng(seed)
    vowels = ((730.0, 1090.0, 2440.0), (270.0, 2290.0, 3010.0), (570.0, 840.0, 2410.0))
    whole = np.zeros(round(2.4 * rate_hz))
    for place in range(6):
        t = np.arange(round(0.28 * rate_hz)) / rate_hz
        pitch = hz * (1 + 0.1 * np.sin(9 * t + rng.uniform(0, 6)))
        phase = np.cumsum(pitch) / rate_hz
        x = np.diff(np.floor(phase), prepend=0.0) + 0.01 * rng.normal(size=t.size)
        spectrum = np.fft.rfft(x)
        at = np.fft.rfftfreq(t.size, 1 / rate_hz)
        gain = sum(1 / (1 + 1j * (at - each) / 40.0) for each in vowels[place % 3])
        y = np.fft.irfft(spectrum * gain, t.size) * np.sin(np.pi * t / t[-1]) ** 0.5
        first = round((0.1 + 0.37 * place) * rate_hz)
        whole[first : first + y.size] += 0.4 * y / np.abs(y).max()
    return whole


def bass_note(hz: float, length_s: float = 1.2, rate_hz: int = RATE_HZ, seed: int = 0) -> Floats:
    """A plucked bass string: partials at k F sqrt(1 + B k^2) (Fletcher 1964)."""
    rng = np.random.default_rng(seed)
    t = np.arange(round(length_s * rate_hz)) / rate_hz
    x = np.zeros(t.size)
    for k in range(1, 14):
        partial_hz = k * hz * math.sqrt(1 + 1e-4 * k * k)
        fading = np.exp(-NEPERS_RT60 * t * math.sqrt(k) / 5.0)
        x += 0.3 / k * fading * np.sin(2 * np.pi * partial_hz * t + rng.uniform(0, 6.28))
    edge = np.minimum(1.0, np.minimum(t / 0.003, t[::-1] / 0.02))
    return np.asarray(x * edge)
