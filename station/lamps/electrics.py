"""The arithmetic of a lamp on a pin: which resistor, how much current at the worst. Pure.

A lamp is an LED in series with its resistor and with the pin's own resistance:

    supply = V(I) + I (resistor + pin)

**Ohm's law** with a fixed forward voltage picks the resistor. What flows at the worst is
found with the forward voltage as it depends on the current, the diode equation with a
series resistance (Shockley 1949), about the rated point at 20 mA:

    V(I) = V(20 mA) + n kT/q ln(I / 20 mA) + r (I - 20 mA)

That matters for blue and white lamps: rated 2.8 to 3.2 V at 20 mA they would leave almost
nothing of 3.3 V, but at 3 mA they need 0.3 V less.

Currents are in milliamperes, resistances in ohms, voltages in volts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from station.errors import LampMapError

SUPPLY_V = 3.3
PIN_LIMIT_MA = 8.0
TOTAL_LIMIT_MA = 50.0
RATED_MA = 20.0

# A supply and resistors within 5 per cent (common practice, no source).
SUPPLY_SHARE = 0.05
RESISTOR_SHARE = 0.05

# A pin at its usual drive strength loses at most 0.2 V at 2 mA, and its pull-up is 50 to
# 65 kilohms (Compute Module Datasheet 1.0, 2016, table 5: 2.5 V of 2.7 V at 2 mA; older
# boards than the newest, for which no such table was at hand). At best it loses nothing.
PIN_OHM = 100.0
PULL_UP_OHM = (50_000.0, 65_000.0)
LOW_BELOW_V = 0.8  # the same table, at 2.7 V

E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)  # IEC 60063, from memory
DECADES = (1, 10, 100, 1_000, 10_000, 100_000)


@dataclass(frozen=True, slots=True)
class Diode:
    """An LED by its forward voltages at 20 mA: lowest, usual and highest to be met.

    ``slope_v`` is n kT/q and ``series_ohm`` r of the equation above.
    """

    lowest_v: float
    usual_v: float
    highest_v: float
    slope_v: float
    series_ohm: float

    def forward_v(self, current_ma: float, rated_v: float) -> float:
        """The forward voltage at a current, of a specimen rated ``rated_v`` at 20 mA."""
        return (
            rated_v
            + self.slope_v * math.log(current_ma / RATED_MA)
            + self.series_ohm * (current_ma - RATED_MA) / 1000.0
        )


# Small indicator LEDs (common practice, no source); slope and series resistance are round
# figures for the two families of crystals, from memory.
DIODES = {
    "amber": Diode(1.8, 2.0, 2.4, 0.05, 5.0),
    "white": Diode(2.8, 3.0, 3.2, 0.075, 10.0),
    "blue": Diode(2.8, 3.0, 3.2, 0.075, 10.0),
}

# What the resistor is chosen by: forward voltage at the wanted current, and that current.
FORWARD_V = {"amber": 2.0, "white": 2.9, "blue": 2.9}
WANTED_MA = {"amber": 4.0, "white": 3.0, "blue": 3.0}


def series_resistor_ohm(forward_v: float, wanted_ma: float) -> int:
    """The smallest E12 value that lets no more than ``wanted_ma`` flow.

    Ohm's law: R = (3.3 V - forward voltage) / current. Raises LampMapError for a lamp that
    3.3 V cannot light, and for a current that is none.
    """
    if not 0.0 < wanted_ma < math.inf:
        raise LampMapError(f"a lamp's current of {wanted_ma:g} mA cannot be meant: above 0")
    if not 0.0 <= forward_v < SUPPLY_V:
        raise LampMapError(
            f"a lamp of {forward_v:g} V cannot be lit from {SUPPLY_V:g} V: its forward voltage"
            " has to be less; is it two LEDs in series?"
        )
    least_ohm = 1000.0 * (SUPPLY_V - forward_v) / wanted_ma
    values = (digits * decade for decade in DECADES for digits in E12)
    fit = next((value for value in values if value >= least_ohm - 1e-9), None)
    if fit is None:
        raise LampMapError(f"a lamp's current of {wanted_ma:g} mA is too little to be seen")
    return fit


def current_ma(supply_v: float, total_ohm: float, diode: Diode, rated_v: float) -> float:
    """What flows through LED and resistances; found by halving, to a microampere."""

    def left_v(milliamperes: float) -> float:
        drop_v = diode.forward_v(milliamperes, rated_v)
        return supply_v - drop_v - milliamperes * total_ohm / 1000.0

    low, high = 1e-9, 1000.0
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if left_v(middle) > 0.0 else (low, middle)
    return low


@dataclass(frozen=True, slots=True)
class Currents:
    """Through one fully lit lamp: at the least, usually, at the most."""

    least_ma: float
    usual_ma: float
    most_ma: float


def currents(colour: str, resistor_ohm: float) -> Currents:
    """Through a lamp of this colour, with everything that may be off at its worst at once.

    Least: supply 5 % low, resistor 5 % high, a weak pin, the highest forward voltage. Most:
    the contrary, with a pin that loses nothing.
    """
    diode = DIODES[colour]
    return Currents(
        current_ma(
            SUPPLY_V * (1.0 - SUPPLY_SHARE),
            resistor_ohm * (1.0 + RESISTOR_SHARE) + PIN_OHM,
            diode,
            diode.highest_v,
        ),
        current_ma(SUPPLY_V, resistor_ohm, diode, diode.usual_v),
        current_ma(
            SUPPLY_V * (1.0 + SUPPLY_SHARE),
            resistor_ohm * (1.0 - RESISTOR_SHARE),
            diode,
            diode.lowest_v,
        ),
    )


# -- how far it is seen --------------------------------------------------------

DARK_THRESHOLD_LX = 0.2e-6
"""A point of light just seen in the dark: 0.2 microlux, the nominal value of signal lighting
(Illuminating Engineering Society, Lighting Library, "nominal range of a light signal")."""
CONSPICUOUS = 100.0
"""How many times the threshold a signal should give among other lights (signal lighting
at sea asks ten to a hundred; from memory)."""


def seen_threshold_lx(room_cd_m2: float) -> float:
    """The light at the eye by which a point is just seen against a background, in lux.

    0.242e-6 (1 + sqrt(0.4 L))^2, L the background's luminance in candelas a square metre
    (IALA Recommendation E-200-2, from memory): 0.2 microlux in the dark, 1 millilux by day.
    """
    return 0.242e-6 * (1.0 + math.sqrt(0.4 * max(0.0, room_cd_m2))) ** 2


def at_eye_lx(rated_mcd: float, milliamperes: float, share: float, distance_m: float) -> float:
    """The light at the eye, in lux: E = I / d^2 (inverse square law).

    An LED's intensity goes about with its current (common practice), and switched on and
    off faster than the eye follows it is seen at the share of time it is lit (Talbot's law).
    """
    return rated_mcd / 1000.0 * milliamperes / RATED_MA * share / distance_m**2
