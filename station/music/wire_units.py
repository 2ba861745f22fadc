"""Lengths, forces and unit weights as players write them: inches and mm, pounds and newtons.

Conversions are exact: 1 in = 25.4 mm and 1 lb = 0.45359237 kg (international yard and pound
agreement, 1959), 1 lbf = 1 lb times 9.80665 m/s2 = 4.4482216152605 N (NIST SP 811, appendix B).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from station.errors import WireError
from station.music._text import shown

INCH_M = 0.0254
POUND_KG = 0.45359237
GRAVITY_M_S2 = 9.80665  # standard gravity, by definition
POUND_FORCE_N = POUND_KG * GRAVITY_M_S2
POUND_PER_INCH_KG_M = POUND_KG / INCH_M

THINNEST_M, THICKEST_M = 0.004 * INCH_M, 0.200 * INCH_M
SHORTEST_M, LONGEST_M = 0.1, 2.5
MOST_PULL_N = 2000.0
MOST_DEGREES = 60.0
_LEAST_UNIT_KG_M, _MOST_UNIT_KG_M = 1e-5, 0.2

_NUMBER = r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)"
_LENGTHS: Mapping[str, float] = {
    "in": INCH_M, "inch": INCH_M, "inches": INCH_M, '"': INCH_M, "″": INCH_M,
    "mm": 1e-3, "cm": 1e-2, "m": 1.0,
}  # fmt: skip
_FORCES: Mapping[str, float] = {
    "n": 1.0, "lb": POUND_FORCE_N, "lbs": POUND_FORCE_N, "lbf": POUND_FORCE_N,
    "kg": GRAVITY_M_S2, "kgf": GRAVITY_M_S2,
}  # fmt: skip
_UNIT_WEIGHTS: Mapping[str, float] = {
    "kg/m": 1.0, "g/m": 1e-3, "mg/mm": 1e-3, "lb/in": POUND_PER_INCH_KG_M,
}  # fmt: skip
_DEGREES: Mapping[str, float] = {"": 1.0, "c": 1.0, "°c": 1.0, "k": 1.0, "f": 5 / 9, "°f": 5 / 9}


def parse_length(text: str, what: str = "scale length") -> float:
    """A speaking length in metres from ``25.5in``, ``648mm``, ``64.8cm`` or ``0.648m``.

    Raises WireError for what is no length, has no unit, or lies outside 0.1 to 2.5 m.
    """
    value, unit = _value_and_unit(text, what, "25.5in or 648mm")
    if unit not in _LENGTHS:
        raise WireError(_unit_fault(text, what, unit, _LENGTHS, "25.5in or 648mm"))
    length_m = value * _LENGTHS[unit]
    if not SHORTEST_M <= length_m <= LONGEST_M:
        raise WireError(
            f"{what} {shown(text)}: strings speak over {SHORTEST_M * 1e3:g} to"
            f" {LONGEST_M * 1e3:g} mm ({SHORTEST_M / INCH_M:.0f} to {LONGEST_M / INCH_M:.0f} in):"
            " is the unit right?"
        )
    return length_m


def parse_gauge(text: str, what: str = "gauge") -> float:
    """A string's outer diameter in metres from ``.010``, ``10``, ``0.010in`` or ``0.25mm``.

    Without a unit a number below 0.2 is inches, one from 4 to 200 thousandths of an inch.
    Raises WireError, also for what lies outside .004 to .200 inch.
    """
    value, unit = _value_and_unit(text, what, ".010, 10 or 0.25mm")
    if unit and unit not in _LENGTHS:
        raise WireError(_unit_fault(text, what, unit, _LENGTHS, ".010, 10 or 0.25mm"))
    if unit:
        gauge_m = value * _LENGTHS[unit]
    elif value >= 4.0:
        gauge_m = value * 1e-3 * INCH_M
    elif value > 0.2:
        raise WireError(
            f"{what} {shown(text)}: inches or mm? Write {value:g}mm, .010 (inches)"
            " or 10 (thousandths of an inch)"
        )
    else:
        gauge_m = value * INCH_M
    if not THINNEST_M * (1 - 1e-9) <= gauge_m <= THICKEST_M * (1 + 1e-9):
        raise WireError(
            f"{what} {shown(text)}: strings are .004 to .200 inch (0.1 to 5.1 mm) thick:"
            " write .010, 10 or 0.25mm"
        )
    return gauge_m


def parse_force(text: str, what: str = "tension") -> float:
    """A pull in newtons from ``72N``, ``16lb`` or ``7.3kg`` (the weight of it).

    Raises WireError, also for what is not above 0 and up to 2000 N.
    """
    value, unit = _value_and_unit(text, what, "72N or 16lb")
    if unit not in _FORCES:
        raise WireError(_unit_fault(text, what, unit, _FORCES, "72N or 16lb"))
    pull_n = value * _FORCES[unit]
    if not 0.0 < pull_n <= MOST_PULL_N:
        raise WireError(
            f"{what} {shown(text)}: a string pulls with more than 0 and at most"
            f" {MOST_PULL_N:g} N ({MOST_PULL_N / POUND_FORCE_N:.0f} lb)"
        )
    return pull_n


def parse_unit_weight(text: str, what: str = "unit weight") -> float:
    """A string's weight per length in kg/m from ``0.00672kg/m``, ``6.72g/m`` or ``.000376lb/in``.

    Raises WireError, also for what lies outside 0.01 to 200 g/m.
    """
    value, unit = _value_and_unit(text, what, ".000376lb/in or 6.72g/m")
    if unit not in _UNIT_WEIGHTS:
        raise WireError(_unit_fault(text, what, unit, _UNIT_WEIGHTS, ".000376lb/in or 6.72g/m"))
    unit_kg_m = value * _UNIT_WEIGHTS[unit]
    if not _LEAST_UNIT_KG_M <= unit_kg_m <= _MOST_UNIT_KG_M:
        raise WireError(
            f"{what} {shown(text)}: strings weigh {_LEAST_UNIT_KG_M * 1e3:g} to"
            f" {_MOST_UNIT_KG_M * 1e3:g} g/m ({_LEAST_UNIT_KG_M / POUND_PER_INCH_KG_M:.1g} to"
            f" {_MOST_UNIT_KG_M / POUND_PER_INCH_KG_M:.1g} lb/in)"
        )
    return unit_kg_m


def parse_degrees(text: str, what: str = "change of temperature") -> float:
    """A change of temperature in degrees Celsius from ``-8``, ``-8C`` or ``-14F``.

    Raises WireError, also for more than 60 degrees either way.
    """
    value, unit = _value_and_unit(text, what, "-8 (Celsius) or -14F")
    if unit not in _DEGREES:
        raise WireError(_unit_fault(text, what, unit, _DEGREES, "-8 (Celsius) or -14F"))
    degrees = value * _DEGREES[unit]
    if abs(degrees) > MOST_DEGREES:
        raise WireError(
            f"{what} {shown(text)}: it is how much colder (-) or warmer the room is,"
            f" at most {MOST_DEGREES:g} degrees Celsius"
        )
    return degrees


def thousandths(gauge_m: float) -> float:
    """A diameter in thousandths of an inch."""
    return gauge_m / INCH_M * 1e3


def gauge_text(gauge_m: float) -> str:
    """A diameter as the trade writes it: ``.010``, ``.0105``, ``.105``."""
    return f"{thousandths(gauge_m) / 1e3:.4f}".removeprefix("0").removesuffix("0")


def _value_and_unit(text: str, what: str, example: str) -> tuple[float, str]:
    if not isinstance(text, str):
        raise WireError(f"{what} {shown(text)} is not text: write {example}")
    match = re.fullmatch(rf"{_NUMBER}\s*(\S*)", text.strip())
    value = float(match[1]) if match else math.nan
    if match is None or not math.isfinite(value):
        raise WireError(f"{what} {shown(text)}: write a number and its unit, such as {example}")
    return value, match[2].casefold()


def _unit_fault(text: str, what: str, unit: str, known: Mapping[str, float], example: str) -> str:
    units = ", ".join(each for each in known if each)
    met = f"has no unit: it takes {units}" if not unit else f"is not in {units}"
    return f"{what} {shown(text)} {met}: write {example}"
