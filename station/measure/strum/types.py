"""What is expected of a strum, and what was heard of it: plain values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from station.errors import SignalError
from station.music.pitch import A4_STANDARD_HZ
from station.music.tunings import Tuning

COURSE_CENTS = 35.0  # strings meant to be nearer than this are two of one pitch
MOST_STRINGS = 24


@dataclass(frozen=True, slots=True)
class Target:
    """A pitch that one string, or several of one course, are meant to have.

    `numbers` are the strings' numbers with each one's target in `hz`; `unison` counts the
    strings behind them all: 2 for a mandolin's pair, which has one number.
    """

    numbers: tuple[int, ...]
    note: str
    hz: tuple[float, ...]
    unison: int = 1

    @property
    def centre_hz(self) -> float:
        """The mean of the targets, in cents."""
        return math.exp(sum(map(math.log, self.hz)) / len(self.hz))


@dataclass(frozen=True, slots=True)
class StringHeard:
    """What a strum says of one string, or of a course whose strings cannot be told apart.

    `numbers` has more than one number, or `unison` is more than 1, where one reading
    stands for several strings. `hz` is the first partial, None where the string is missing;
    `uncertainty_cents` one standard deviation. `level_db` is against the loudest string,
    `of_course` numbers the strings of a course of one number (1 is the lower), else 0.
    """

    numbers: tuple[int, ...]
    note: str
    target_hz: float
    hz: float | None
    uncertainty_cents: float | None = None
    inharmonicity: float | None = None
    partials: int = 0
    level_db: float | None = None
    unison: int = 1
    of_course: int = 0

    @property
    def together(self) -> bool:
        """Whether one reading stands for several strings."""
        return self.hz is not None and (len(self.numbers) > 1 or self.unison > 1)

    @property
    def cents(self) -> float | None:
        """How far above its target the string is; None where it is missing."""
        return None if self.hz is None else 1200 * math.log2(self.hz / self.target_hz)


@dataclass(frozen=True, slots=True)
class Strum:
    """One strum: its line, when it began, how much of it was heard, and every string."""

    line: int
    at_s: float
    heard_s: float
    strings: tuple[StringHeard, ...]
    clipped: bool = False

    @property
    def present(self) -> int:
        """How many strings were heard; those of a course that sounds as one count once."""
        return sum(string.hz is not None for string in self.strings)


def targets_of(tuning: Tuning, a4_hz: float = A4_STANDARD_HZ) -> tuple[Target, ...]:
    """The pitches a tuning's open strings are meant to have, lowest first.

    Raises ReferenceRangeError for an impossible reference.
    """
    strings = sorted(tuning.strings, key=lambda each: each.target_hz(a4_hz))
    found: list[Target] = []
    for string in strings:
        hz = string.target_hz(a4_hz)
        last = found[-1] if found else None
        if last is not None and 1200 * math.log2(hz / last.hz[0]) < COURSE_CENTS:
            unison = last.unison + string.unison
            found[-1] = Target((*last.numbers, string.number), last.note, (*last.hz, hz), unison)
        else:
            found.append(Target((string.number,), string.note, (hz,), string.unison))
    return tuple(found)


def checked(targets: Sequence[Target]) -> tuple[Target, ...]:
    """Targets as they were given, lowest first; raises SignalError for none or impossible ones."""
    if not 1 <= len(targets) <= MOST_STRINGS:
        raise SignalError(
            f"{len(targets)} strings to listen for: a strum has 1 to {MOST_STRINGS}"
            " (is this the right tuning?)"
        )
    for target in targets:
        if not all(math.isfinite(hz) and hz > 0 for hz in target.hz):
            raise SignalError(f"a string's target of {target.hz} Hz is no frequency above 0 Hz")
    return tuple(sorted(targets, key=lambda target: target.centre_hz))
