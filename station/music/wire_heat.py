"""What a cold room does to the pitch: strings and neck are two materials that share one length.

A steel string is stretched by e = T / (E A), some three to seven thousandths. Cooled by a degree
it wants to be a_s shorter, its neck of wood only a_n, and its modulus grows by b. Held between
nut and saddle (**fixed length**, a_n from the neck) its pull grows, and the pitch with it:

    d ln f = 1/2 [ b + 2 a_s + (a_n - a_s) (1 + e) / e ] - 1/2 a_n        a degree,

the brackets being d ln T, the last term the length (f goes as sqrt(T / (m L)) for a mass m that
stays between its ends). That is the neck as a rigid bar. A real one gives: the more its
strings pull the shorter it is, by their sum over its stiffness K, and all strings share that.
`drift_cents` solves the equilibrium of all strings and the neck outright; it is linear in the
length. **Fixed tension** (a bridge on springs that keep their pull): the string gets longer or
shorter as it likes and only its length between the supports and its weight per length change.

Moisture moves wood more than this does, and neither case knows of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from station.errors import WireError
from station.music.pitch import CENTS_PER_OCTAVE
from station.music.windings import CORE_PERCENT
from station.music.wire import Stretched

Hold = Literal["fixed length", "fixed tension"]


@dataclass(frozen=True, slots=True)
class Heat:
    """Coefficients for one degree Celsius, and the neck's stiffness in N.

    ``string`` and ``neck`` are linear expansions, ``modulus`` the relative change of Young's
    modulus. ``stiffness_n`` is the pull along the strings that would shorten the neck by its own
    length, were it to obey to that point; infinite for a rigid one.
    """

    string: float
    neck: float
    modulus: float
    stiffness_n: float


USUAL = Heat(string=11.7e-6, neck=3.8e-6, modulus=-2.9e-4, stiffness_n=2e6)
SPREAD = Heat(string=0.6e-6, neck=0.7e-6, modulus=0.4e-4, stiffness_n=2.0)
"""Usual coefficients, and one standard deviation of each (of the stiffness: a factor).

Music wire: 11.1 to 12.3e-6 in tables. Wood along the grain: 3.1 to 4.5e-6 whatever the
species (Wood Handbook, chapter 4, after Weatherwax & Stamm 1946; from memory). Modulus: carbon
steel has 206.8, 202.0 and 197.2 GPa at -73, 21 and 93 degrees (Roark's Formulas for Stress and
Strain, table of temperature effects), -2.5e-4 below and -3.3e-4 above room temperature. Neck:
50 x 20 mm of maple, E = 12.6 GPa (Wood Handbook, from memory), its strings 15 mm above the
middle of the section: E A / (1 + 12 (15/20)^2) = 1.6e6 N, and something for a truss rod."""

WHY_NOT = (
    "nylon, fluorocarbon and gut cannot be told: their modulus changes with stress and time, and"
    " moisture moves them more than heat (Lynch-Aird & Woodhouse 2017, 2018)"
)


@dataclass(frozen=True, slots=True)
class Drift:
    """Cents for each string, one standard deviation of each; None where it cannot be told."""

    cents: float | None
    uncertainty_cents: float | None


def can_be_told(string: Stretched) -> bool:
    """Is this a string whose behaviour under heat is known: steel, with its core?"""
    return string.wire.material.is_steel and string.wire.stretch_n is not None


def drift_cents(
    strings: Sequence[Stretched],
    degrees: float,
    heat: Heat = USUAL,
    hold: Hold = "fixed length",
) -> list[float]:
    """How far each string drifts, in cents, when strings and neck are `degrees` warmer.

    All strings must be such as `can_be_told`. Raises WireError where one would go slack.
    """
    pulls = [string.tension_n for string in strings]
    stretches = [_stretch_n(string) for string in strings]
    counts = [string.count for string in strings]
    if hold == "fixed tension":
        return [_free(*each, degrees, heat) for each in zip(pulls, stretches, strict=True)]
    # Of a speaking length 1 under today's pull: the neck unloaded, the strings unstretched.
    whole = sum(count * pull for count, pull in zip(counts, pulls, strict=True))
    neck = (1.0 + heat.neck * degrees) / (1.0 - whole / heat.stiffness_n)
    warm = (1.0 + heat.modulus * degrees) * (1.0 + heat.string * degrees) ** 2
    now = [stretch * warm for stretch in stretches]
    rest = [
        (1.0 + heat.string * degrees) / (1.0 + pull / stretch)
        for pull, stretch in zip(pulls, stretches, strict=True)
    ]
    # Length = neck (1 - sum of pulls / K), each pull = E A (length / rest - 1): linear in length.
    most = sum(count * stretch for count, stretch in zip(counts, now, strict=True))
    slope = sum(count * each / long for count, each, long in zip(counts, now, rest, strict=True))
    length = neck * (1.0 + most / heat.stiffness_n) / (1.0 + neck * slope / heat.stiffness_n)
    return [
        _cents(stretch * (length / long - 1.0) / pull / length, string)
        for string, stretch, long, pull in zip(strings, now, rest, pulls, strict=True)
    ]


def drifts(
    strings: Sequence[Stretched], degrees: float, heat: Heat = USUAL, hold: Hold = "fixed length"
) -> list[Drift]:
    """The drift of each string with its uncertainty; strings that cannot be told have none.

    Their pull is taken to stay as it is. The uncertainty is that of the coefficients, of the neck's
    stiffness and of an assumed core, each moved by its standard deviation, added in squares.
    """
    steel = [string for string in strings if can_be_told(string)]
    if not steel:
        return [Drift(None, None) for _ in strings]
    usual = drift_cents(steel, degrees, heat, hold)
    moved = [drift_cents(steel, degrees, each, hold) for each in _varied(heat)]
    softer = drift_cents([_other_core(string) for string in steel], degrees, heat, hold)
    terms = [*moved, softer]
    unsure = [
        math.hypot(*(each[place] - cents for each in terms)) for place, cents in enumerate(usual)
    ]
    told = iter(zip(usual, unsure, strict=True))
    return [Drift(*next(told)) if can_be_told(string) else Drift(None, None) for string in strings]


def at_first(heat: Heat = USUAL) -> Heat:
    """The first minutes: thin strings have taken the room's temperature, the neck has not yet."""
    return replace(heat, neck=0.0)


def rigid(heat: Heat = USUAL) -> Heat:
    """The same with a neck that does not give."""
    return replace(heat, stiffness_n=math.inf)


def slope_cents(string: Stretched, heat: Heat = USUAL) -> float:
    """Cents a degree at fixed length on a rigid neck, from the formula at the head."""
    strain = string.tension_n / _stretch_n(string)
    pull = heat.modulus + 2 * heat.string + (heat.neck - heat.string) * (1 + strain) / strain
    return CENTS_PER_OCTAVE / math.log(2) * (pull / 2 - heat.neck / 2)


def _varied(heat: Heat) -> list[Heat]:
    softer = heat.stiffness_n / SPREAD.stiffness_n
    return [
        replace(heat, string=heat.string + SPREAD.string),
        replace(heat, neck=heat.neck + (SPREAD.neck if heat.neck else 0.0)),
        replace(heat, modulus=heat.modulus + SPREAD.modulus),
        replace(heat, stiffness_n=softer),
    ]


def _other_core(string: Stretched) -> Stretched:
    wire = string.wire
    if not wire.core_assumed or wire.core_m is None:
        return string
    other = replace(wire, core_m=wire.core_m * (1 + CORE_PERCENT / 100), given_kg_m=wire.unit_kg_m)
    return replace(string, wire=other)


def _stretch_n(string: Stretched) -> float:
    stretch_n = string.wire.stretch_n
    if stretch_n is None:
        raise WireError(f"string {string.number}: what heat does needs its core")
    return stretch_n


def _free(pull: float, stretch: float, degrees: float, heat: Heat) -> float:
    """Cents at a pull that stays: the weight per length, and the length, change."""
    warm = (1.0 + heat.modulus * degrees) * (1.0 + heat.string * degrees) ** 2
    before = 1.0 + pull / stretch
    after = (1.0 + heat.string * degrees) * (1.0 + pull / (stretch * warm))
    return CENTS_PER_OCTAVE * (math.log2(after / before) / 2 - math.log2(1 + heat.neck * degrees))


def _cents(ratio: float, string: Stretched) -> float:
    """Cents of the square root of a ratio of pull over length."""
    if ratio <= 0.0:
        raise WireError(f"string {string.number} ({string.note}) would hang slack by then")
    return CENTS_PER_OCTAVE / 2 * math.log2(ratio)
