"""Two strings sounding together, with a known beat, for checks of what is heard of them.

Synthetic ones, and recordings of a sound font's single strings, one of them replayed faster by
known cents and added to the other; what each partial of a recording is, is measured on it alone
by another method than the station's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from station.music.pairs import StringPair
from tests.support.soundfont import Strike, render
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


RECORDED_HZ = 48_000
PLUCK_S = 0.3
HALF_TAPS = 16


def recorded(folder: Path, program: int, midi: int, seconds: float = 4.0) -> Floats:
    """One note of a sound font's program, plucked after PLUCK_S, shape (n,), at RECORDED_HZ."""
    strike = Strike(program, midi, PLUCK_S, seconds)
    path = render(folder / f"{program}-{midi}.wav", [strike], RECORDED_HZ, gain=0.6)
    samples, _ = soundfile.read(path)
    path.unlink()
    return samples[: round((PLUCK_S + seconds) * RECORDED_HZ), 0]


def replayed(x: Floats, cents: float) -> Floats:
    """`x` played faster by so many cents: band-limited interpolation, Kaiser-windowed sinc."""
    ratio = 2 ** (cents / 1200)
    at = np.arange(int((x.size - 2 * HALF_TAPS) / ratio)) * ratio
    whole = np.floor(at).astype(np.intp)
    share = at - whole
    padded = np.pad(x, HALF_TAPS)
    out = np.zeros(at.size)
    for k in range(1 - HALF_TAPS, HALF_TAPS + 1):
        off = share - k
        window = np.i0(9 * np.sqrt(np.clip(1 - (off / HALF_TAPS) ** 2, 0, 1))) / np.i0(9)
        out += padded[whole + k + HALF_TAPS] * np.sinc(off) * window
    return out


def line_alone_hz(x: Floats, near_hz: float, from_s: float, to_s: float) -> float:
    """The frequency of a partial that stands alone, by the slope of its phase (Tretter 1985)."""
    part = x[round(from_s * RECORDED_HZ) : round(to_s * RECORDED_HZ)]
    size = RECORDED_HZ // 4
    hz = near_hz
    for _ in range(3):
        starts = np.arange(0, part.size - size, size // 8)
        carrier = np.exp(-2j * np.pi * hz * np.arange(part.size) / RECORDED_HZ)
        still, window = part * carrier, np.hanning(size)
        heard = np.array([window @ still[s : s + size] for s in starts])
        weight = np.abs(heard)
        phase = np.unwrap(np.angle(heard))
        slope, _ = np.polyfit(starts / RECORDED_HZ, phase, 1, w=weight)
        hz += float(slope) / (2 * np.pi)
    return hz


@dataclass(frozen=True)
class Mixed:
    """Two recordings sounded at once, and how fast their meeting partials beat, signed."""

    x: Floats
    beat_hz: float


def mixed(first: Floats, second: Floats, pair: StringPair, cents: float, to_s: float) -> Mixed:
    """`first` and `second` at once, the second replayed `cents` higher, until `to_s`.

    What beats is told by the two recordings' own partials, each measured alone.
    """
    moved = replayed(second, cents)
    p, q = pair.partials
    from_s = PLUCK_S + 0.6
    one = line_alone_hz(first, p * pair.first.target_hz(A4_HZ), from_s, to_s)
    near = q * pair.second.target_hz(A4_HZ) * 2 ** (cents / 1200)
    other = line_alone_hz(moved, near, from_s, to_s)
    stop = round(to_s * RECORDED_HZ)
    return Mixed(first[:stop] + moved[:stop], one - other)
