"""Strings as solids: plain or wound, how much they weigh per length, and what carries the pull.

**A winding's weight.** A wrap of cross-section a, its centre of area at the radius R from the
string's axis, its turns w apart, measured square to the wire, weighs a 2 pi R / w per length of
string times its density: a turn climbing at the angle l is 2 pi R / cos l long, turns follow
each other every w / cos l of string, and cos l cancels. So for round wire of diameter w, close
wound, the helix makes no difference, and the shell between core and outside is filled to
(pi/4 w2) 2 pi R / (w 2 pi R w) = pi/4 = 0.785, whatever the diameters.

**Ground** (half-round): round wire wound and then ground down by GROUND_AWAY of its diameter:
a circle without a segment. **Flat**: a ribbon of RIBBON_M, rounded a little at its edges, over
round wire where the winding is thicker than that. Heavy strings have several layers; layers of
round wire fill their shells alike, so they are reckoned as one.

**The core** carries all of the pull and nearly all of the stiffness: a helix is a soft spring
(the wrap's own stiffness is left out). It is round, or, as on most wound strings (common
practice, no source), a hexagon, here measured across its flats; the wrap then lies on the
corners.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from station.errors import WireError
from station.music.wire_materials import Material
from station.music.wire_strength import steel_modulus_pa
from station.music.wire_units import INCH_M, gauge_text

Winding = Literal["plain", "round", "ground", "flat"]
CoreShape = Literal["round", "hex"]

GROUND_AWAY = 0.2
"""Share of the wrap wire's diameter ground off a ground string: common practice, no source."""
RIBBON_FILL, RIBBON_M = 0.95, 0.006 * INCH_M
"""How much of its shell a flat ribbon fills, and how thick it is: common practice, no source."""
LONG_SCALE_M = 30 * INCH_M
"""Strings from here on are built as basses' are: common practice, no source."""
CORE_PERCENT = 10.0
"""How far the core of a wound string may lie from the typical one (one standard deviation)."""
_WRAP_PERCENT: Mapping[Winding, float] = {"plain": 0.0, "round": 2.0, "ground": 4.0, "flat": 6.0}
_OVER_CORNERS = 2 / math.sqrt(3)

SOUND: Mapping[Winding, str] = {
    "plain": "plain: all of it rings; above about .020 inch it turns stiff and its overtones sharp",
    "round": "round wound: brightest and longest ringing, most finger noise, wears frets most",
    "ground": "ground (half-round): smoother and a little darker, rings nearly as long, less noise",
    "flat": "flat wound: dark and soon damped, hardly any finger noise, lives longest",
}
"""What windings do to brightness and sustain: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Wire:
    """A string as a solid.

    ``gauge_m`` is its outer diameter; None for a string known by its unit weight alone.
    ``material`` is a plain string's, or the core's; ``wrap`` that of the winding. ``core_m`` is
    the core's diameter (a hexagon's across its flats), the gauge itself for a plain string, None
    where unknown; ``core_assumed`` says that it is the typical one. ``given_kg_m`` overrides
    the unit weight that follows from the geometry.
    """

    gauge_m: float | None
    material: Material
    winding: Winding = "plain"
    wrap: Material | None = None
    core_m: float | None = None
    core_shape: CoreShape = "round"
    core_assumed: bool = False
    given_kg_m: float | None = None

    @property
    def unit_kg_m(self) -> float:
        """Weight per length in kg/m: as given, or from geometry and densities."""
        if self.given_kg_m is not None:
            return self.given_kg_m
        if self.gauge_m is None or self.core_m is None:
            raise WireError("a string without a gauge needs a unit weight: write unit=6.72g/m")
        core_kg_m = self.material.density_kg_m3 * core_area_m2(self.core_m, self.core_shape)
        if self.winding == "plain" or self.wrap is None:
            return core_kg_m
        over_m = core_over_m(self.core_m, self.core_shape)
        shell_m2 = wrap_area_m2(over_m, self.gauge_m, self.winding)
        return core_kg_m + self.wrap.density_kg_m3 * shell_m2

    @property
    def carries_m2(self) -> float | None:
        """Cross-section that carries the pull, in m2; None where the core is unknown."""
        return None if self.core_m is None else core_area_m2(self.core_m, self.core_shape)

    @property
    def modulus_pa(self) -> float | None:
        """Young's modulus of what carries the pull, in Pa; None where it is unknown."""
        if self.core_m is None:
            return None
        if self.material.is_steel:
            return steel_modulus_pa(self.core_m)
        gpa = self.material.modulus_gpa
        return None if gpa is None else gpa * 1e9

    @property
    def stretch_n(self) -> float | None:
        """Young's modulus times cross-section, in N: the pull that would double its length."""
        area_m2, modulus_pa = self.carries_m2, self.modulus_pa
        return None if area_m2 is None or modulus_pa is None else area_m2 * modulus_pa

    @property
    def bending_n_m2(self) -> float | None:
        """Young's modulus times second moment of area, in N m2; None where the core is unknown."""
        modulus_pa = self.modulus_pa
        if modulus_pa is None or self.core_m is None:
            return None
        return modulus_pa * second_moment_m4(self.core_m, self.core_shape)

    @property
    def unit_percent(self) -> float:
        """One standard deviation of the unit weight, in percent.

        From the wire's permitted deviation, the density, and how tight a winding lies; the core's
        share is small, for where it grows the wrap shrinks. A unit weight that was given is taken
        as printed, to 0.5 %.
        """
        if self.given_kg_m is not None or self.gauge_m is None:
            return 0.5
        drawn = 2 * wire_tolerance_m(self.gauge_m) / math.sqrt(3) / self.gauge_m * 100
        wrap = self.wrap if self.wrap is not None else self.material
        terms = [drawn, wrap.density_percent, _WRAP_PERCENT[self.winding]]
        return math.hypot(*terms)


def plain_wire(gauge_m: float, material: Material) -> Wire:
    """A plain string."""
    return Wire(gauge_m, material, core_m=gauge_m)


def wound_wire(
    gauge_m: float,
    core: Material,
    wrap: Material,
    winding: Winding = "round",
    core_m: float | None = None,
    core_shape: CoreShape = "hex",
    long_scale: bool = False,
) -> Wire:
    """A wound string; without ``core_m`` the typical core of its gauge.

    Raises WireError where no room is left for a winding.
    """
    assumed = core_m is None
    carries_m = typical_core_m(gauge_m, long_scale) if core_m is None else core_m
    over_m = core_over_m(carries_m, core_shape)
    if over_m >= 0.98 * gauge_m:
        raise WireError(
            f"gauge {gauge_text(gauge_m)} leaves no room for a winding on a core of"
            f" {gauge_text(carries_m)} ({gauge_text(over_m)} over all): is it a plain string?"
        )
    return Wire(gauge_m, core, winding, wrap, carries_m, core_shape, core_assumed=assumed)


def typical_core_m(gauge_m: float, long_scale: bool = False) -> float:
    """The usual core of a wound string of that gauge, in metres: common practice, no source.

    Drawn through .013 inch under .024 and .0185 under .056 for guitars, .019 under .045 and .034
    under .105 for basses (from memory), as a power of the gauge; good to some 10 %.
    """
    small, large = ((45, 19), (105, 34)) if long_scale else ((24, 13), (56, 18.5))
    power = math.log(large[1] / small[1]) / math.log(large[0] / small[0])
    mils = gauge_m / INCH_M * 1e3
    return float(small[1] * (mils / small[0]) ** power) * 1e-3 * INCH_M


def core_area_m2(core_m: float, shape: CoreShape) -> float:
    """Cross-section of a core: pi/4 d2, or sqrt(3)/2 s2 of a hexagon s across its flats."""
    return (math.sqrt(3) / 2 if shape == "hex" else math.pi / 4) * core_m**2


def second_moment_m4(core_m: float, shape: CoreShape) -> float:
    """Second moment of area: pi/64 d4, or 5 sqrt(3)/144 s4 of a hexagon s across its flats."""
    return (5 * math.sqrt(3) / 144 if shape == "hex" else math.pi / 64) * core_m**4


def core_over_m(core_m: float, shape: CoreShape) -> float:
    """The diameter a wrap lies on: a hexagon's corners."""
    return core_m * _OVER_CORNERS if shape == "hex" else core_m


def wrap_area_m2(over_m: float, gauge_m: float, winding: Winding) -> float:
    """A winding's volume per length of string, in m2: a 2 pi R / w (see the head of this module).

    From the diameter it lies on to the outer diameter.
    """
    height_m = (gauge_m - over_m) / 2
    if height_m <= 0.0:
        return 0.0
    if winding == "flat":
        ribbon_m = min(height_m, RIBBON_M)
        under_m = gauge_m - 2 * ribbon_m
        ribbon_m2 = RIBBON_FILL * ribbon_m * math.pi * (gauge_m - ribbon_m)
        return ribbon_m2 + wrap_area_m2(over_m, under_m, "round")
    away = GROUND_AWAY if winding == "ground" else 0.0
    wire_m = height_m / (1 - away)
    section_m2, outward_m = _cut_circle(wire_m, away * wire_m)
    centre_m = (over_m + wire_m) / 2 + outward_m
    return section_m2 * 2 * math.pi * centre_m / wire_m


def packing(over_m: float, gauge_m: float, winding: Winding) -> float:
    """How much of the shell between core and outside a winding fills, 0 to 1."""
    shell_m2 = math.pi / 4 * (gauge_m**2 - over_m**2)
    return wrap_area_m2(over_m, gauge_m, winding) / shell_m2


def wire_tolerance_m(gauge_m: float) -> float:
    """How far drawn wire may lie from its diameter (ASTM A228, permissible variations)."""
    mils = gauge_m / INCH_M * 1e3
    steps = ((10.0, 0.2), (28.0, 0.3), (63.0, 0.4), (80.0, 0.5))
    return next((allowed for most, allowed in steps if mils <= most + 1e-9), 1.0) * 1e-3 * INCH_M


def _cut_circle(diameter_m: float, away_m: float) -> tuple[float, float]:
    """Area of a circle without a segment of that height, and how far its centre of area lies from
    the circle's towards the segment (so nought or negative).

    Segment: area r2 acos(1 - h/r) - (r - h) c/2 and centre c3/12 over area, chord c.
    """
    radius = diameter_m / 2
    chord = 2 * math.sqrt(max(away_m * (diameter_m - away_m), 0.0))
    cut = radius**2 * math.acos(1 - away_m / radius) - (radius - away_m) * chord / 2
    area = math.pi * radius**2 - cut
    return area, -(chord**3 / 12) / area
