"""How much pull a string's core bears.

**Music wire** (ASTM A228) is the stronger the thinner it is drawn: its least tensile strength is
S = A / d^m with A = 201 ksi in^m and m = 0.145, for 0.004 to 0.256 inch (Shigley's Mechanical
Engineering Design, table 10-4; in SI 2211 MPa mm^m). The standard's own table has 1.1 to 2.5 %
less for .004 to .063 inch, so margins are reckoned with STRENGTH_SHARE of the law: never more
than the standard promises for strings' cores, and within 1.5 % of it.

**Limits.** Music wire stretches for good from 65 to 75 % of its tensile strength on (the same,
table 10-5: elastic limit in tension). A wire's strength lies between the standard's least and a
tenth more, so 75 % of the usual is 79 % of the least. Edges of nut and saddle and the bend
at the post take something off; how much is not known here. Strings that are no steel are judged
by the same shares (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from station.errors import WireError
from station.music.wire_materials import Material
from station.music.wire_units import INCH_M, gauge_text

Load = Literal["within", "near the limit", "too tight", "breaks"]

KSI_PA = 6.894757293168e6  # 1000 lbf over a square inch
STEEL_A_KSI, STEEL_M = 201.0, 0.145
STEEL_THINNEST_M, STEEL_THICKEST_M = 0.004 * INCH_M, 0.256 * INCH_M
STRENGTH_SHARE = 0.975
ELASTIC_FROM, ELASTIC_TO = 0.65, 0.79

LOAD_WORDS: Mapping[Load, str] = {
    "within": "within what its wire bears",
    "near the limit": "near the limit: it may stretch for good and slip flat; do not go higher",
    "too tight": "too tight: beyond its elastic limit, it stretches and may break",
    "breaks": "breaks before it gets there: do not try",
}


def tensile_strength_pa(diameter_m: float) -> float:
    """Least tensile strength of music wire in Pa, as the handbook's law has it.

    Raises WireError outside 0.004 to 0.256 inch.
    """
    if not STEEL_THINNEST_M * (1 - 1e-9) <= diameter_m <= STEEL_THICKEST_M:
        raise WireError(
            f"steel of {gauge_text(diameter_m)} inch: the handbook's strength of music wire runs"
            " from .004 to .256 inch"
        )
    return STEEL_A_KSI * KSI_PA / math.pow(diameter_m / INCH_M, STEEL_M)


def steel_modulus_pa(diameter_m: float) -> float:
    """Young's modulus of music wire in Pa, falling in steps with the diameter.

    Shigley's Mechanical Engineering Design, table 10-5: 203.4, 200, 196.5 and 193 GPa, up to
    0.032, 0.063, 0.125 inch and above.
    """
    inches = diameter_m / INCH_M
    steps = ((0.0325, 203.4e9), (0.0635, 200e9), (0.125, 196.5e9))
    return next((modulus for most, modulus in steps if inches <= most + 1e-12), 193e9)


def least_strength_pa(material: Material, diameter_m: float) -> float:
    """The strength margins are reckoned with, in Pa; raises WireError where there is none."""
    if material.is_steel:
        return STRENGTH_SHARE * tensile_strength_pa(diameter_m)
    if material.strength_mpa is None:
        raise WireError(f"{material.label} is a wrap: it carries no pull")
    return material.strength_mpa * 1e6


def load_share(tension_n: float, material: Material, core_m: float, area_m2: float) -> float:
    """Pull over what the core bears before it breaks: 1 is breaking."""
    return tension_n / (area_m2 * least_strength_pa(material, core_m))


def load_word(share: float) -> Load:
    """What a share of the breaking load means."""
    if share <= ELASTIC_FROM:
        return "within"
    if share <= ELASTIC_TO:
        return "near the limit"
    return "too tight" if share < 1.0 else "breaks"


def room_cents(share: float) -> float:
    """How far the pitch may still rise until the wire is at the end of its elastic limit, in
    cents; negative beyond it. Pull goes as the square of the pitch."""
    return 600.0 * math.log2(ELASTIC_TO / share)
