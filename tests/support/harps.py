"""Instruments of fixed pitch that were never built: notes as the ear would tell them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from station.measure.fixed.a4 import InstrumentPitch
from station.measure.fixed.offsets import sounded
from station.measure.fixed.shapes import NAMINGS, shapes
from station.measure.fixed.types import FixedNote, Reed
from station.music.temperaments import (
    PITCH_CLASSES,
    TEMPERAMENTS,
    TemperamentName,
    roots_of,
    temperament_cents,
)
from tests.support.strings import Floats

Scatter = Callable[[np.random.Generator, int], Floats]

SCATTERS: dict[str, tuple[Scatter, float]] = {
    "within ±2 cents": (lambda rng, count: rng.uniform(-2.0, 2.0, count), 4.0 / math.sqrt(12.0)),
    "Gaussian, 2 cents": (lambda rng, count: rng.normal(0.0, 2.0, count), 2.0),
}
"""Both readings of "2 cents at random", and the standard deviation of each."""

MAJOR_STEPS = (0, 2, 4, 5, 7, 9, 11)
KEYBOARD = range(48, 85)  # C3 to C6


def fixed_note(
    midi: int,
    cents: float = 0.0,
    a4_hz: float = 440.0,
    unsure: float = 0.1,
    inharmonicity: float = 0.0,
    partials: int = 10,
    onset_s: float | None = None,
) -> FixedNote:
    """A note so many cents from equal temperament; each its own moment unless one is given."""
    hz = a4_hz * 2.0 ** ((midi - 69) / 12.0 + cents / 1200.0)
    at_s = float(midi) if onset_s is None else onset_s
    reeds = (Reed(hz, unsure, 0.0),)
    return FixedNote(1, at_s, at_s + 0.8, hz, unsure, inharmonicity, partials, reeds, None)


@dataclass(frozen=True)
class Harp:
    """An instrument of a known temperament whose reeds are off by ``errors`` cents each."""

    name: TemperamentName
    root: str | None
    a4_hz: float
    midi: tuple[int, ...]
    errors: tuple[float, ...]

    @property
    def asked(self) -> Floats:
        """Cents from equal temperament its temperament asks of each note."""
        return np.array(temperament_cents(self.name, self.root))[np.array(self.midi) % 12]

    @property
    def offsets(self) -> Floats:
        """Cents of each note from equal temperament at 440 Hz."""
        return 1200.0 * math.log2(self.a4_hz / 440.0) + self.asked + np.array(self.errors)

    def notes(self) -> list[FixedNote]:
        return [
            fixed_note(midi, float(cents))
            for midi, cents in zip(self.midi, self.offsets, strict=True)
        ]

    def steps(self, found: InstrumentPitch) -> int:
        """Semitones by which the notes are named above their own names."""
        return found.notes[0].midi - min(self.midi)

    def best_a4_cents(self, found: InstrumentPitch) -> float | None:
        """Cents from 440 Hz of the A4 that fits the reeds as they are, named as ``found`` names.

        Least squares under the true temperament. What sounds may be named a semitone apart (440
        and 415 Hz are one instrument with two sets of names): the root then moves along. None
        where the temperament has no such root.
        """
        steps = self.steps(found)
        root = self.root and PITCH_CLASSES[(PITCH_CLASSES.index(self.root) + steps) % 12]
        if root not in roots_of(self.name):
            return None
        asked = np.array(temperament_cents(self.name, root))[(np.array(self.midi) + steps) % 12]
        return float((self.offsets - asked).mean()) - 100.0 * steps


def open_a4_cents(harp: Harp, found: InstrumentPitch) -> float | None:
    """As ``best_a4_cents``, but the mean over all roots that no note of the harp tells apart.

    They ask the same of every note and have another A: keys a fifth apart, or a chain of fifths
    whose wolf lies beside an A that was not heard, on either side. Each counts as it is common.
    """
    heard = sounded(harp.notes())
    classes = [each.midi % 12 for each in heard]
    known = shapes(frozenset(classes))
    naming = NAMINGS.index(heard[0].midi - found.notes[0].midi)
    asked = known.cents[:, classes]
    same = np.ptp(asked - harp.asked, axis=1) < 1e-6
    same &= known.family == TEMPERAMENTS.index(harp.name)
    same &= np.isfinite(known.shift[:, naming])
    if not same.any():
        return None
    cents = np.array([each.cents for each in heard])
    a4_cents = (cents - asked[same]).mean(axis=1) + known.shift[same, naming]
    return float(np.average(a4_cents, weights=np.exp(known.log_prior[same])))


def random_harp(
    rng: np.random.Generator,
    name: TemperamentName,
    count: int,
    scatter: Scatter,
    a4_hz: tuple[float, float] = (412.0, 446.0),
    diatonic: bool = False,
) -> Harp:
    """Random notes, root where there are several, and A4."""
    roots = roots_of(name)
    root = roots[rng.integers(len(roots))]
    key = PITCH_CLASSES.index(root or "C")
    pool = [m for m in KEYBOARD if not diatonic or (m - key) % 12 in MAJOR_STEPS]
    midi = sorted(rng.choice(pool, min(count, len(pool)), replace=False).tolist())
    errors = scatter(rng, len(midi)).tolist()
    return Harp(name, root, rng.uniform(*a4_hz), tuple(midi), tuple(errors))


def cents_of(found: InstrumentPitch) -> float:
    """A4 in cents from 440 Hz."""
    return 1200.0 * math.log2(found.a4_hz / 440.0)


@dataclass(frozen=True)
class Ideal:
    """What one would say who knew sigma and that no reed is bad; A4 is averaged over roots."""

    name: str
    probability: float
    a4_cents: float


def ideal_observer(harp: Harp, sigma: float, steps: int = 0) -> Ideal:
    """Bayes' choice among the named temperaments, each root alike, A4 free, sigma known.

    Of residuals r with a free mean the likelihood is exp(-sum (r - mean)^2 / 2 sigma^2). Notes
    are named ``steps`` semitones above their own names.
    """
    places = (np.array(harp.midi) + steps) % 12
    log_p: dict[str, Floats] = {}
    a4_cents: dict[str, Floats] = {}
    for name in TEMPERAMENTS:
        tables = np.array([temperament_cents(name, root) for root in roots_of(name)])
        r = harp.offsets - 100.0 * steps - tables[:, places]
        log_p[name] = -r.var(axis=1) * len(places) / (2.0 * sigma**2) - math.log(len(tables))
        a4_cents[name] = r.mean(axis=1)
    sums = {name: float(np.logaddexp.reduce(each)) for name, each in log_p.items()}
    best = max(sums, key=lambda name: sums[name])
    total = float(np.logaddexp.reduce(list(sums.values())))
    shares = np.exp(log_p[best] - sums[best])
    return Ideal(best, math.exp(sums[best] - total), float(shares @ a4_cents[best]))


def bets_on(harp: Harp, reading: str) -> str:
    """The name an observer bets on who knows how reeds scatter, roots all alike, A4 free.

    Evenly within w either way every A4 is as good as another that leaves all residuals within
    w of nought, so the likelihood of residuals of range R is 2 w - R, none from R = 2 w on.
    """
    scatter, sigma = SCATTERS[reading]
    if scatter is not SCATTERS["within ±2 cents"][0]:
        return ideal_observer(harp, sigma).name
    width = sigma * math.sqrt(12.0)
    places = np.array(harp.midi) % 12
    shares: dict[str, float] = {}
    for name in TEMPERAMENTS:
        tables = np.array([temperament_cents(name, root) for root in roots_of(name)])
        spans = np.ptp(harp.offsets - tables[:, places], axis=1)
        shares[name] = float(np.maximum(width - spans, 0.0).mean())
    return max(shares, key=lambda name: shares[name])


def with_a_bad_reed(rng: np.random.Generator, harp: Harp) -> Harp:
    """The same with one reed 8 to 40 cents off, either way."""
    errors = list(harp.errors)
    errors[rng.integers(len(errors))] = float(rng.choice([-1.0, 1.0]) * rng.uniform(8.0, 40.0))
    return Harp(harp.name, harp.root, harp.a4_hz, harp.midi, tuple(errors))
