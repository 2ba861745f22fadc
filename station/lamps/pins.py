"""The one table of pins: what code, wiring guide, drawings and tests all read.

``bcm`` is the number printed as GPIOn in wiring charts, ``header`` the pin of
the 40-pin header it comes out at. Pins of the sound interface (18 to 21), the
identification memory (0, 1), I2C (2, 3) and the serial console (14, 15) are
left alone, so that a sound card on the header can stay.

Cautions (common practice, no source):

- The header's signals are 3.3 V. Five volts on any of them ends the board.
- Every lamp has its own series resistor between the pin and the lamp's longer
  leg; the shorter leg goes to ground. No resistor, no lamp.
- At most 8 mA from one pin and 50 mA from all of them together. The resistors
  keep under both with every lamp fully lit and everything else at its worst
  (`electrics.py`).
- Buttons go between the pin and ground; the board's own pull-up holds the pin
  high, so neither needs a resistor.
- Wire with the power off, and look twice before switching it on.
"""

from __future__ import annotations

from dataclasses import dataclass

from station.lamps.electrics import (
    FORWARD_V,
    PIN_LIMIT_MA,
    SUPPLY_V,
    TOTAL_LIMIT_MA,
    WANTED_MA,
    currents,
    series_resistor_ohm,
)

__all__ = [
    "BAND",
    "COLUMN",
    "GROUND_OF_BUTTONS",
    "GROUND_OF_LAMPS",
    "HEADER",
    "HEADER_OF",
    "PIN_LIMIT_MA",
    "QUIET_BUTTON",
    "REFERENCE_BUTTON",
    "SUPPLY_V",
    "TOTAL_LIMIT_MA",
    "Lamp",
    "Push",
    "series_resistor_ohm",
]

# The 40-pin header, pin 1 first: supplies, grounds, and GPIO by number.
HEADER: tuple[str | int, ...] = (
    "3.3 V", "5 V", 2, "5 V", 3, "ground", 4, 14, "ground", 15,
    17, 18, 27, "ground", 22, 23, "3.3 V", 24, 10, "ground",
    9, 25, 11, 8, "ground", 7, 0, 1, 5, "ground",
    6, 12, 13, "ground", 19, 16, 26, 20, "ground", 21,
)  # fmt: skip
HEADER_OF = {bcm: pin for pin, bcm in enumerate(HEADER, start=1) if isinstance(bcm, int)}


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
        """The current when fully lit, with everything that may be off at its worst."""
        return currents(self.colour, self.resistor_ohm).most_ma


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
GROUND_OF_LAMPS, GROUND_OF_BUTTONS = 39, 14  # header pins next to theirs
