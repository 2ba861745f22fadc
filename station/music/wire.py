"""Strings as wire: pull, stiffness and margin of a string that speaks a pitch.

T = mu (2 L f)^2 for a string of unit weight mu (kg/m) and speaking length L (m) at f (Hz)
(Mersenne's law; Fletcher & Rossing, The Physics of Musical Instruments, chapter 2). Its
stiffness stretches its partials, k F sqrt(1 + B k^2), with B = pi^2 E I / (T L^2), which for a
round core is pi^3 E d^4 / (64 T L^2) (the same, section 2.18). The first partial's own stretch,
sqrt(1 + B), is left out of T: it is below a thousandth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from station.errors import FrequencyError, WireError
from station.music.windings import CORE_PERCENT, Wire
from station.music.wire_strength import Load, load_share, load_word, room_cents

_MODULUS_PERCENT = 2.0  # of steel, between one handbook's value and another's
_WOUND_PERCENT = 15.0  # what the wrap adds to a core's stiffness: a guess, no source


@dataclass(frozen=True, slots=True)
class Stretched:
    """A string on an instrument: its wire, what it speaks, over what length.

    ``count`` strings of this kind are on the instrument at this place (2 in a mandolin's pairs).
    """

    number: int
    note: str
    hz: float
    length_m: float
    wire: Wire
    count: int = 1

    def __post_init__(self) -> None:
        """Raises FrequencyError and WireError for what no string can be."""
        if not (math.isfinite(self.hz) and self.hz > 0.0):
            raise FrequencyError(f"frequency {self.hz:g} Hz: it must be a positive, finite number")
        if not (math.isfinite(self.length_m) and self.length_m > 0.0):
            raise WireError(f"speaking length {self.length_m:g} m: it must be a positive number")

    @property
    def tension_n(self) -> float:
        """The pull of one string, in N."""
        return tension_n(self.wire.unit_kg_m, self.length_m, self.hz)

    @property
    def load(self) -> float | None:
        """Pull over what its core bears before it breaks; None where the core is unknown."""
        core_m, area_m2 = self.wire.core_m, self.wire.carries_m2
        if core_m is None or area_m2 is None:
            return None
        return load_share(self.tension_n, self.wire.material, core_m, area_m2)

    @property
    def load_word(self) -> Load | None:
        """What the load means; None where the core is unknown."""
        return None if self.load is None else load_word(self.load)

    @property
    def room_cents(self) -> float | None:
        """How far it may still be tuned up within its elastic limit, in cents."""
        return None if self.load is None else room_cents(self.load)

    @property
    def inharmonicity(self) -> float | None:
        """B as its core predicts it; None where the core is unknown."""
        bending = self.wire.bending_n_m2
        return None if bending is None else inharmonicity(bending, self.tension_n, self.length_m)

    @property
    def inharmonicity_percent(self) -> float:
        """One standard deviation of the predicted B, in percent.

        B goes as the core's fourth power over the pull, which for a plain string leaves its
        square: the diameter's tolerance counts twice.
        """
        wire = self.wire
        if wire.winding == "plain":
            modulus = _MODULUS_PERCENT if wire.material.is_steel else wire.material.modulus_percent
            return math.hypot(modulus, wire.unit_percent)
        core = 4 * CORE_PERCENT if wire.core_assumed else 4 * 1.0
        return math.hypot(core, _MODULUS_PERCENT, _WOUND_PERCENT)


def tension_n(unit_kg_m: float, length_m: float, hz: float) -> float:
    """The pull in N that makes a string speak: mu (2 L f)^2."""
    return unit_kg_m * (2.0 * length_m * hz) ** 2


def pitch_hz(unit_kg_m: float, length_m: float, pull_n: float) -> float:
    """The pitch in Hz a pull gives: sqrt(T / mu) / (2 L)."""
    return math.sqrt(pull_n / unit_kg_m) / (2.0 * length_m)


def unit_weight_kg_m(pull_n: float, length_m: float, hz: float) -> float:
    """The unit weight in kg/m that speaks `hz` under a pull."""
    return pull_n / (2.0 * length_m * hz) ** 2


def inharmonicity(bending_n_m2: float, pull_n: float, length_m: float) -> float:
    """B = pi^2 E I / (T L^2)."""
    return math.pi**2 * bending_n_m2 / (pull_n * length_m**2)


def core_for_inharmonicity_m(stretched: Stretched, measured: float) -> float | None:
    """The core that would have the measured B, in metres: B goes as its fourth power.

    None where the core, and with it the shape to reckon with, is unknown.
    """
    predicted, core_m = stretched.inharmonicity, stretched.wire.core_m
    if predicted is None or core_m is None:
        return None
    return float(core_m * (measured / predicted) ** 0.25)


def total_n(strings: Sequence[Stretched]) -> float:
    """The pull of a whole set on the neck, in N."""
    return math.fsum(string.tension_n * string.count for string in strings)
