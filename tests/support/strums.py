"""Strums mixed from single strings: recorded ones from a sound font, and synthetic ones.

Every string of a mix is a recording of its own, played alone, resampled by a known number of
cents. What the station's own listener says of that recording alone, plus those cents, is what
a strum is held to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile
from numpy.typing import NDArray

from station.measure.listener import Listener
from station.measure.strum.ear import StrumEar
from station.measure.strum.types import Strum, Target
from station.measure.types import Note
from station.music.tunings import Tuning
from tests.support.soundfont import DEFAULT_FONT, Strike, render
from tests.support.strings import StiffString

Floats = NDArray[np.float64]

RATE_HZ = 48000
NOTE_S = 2.6
EVERY_S = 3.2
TAPS = 32
SILENCE_S = 0.4


@dataclass(frozen=True)
class Recorded:
    """One string alone: from its onset, shape (n,), and the settled pitch it is heard at."""

    sound: Floats
    hz: float


@lru_cache(maxsize=16)
def recorded(
    program: int, notes: tuple[int, ...], font: Path = DEFAULT_FONT
) -> dict[int, Recorded]:
    """`notes` (MIDI numbers) as a program plays them; what is heard as another note is left out."""
    strikes = [
        Strike(program, midi, 0.4 + place * EVERY_S, NOTE_S) for place, midi in enumerate(notes)
    ]
    with TemporaryDirectory() as folder:
        path = render(Path(folder) / "notes.wav", strikes, RATE_HZ, font, gain=0.5)
        samples, _ = soundfile.read(path, dtype="float32")
    found = {}
    for place, midi in enumerate(notes):
        first = round((0.3 + place * EVERY_S) * RATE_HZ)
        cut = samples[first : first + round((NOTE_S + 0.1) * RATE_HZ), 0]
        hz = alone(cut)
        if hz is None or abs(1200 * np.log2(hz / (440 * 2 ** ((midi - 69) / 12)))) > 30:
            continue
        begins = int(np.argmax(np.abs(cut) > 0.02 * np.abs(cut).max()))
        sound = cut[max(0, begins - 48) :].astype(float)
        found[midi] = Recorded(sound / np.sqrt(np.mean(sound[: RATE_HZ // 2] ** 2)), hz)
    return found


def alone(x: NDArray[np.float32]) -> float | None:
    """The settled pitch the listener publishes of one note; None if it is not heard as one."""
    listener = Listener(RATE_HZ, tracker="numpy")
    said = []
    for first in range(0, x.size, 4096):
        said += listener.push(x[first : first + 4096])
    notes = [each for each in [*said, *listener.finish()] if isinstance(each, Note)]
    return max(notes, key=lambda note: note.end_s - note.onset_s).hz if notes else None


def resampled(x: Floats, cents: float) -> Floats:
    """`x` played faster by so many cents: windowed-sinc interpolation, shape (m,)."""
    ratio = 2 ** (cents / 1200)
    at = np.arange(TAPS, x.size - TAPS, ratio)
    whole = np.floor(at).astype(int)
    part = at - whole
    out = np.zeros(at.size)
    for tap in range(1 - TAPS // 2, TAPS // 2 + 1):
        away = part - tap
        window = np.cos(np.pi * away / (TAPS + 1)) ** 2
        out += x[whole + tap] * np.sinc(away) * window
    return out


@dataclass(frozen=True)
class Struck:
    """A string of a strum: its number, its pitch when heard alone, where it was missing None."""

    string: int
    hz: float | None


@dataclass(frozen=True)
class Mix:
    """A strum after a silence: `x`, shape (n,), and what its strings are."""

    x: Floats
    strings: tuple[Struck, ...]


def mix(
    tuning: Tuning,
    sounds: dict[int, Recorded],
    rng: np.random.Generator,
    most_cents: float = 40.0,
    missing: float = 0.12,
    length_s: float = 2.3,
) -> Mix:
    """A random strum of `tuning`: detunings, levels, order, delays, missing strings."""
    order = sorted(tuning.strings, key=lambda each: each.number)
    if rng.random() < 0.7:
        order.reverse()
    size = round((SILENCE_S + length_s) * RATE_HZ)
    x = np.zeros(size)
    at = round(SILENCE_S * RATE_HZ)
    gap_s = rng.uniform(0.005, 0.030)
    away = {s.number for s in order if rng.random() < missing}
    if len(away) == len(order):
        away.pop()
    struck = []
    for string in [each for each in order for _ in range(each.unison)]:
        cents = rng.uniform(-most_cents, most_cents)
        level = 10 ** (rng.uniform(-6, 6) / 20)
        if string.number in away:
            struck.append(Struck(string.number, None))
            continue
        source = sounds[string.midi]
        sound = resampled(source.sound, cents)[: size - at]
        x[at : at + sound.size] += level * sound
        struck.append(Struck(string.number, source.hz * 2 ** (cents / 1200)))
        at += round(gap_s * rng.uniform(0.6, 1.4) * RATE_HZ)
    x *= 0.5 / np.abs(x).max()
    x += 10 ** (-75 / 20) * rng.normal(size=size)
    return Mix(x, tuple(struck))


@dataclass(frozen=True)
class PluckedString:
    """A stiff string as real ones are: plucked at a point, gliding, swinging in two directions.

    Partial k starts at sin(pi k `plucked_at`) / k (the plucked string's Fourier series), decays
    with 1 / `ring_s` + `damping` k^2 a second, and has a second direction of swing
    `split_cents` higher, 8 dB softer, ringing twice as long. All glide flat by `glide_cents`
    within a quarter second. Partials stand at random `scatter_cents` from where theory puts them.
    """

    hz: float
    inharmonicity: float
    ring_s: float = 1.2
    damping: float = 0.02
    plucked_at: float = 0.17
    split_cents: float = 0.3
    glide_cents: float = 2.0
    scatter_cents: float = 0.1
    level: float = 0.1

    def sound(self, rate_hz: int, length_s: float, seed: int = 0) -> Floats:
        """The string alone from its pluck, shape (n,)."""
        rng = np.random.default_rng(seed)
        t = np.arange(round(rate_hz * length_s)) / rate_hz
        x = np.zeros(t.size)
        fallen = 0.08 * (1 - np.exp(-t / 0.08))
        glide = self.glide_cents * np.log(2) / 1200
        stretched = self.hz / np.sqrt(1 + self.inharmonicity)
        for k in range(1, 41):
            f = k * stretched * np.sqrt(1 + self.inharmonicity * k**2)
            f *= 2 ** (rng.normal(0, self.scatter_cents) * (k > 1) / 1200)
            if f > min(9000.0, 0.45 * rate_hz):
                break
            gain = self.level * np.sin(np.pi * k * self.plucked_at) / k
            decay = 1 / self.ring_s + self.damping * k**2
            for share, split, slower in ((1.0, 0.0, 1.0), (0.4, self.split_cents, 0.5)):
                turns = f * 2 ** (split / 1200) * (t + glide * fallen)
                phase = rng.uniform(0, 2 * np.pi)
                wave = np.exp(-decay * slower * t) * np.cos(2 * np.pi * turns + phase)
                x += share * gain * wave
        return x


def synthetic(
    strings: Sequence[tuple[float, StiffString | PluckedString | None]],
    rate_hz: int = RATE_HZ,
    length_s: float = 2.3,
    hiss_db: float = -80.0,
    seed: int = 0,
) -> Floats:
    """Stiff strings, each struck so many seconds after the first, after a silence."""
    rng = np.random.default_rng(seed)
    x = np.zeros(round((SILENCE_S + length_s) * rate_hz))
    for place, (delay_s, string) in enumerate(strings):
        if string is None:
            continue
        at = round((SILENCE_S + delay_s) * rate_hz)
        x[at:] += string.sound(rate_hz, (x.size - at) / rate_hz, seed + 17 * place)[: x.size - at]
    return x + 10 ** (hiss_db / 20) * rng.normal(size=x.size)


def heard_strums(
    x: Floats, rate_hz: int, targets: Sequence[Target], whole: bool = False, block: int = 4096
) -> list[Strum]:
    """Every strum an ear tells of `x`, shape (n,)."""
    ear = StrumEar(rate_hz, targets, whole=whole)
    samples = x.astype(np.float32)
    told: list[Strum] = []
    for first in range(0, samples.size, block):
        told += ear.push(samples[first : first + block])
    return told + ear.finish()


@dataclass
class Score:
    """How near strums were: strings in all, and what was told of them.

    `errors`: cents from each string's true pitch. A course counts as one: each pitch told of
    it is held to the nearest of its strings, or to any between them where it is told as one.
    """

    errors: list[float] = field(default_factory=list)
    unsure: list[float] = field(default_factory=list)
    present: int = 0
    lost: int = 0
    missing: int = 0
    ghosts: int = 0
    pairs: int = 0
    split: int = 0

    def add(self, mixed: Mix, targets: Sequence[Target], strums: Sequence[Strum]) -> None:
        """One more strum; nothing told of it loses every string."""
        strum = max(strums, key=lambda each: each.present, default=None)
        for target in targets:
            struck = [each.hz for each in mixed.strings if each.string in target.numbers]
            true = sorted(hz for hz in struck if hz is not None)
            heard = [] if strum is None else list(strum.strings)
            told = [s for s in heard if s.hz is not None and set(s.numbers) <= set(target.numbers)]
            self.present += bool(true)
            self.lost += bool(true) and not told
            self.missing += not true
            self.ghosts += bool(told) and not true
            self.pairs += len(true) > 1
            self.split += len(true) > 1 and len(told) > 1
            if true:
                self.errors += [_off(string.hz or 0.0, true, len(told)) for string in told]
                self.unsure += [string.uncertainty_cents or 0.0 for string in told]

    def within(self, cents: float) -> float:
        """The share of strings told that lie so near their true pitch."""
        return float(np.mean(np.abs(self.errors) <= cents)) if self.errors else 0.0


def _off(hz: float, true: Sequence[float], told: int) -> float:
    if told == 1 and true[0] <= hz <= true[-1]:
        return 0.0
    return min((float(1200 * np.log2(hz / each)) for each in true), key=abs)
