"""The one table of pins: what code, wiring guide and tests all read.

``bcm`` is the number printed as GPIOn in wiring charts, ``header`` the pin of
the 40-pin header it comes out at. Pins of the sound interface (18 to 21), the
identification memory (0, 1), I2C (2, 3) and the serial console (14, 15) are
left alone, so that a sound card on the header can stay.

Cautions (common practice, no source):

- The header's signals are 3.3 V. Five volts on any of them ends the board.
- Every lamp has its own series resistor between the pin and the lamp's longer
  leg; the shorter leg goes to ground. No resistor, no lamp.
- At most 8 mA from one pin and 50 mA from all of them together. The resistors
  below keep well under both with every lamp fully lit.
- Buttons go between the pin and ground; the board's own pull-up holds the pin
  high, so neither needs a resistor.
- Wire with the power off, and look twice before switching it on.
"""

from __future__ import annotations

from dataclasses import dataclass

SUPPLY_V = 3.3
PIN_LIMIT_MA = 8.0
TOTAL_LIMIT_MA = 50.0

E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)  # IEC 60063, from memory

# Typical forward voltages of small indicator LEDs (common practice, no source);
# the lowest likely one is what the current limit is checked against.
FORWARD_V = {"amber": 2.0, "white": 2.9, "blue": 2.9}
LOWEST_FORWARD_V = {"amber": 1.8, "white": 2.6, "blue": 2.6}
WANTED_MA = {"amber": 5.0, "white": 3.0, "blue": 3.0}


@dataclass(frozen=True, slots=True)
class Lamp:
    """One LED: where it is wired and what colour it is."""

    name: str
    colour: str
    bcm: int
    header: int

    @property
    def resistor_ohm(self) -> int:
        """The series resistor for this colour."""
        return series_resistor_ohm(FORWARD_V[self.colour], WANTED_MA[self.colour])

    @property
    def worst_ma(self) -> float:
        """The current when fully lit, with the lowest forward voltage likely."""
        return 1000.0 * (SUPPLY_V - LOWEST_FORWARD_V[self.colour]) / self.resistor_ohm


@dataclass(frozen=True, slots=True)
class Push:
    """One push button, wired to ground.

    The quiet button dims the lamps to a quarter and back. The reference button
    begins to listen to an instrument of fixed pitch, and adopts what was measured.
    """

    name: str
    bcm: int
    header: int


COLUMN = (
    Lamp("far flat", "amber", 5, 29),
    Lamp("flat", "amber", 6, 31),
    Lamp("slightly flat", "amber", 13, 33),
    Lamp("in", "white", 26, 37),
    Lamp("slightly sharp", "blue", 16, 36),
    Lamp("sharp", "blue", 12, 32),
    Lamp("far sharp", "blue", 25, 22),
)  # bottom to top: sharp is up
BAND = Lamp("band", "white", 24, 18)
REFERENCE_BUTTON = Push("reference", 23, 16)
QUIET_BUTTON = Push("quiet", 22, 15)


def series_resistor_ohm(forward_v: float, wanted_ma: float) -> int:
    """The smallest E12 value that lets no more than ``wanted_ma`` flow.

    Ohm's law: R = (3.3 V - forward voltage) / current.
    """
    least_ohm = 1000.0 * (SUPPLY_V - forward_v) / wanted_ma
    values = (digits * decade for decade in (1, 10, 100, 1000) for digits in E12)
    return next(value for value in values if value >= least_ohm - 1e-9)
