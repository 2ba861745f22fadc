"""Every way an instrument may be tuned, as shapes over the pitch classes that sound.

A *shape* is twelve cents, for the pitch classes as they sound against 440 Hz. A *naming* says
which of them is called A: what sounds as A flat at 440 Hz is the A of an instrument at 415 Hz.
Under a naming of k semitones the note that sounds as m is called m - k, and A4 is 100 k cents
farther up. Tunings that are the same but for a constant are one shape with several names.

Priors: every named temperament is as likely as another. Free per-note offsets are what is said
when none of them fits, and start with ``OFFSETS_SHARE``. A chain of fifths has its wolf mostly
where no two naturals meet, most often between G# and Eb (Barbour; the shares: common practice,
no source). That matters: with the wolf between D and A the naturals of a Pythagorean keyboard
are those of just C but for a schisma, 2 cents, and would have another A4.

Of just the ratios' weights are in ``music.temperaments``; every key is as likely as another,
but which keys an instrument may have also follows from the notes it has: most just instruments
are diatonic, built on the major scale of their key and without any other note (common practice,
no source for the shares), a few on the natural minor scale, some chromatic. A set of h notes is
then drawn from 7 or from 12.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np

from station.measure.fixed.evidence import Floats, Integers
from station.music.temperaments import (
    JUST_CHROMATIC,
    JUST_DIATONIC,
    PITCH_CLASSES,
    TEMPERAMENTS,
    Choice,
    TemperamentName,
    ratio_cents,
    roots_of,
    versions,
)

OFFSETS = "per-note offsets"
FAMILIES: tuple[str, ...] = (*TEMPERAMENTS, OFFSETS)
NAMINGS = (0, -1, 1, -2)
"""Semitones: A4 lies in 390 to 470 Hz with no others."""

OFFSETS_SHARE = 0.02
NAMED_SHARE = (1.0 - OFFSETS_SHARE) / len(TEMPERAMENTS)
WOLF_SHARES = {0: 0.4, 5: 0.17, 7: 0.17, 10: 0.08, 3: 0.08, 2: 0.04}
WOLF_SHARE = (1.0 - sum(WOLF_SHARES.values())) / (12 - len(WOLF_SHARES))
WOLF_ENDS = (8, 3)  # G# and Eb, of the chain about C
WOLF_IN_SCALE = 0.02
"""Nobody tunes an instrument of one scale with its wolf within (common practice, no source)."""
MAJOR = frozenset({0, 2, 4, 5, 7, 9, 11})
MINOR = frozenset({0, 2, 3, 5, 7, 8, 10})
MAJOR_SHARE, MINOR_SHARE, CHROMATIC_SHARE = 0.7, 0.05, 0.25


@dataclass(frozen=True)
class Shapes:
    """T shapes and what they may be called in each naming.

    ``cents`` (T, 12), ``log_prior`` and ``family`` (T,). In naming ``NAMINGS[k]`` A4 lies
    ``shift[:, k]`` cents above the shape's own nought, NaN where a shape has no such name, and
    ``roots[t][k]`` is its root. The last shape stands for free per-note offsets.
    """

    cents: Floats
    log_prior: Floats
    family: Integers
    shift: Floats
    roots: tuple[tuple[str | None, ...], ...]


Taken = tuple[float, ...]
Degree = tuple[tuple[float, float], ...]
"""Of one semitone above the key note: the ratios in use, in cents from equal, with weights."""


def _in_cents(kind: tuple[tuple[Choice, ...], ...]) -> tuple[Degree, ...]:
    return tuple(
        tuple((ratio_cents(each.ratio) - 100.0 * steps, each.weight) for each in choices)
        for steps, choices in enumerate(kind)
    )


CHROMATIC_CENTS, DIATONIC_CENTS = _in_cents(JUST_CHROMATIC), _in_cents(JUST_DIATONIC)


class _Gathered:
    """Shapes as they are found; the same shape under another name only adds the name."""

    def __init__(self) -> None:
        self.cents: list[Floats] = []
        self.log_prior: list[float] = []
        self.family: list[int] = []
        self.shift: list[list[float]] = []
        self.roots: list[list[str | None]] = []

    def add(self, family: int, cents: Floats, prior: float) -> int:
        self.cents.append(cents)
        self.log_prior.append(math.log(prior))
        self.family.append(family)
        self.shift.append([math.nan] * len(NAMINGS))
        self.roots.append([None] * len(NAMINGS))
        return len(self.cents) - 1

    def name(self, shape: int, naming: int, root: str | None, shift: float = 0.0) -> None:
        self.shift[shape][naming] = shift + 100.0 * NAMINGS[naming]
        self.roots[shape][naming] = root


@lru_cache(maxsize=64)
def shapes(heard: frozenset[int]) -> Shapes:
    """All shapes that differ on the pitch classes ``heard`` (0 for C to 11 for B)."""
    found = _Gathered()
    for family, name in enumerate(TEMPERAMENTS):
        if name == "just":
            _add_just(found, family, heard)
        else:
            _add_keyboard(found, family, name, heard)
    free = found.add(FAMILIES.index(OFFSETS), np.zeros(12), OFFSETS_SHARE)
    for naming in range(len(NAMINGS)):
        found.name(free, naming, None)
    return Shapes(
        np.array(found.cents),
        np.array(found.log_prior),
        np.array(found.family),
        np.array(found.shift),
        tuple(tuple(each) for each in found.roots),
    )


class _Keyboard(NamedTuple):
    """One shape of a keyboard temperament, where its root sounds and what it is called."""

    cents: Floats
    weight: float
    sounds_at: int
    names: tuple[tuple[int, str | None, float], ...]


@lru_cache(maxsize=len(TEMPERAMENTS))
def _keyboards(name: TemperamentName) -> tuple[_Keyboard, ...]:
    """Every shape of a keyboard temperament, with its names: naming, root, shift."""
    known: dict[tuple[int, int], tuple[Floats, float]] = {}
    names: dict[tuple[int, int], list[tuple[int, str | None, float]]] = defaultdict(list)
    for (naming, steps), root in product(enumerate(NAMINGS), roots_of(name)):
        sounds_at = (PITCH_CLASSES.index(root) + steps) % 12 if root else 0
        for number, version in enumerate(versions(name, root)):
            cents = np.roll(np.array(version.cents), steps)
            first, _ = known.setdefault((sounds_at, number), (cents, version.weight))
            names[sounds_at, number].append((naming, root, float((first - cents)[0])))
    return tuple(
        _Keyboard(cents, weight, place[0], tuple(names[place]))
        for place, (cents, weight) in known.items()
    )


def _add_keyboard(
    found: _Gathered, family: int, name: TemperamentName, heard: frozenset[int]
) -> None:
    shares = _root_shares(len(roots_of(name)), heard)
    for each in _keyboards(name):
        prior = NAMED_SHARE * each.weight * shares[each.sounds_at]
        shape = found.add(family, each.cents, prior)
        for naming, root, shift in each.names:
            found.name(shape, naming, root, shift)


def _root_shares(roots: int, heard: frozenset[int]) -> list[float]:
    """Share of each root among a temperament's, by the pitch class it sounds at."""
    if roots == 1:
        return [1.0] * 12
    in_scale = _is_one_scale(heard)
    shares = []
    for root in range(12):
        within = in_scale and {(end + root) % 12 for end in WOLF_ENDS} <= heard
        shares.append(WOLF_SHARES.get(root, WOLF_SHARE) * (WOLF_IN_SCALE if within else 1.0))
    return [share / sum(shares) for share in shares]


def _is_one_scale(heard: frozenset[int]) -> bool:
    """Whether the notes may all be of one major scale, as a diatonic instrument's are."""
    return any(heard <= {(key + degree) % 12 for degree in MAJOR} for key in range(12))


def _add_just(found: _Gathered, family: int, heard: frozenset[int]) -> None:
    """Each key with each choice of ratios, by the kind of instrument that has the notes heard."""
    known: dict[tuple[int, Taken], float] = defaultdict(float)
    for key in range(12):
        degrees = frozenset((place - key) % 12 for place in heard)
        for choices, chance in _kinds(degrees):
            for taken in _choices(choices, degrees):
                known[key, tuple(cents for cents, _ in taken)] += chance * math.prod(
                    taken[degree][1] for degree in degrees
                )
    total = sum(known.values())
    for (key, above), chance in known.items():
        prior = NAMED_SHARE * chance / total
        shape = found.add(family, np.array(above)[_ABOVE[key]], prior)
        for naming, steps in enumerate(NAMINGS):
            # The key note stands on the equal scale of any naming: no shift of its own.
            found.name(shape, naming, PITCH_CLASSES[(key - steps) % 12])


_ABOVE = (np.arange(12)[None, :] - np.arange(12)[:, None]) % 12
"""Semitones above each key note of each pitch class."""


def _kinds(degrees: frozenset[int]) -> Iterator[tuple[tuple[Degree, ...], float]]:
    """The kinds of just instrument that may have these degrees, and the chance that one has."""
    yield CHROMATIC_CENTS, CHROMATIC_SHARE / math.comb(12, len(degrees))
    if degrees <= MAJOR:
        yield DIATONIC_CENTS, MAJOR_SHARE / math.comb(7, len(degrees))
    if degrees <= MINOR:
        yield CHROMATIC_CENTS, MINOR_SHARE / math.comb(7, len(degrees))


def _choices(
    kind: tuple[Degree, ...], degrees: frozenset[int]
) -> Iterator[tuple[tuple[float, float], ...]]:
    """Every choice of ratios for these degrees; one that is not heard takes its likeliest."""
    return product(
        *(choices if each in degrees else choices[:1] for each, choices in enumerate(kind))
    )
