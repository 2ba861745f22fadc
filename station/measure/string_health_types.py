"""What is known of one string's health: plain values, kept as plain data."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from station.errors import StringStateError

Health = Literal["as on its first day", "dull", "false", "dull and false", "cannot be told"]
HIGHEST_PARTIAL = 16


@dataclass(frozen=True, slots=True)
class PartialHeard:
    """One partial of one pluck.

    ``fall_per_s``: its amplitude falls as exp(-fall t). ``off_cents``: how far it stands from the
    law of stiff strings. ``split_hz``: the distance of two lines in it, None where it is one.
    """

    number: int
    fall_per_s: float
    off_cents: float
    split_hz: float | None


@dataclass(frozen=True, slots=True)
class Pluck:
    """One pluck: first partial in Hz, B, and its partials from the lowest."""

    hz: float
    inharmonicity: float
    partials: tuple[PartialHeard, ...]


@dataclass(frozen=True, slots=True)
class StringState:
    """Several plucks of one string on one day."""

    plucks: tuple[Pluck, ...]

    def to_plain(self) -> dict[str, Any]:
        """The state as lists, tables and numbers, for JSON."""
        return {
            "plucks": [
                {
                    "hz": pluck.hz,
                    "inharmonicity": pluck.inharmonicity,
                    "partials": [
                        [each.number, each.fall_per_s, each.off_cents, each.split_hz]
                        for each in pluck.partials
                    ],
                }
                for pluck in self.plucks
            ]
        }

    @staticmethod
    def from_plain(plain: object) -> StringState:
        """The state from what ``to_plain`` gave; raises StringStateError for anything else."""
        try:
            return StringState(tuple(_pluck(each) for each in _list(_table(plain)["plucks"])))
        except (KeyError, TypeError, ValueError) as fault:
            raise StringStateError(
                f"a string's kept state does not hold together: {fault}"
            ) from fault


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a verdict rests on.

    ``faster``: by how many times the upper partials (``upper``) die away faster than on the first
    day, ``lower_faster`` the same of the lower ones; ``faster_sd`` is one standard deviation of the
    logarithm of the one over the other. ``split_cents``: two pitches so far apart, in partials
    ``split_partials``;
    ``first_split_cents`` on the first day. ``off_cents``: how far partials stand from the law of
    stiff strings, root mean square, steadily; ``first_off_cents`` on the first day.
    ``stiffness_times``: B over the first day's. None where it could not be measured.
    """

    plucks: int
    first_plucks: int
    upper: tuple[int, ...]
    faster: float | None
    faster_sd: float | None
    lower_faster: float | None
    split_cents: float | None
    split_partials: tuple[int, ...]
    first_split_cents: float | None
    off_cents: float | None
    first_off_cents: float | None
    stiffness_times: float | None


@dataclass(frozen=True, slots=True)
class Judged:
    """A string against its first day: the verdict, why in words, and what it rests on."""

    health: Health
    why: tuple[str, ...]
    evidence: Evidence


def _pluck(plain: object) -> Pluck:
    table = _table(plain)
    partials = []
    for row in _list(table["partials"]):
        number, fall, off, split = _list(row)
        if not isinstance(number, int) or not 1 <= number <= HIGHEST_PARTIAL:
            raise ValueError(f"partial {number!r} is not one of 1 to {HIGHEST_PARTIAL}")
        fall_per_s = _number(fall)
        if fall_per_s <= 0:
            raise ValueError(f"partial {number} falls by {fall_per_s:g} a second: more than 0")
        heard = PartialHeard(
            number, fall_per_s, _number(off), None if split is None else _number(split)
        )
        partials.append(heard)
    hz, stiffness = _number(table["hz"]), _number(table["inharmonicity"])
    if hz <= 0 or stiffness < 0:
        raise ValueError(f"a string of {hz:g} Hz and inharmonicity {stiffness:g}")
    return Pluck(hz, stiffness, tuple(partials))


def _table(plain: object) -> Mapping[str, object]:
    if not isinstance(plain, dict):
        raise TypeError(f"{type(plain).__name__} where a table belongs")
    return plain


def _list(plain: object) -> list[Any]:
    if not isinstance(plain, list | tuple):
        raise TypeError(f"{type(plain).__name__} where a list belongs")
    return list(plain)


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{value!r} is not a finite number")
    return float(value)
