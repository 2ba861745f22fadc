"""What was heard of one player's strings: notes of songs by the half minute, and tunings."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np


@dataclass(slots=True)
class Segment:
    """A while of playing. `midi`: the notes' MIDI numbers with fractions, `unsure` in cents,
    `length` and `at` in seconds.

    `gap_before`: a gap lies between it and the one before.
    """

    began_s: float
    ended_s: float
    gap_before: bool
    midi: list[float] = field(default_factory=list)
    unsure: list[float] = field(default_factory=list)
    length: list[float] = field(default_factory=list)
    at: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Tuned:
    """A string heard while it was tuned: how far off it was left; `moved` if it was turned."""

    string: int
    at_s: float
    cents: float
    unsure: float
    moved: bool


@dataclass(frozen=True, slots=True)
class Strings:
    """The strings that can be told apart: numbers, MIDI notes, offsets from them in cents."""

    numbers: tuple[int, ...]
    midi: tuple[int, ...]
    offset_cents: tuple[float, ...]


GLIDE_S = 0.25  # a note so long keeps a third of its pluck's glide in its settled pitch
GLIDE_CENTS, GLIDE_SD = 2.0, 2.0  # how far one glides, before anything is known
EARLY_SD = 0.5  # of a note's first reading
LEAST_GLIDE_SD = 0.25


class Glides:
    """How far a player's plucks glide, from how their notes begin.

    A note begins higher than the string's pitch at rest by the whole glide, and settles higher by
    what is left of it, the more the shorter it was. So how much higher it begins than it
    settles is a straight line in what is left: its slope is the glide, even where no note of a
    song is long. (Least squares with a prior; all notes have one height at which they begin.)
    """

    def __init__(self) -> None:
        self._sums = np.zeros((2, 2))
        self._right = np.zeros(2)

    def hear(self, length_s: float, early_cents: float) -> None:
        """A steady note, so long, that began so much higher than it settled."""
        row = np.array((1.0, -left_of_glide(length_s)))
        self._sums += np.outer(row, row)
        self._right += row * early_cents

    def known(self) -> tuple[float, float]:
        """The glide in cents, and one standard deviation."""
        matrix, right = self._sums / EARLY_SD**2, self._right / EARLY_SD**2
        # The height at which notes begin is free; the glide is what is usual, until it is known.
        matrix = matrix + np.diag((1e-6, GLIDE_SD**-2))
        right = right + np.array((0.0, GLIDE_CENTS * GLIDE_SD**-2))
        value, covariance = np.linalg.solve(matrix, right), np.linalg.inv(matrix)
        return float(value[1]), math.hypot(math.sqrt(float(covariance[1, 1])), LEAST_GLIDE_SD)


def left_of_glide(length_s: float) -> float:
    """Which share of a pluck's glide is left in the settled pitch of a note so long."""
    return math.exp(-length_s / GLIDE_S)


@dataclass(frozen=True, slots=True)
class StringDrift:
    """One string: cents from where it was when it was tuned, and from its target.

    ``uncertainty_cents`` is one standard deviation of ``cents``, ``notes`` how many of the
    newest segment speak for it, ``since_s`` when it was tuned (or first heard). ``doubt`` is
    the probability that it is something else altogether, another string having moved instead;
    ``shared_cents`` the part of the uncertainty that is one error for all strings of the player.
    ``alike`` are other strings of the same pitch, which cannot be told from it.
    """

    string: int
    cents: float
    uncertainty_cents: float
    offset_cents: float
    notes: float
    since_s: float
    doubt: float = 0.0
    shared_cents: float = 0.0
    alike: tuple[int, ...] = ()
