"""Which lamps and buttons there are and on which pins: the usual ones, or a builder's own. Pure.

A column may have 3, 5 or 7 lamps, always with the white one in the middle. A shorter one
keeps the lamps next to the middle, and its ends stand for all beyond them, too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from station.errors import LampMapError
from station.lamps.pins import (
    BAND,
    COLUMN,
    HEADER,
    HEADER_OF,
    QUIET_BUTTON,
    REFERENCE_BUTTON,
    TOTAL_LIMIT_MA,
    Lamp,
    Push,
)

COUNTS = (3, 5, 7)
NAMES = {
    3: ("flat", "in", "sharp"),
    5: ("flat", "slightly flat", "in", "slightly sharp", "sharp"),
    7: tuple(lamp.name for lamp in COLUMN),
}
# The board's own resistors hold 2 and 3 high, so that a lamp there glows; 0 and 1 are read
# at the start to find out what is plugged in (common practice, no source).
NOT_FOR_LAMPS = (0, 1, 2, 3)
NOT_FOR_BUTTONS = (0, 1)
SPOKEN_FOR = {
    2: "I2C", 3: "I2C", 7: "SPI", 8: "SPI", 9: "SPI", 10: "SPI", 11: "SPI",
    14: "the serial console", 15: "the serial console",
    18: "a sound card on the header", 19: "a sound card on the header",
    20: "a sound card on the header", 21: "a sound card on the header",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wiring:
    """The lamps from bottom to top, and what else there is; None for what is not wired."""

    column: tuple[Lamp, ...] = COLUMN
    band: Lamp | None = BAND
    quiet_button: Push | None = QUIET_BUTTON
    reference_button: Push | None = REFERENCE_BUTTON

    @property
    def lamps(self) -> tuple[Lamp, ...]:
        """The column bottom to top, then the band lamp where there is one."""
        return (*self.column, *([self.band] if self.band is not None else []))

    @property
    def buttons(self) -> tuple[Push, ...]:
        """Those that are wired, the quiet one first."""
        both = (self.quiet_button, self.reference_button)
        return tuple(push for push in both if push is not None)


STANDARD = Wiring()


def own_wiring(
    column: Sequence[int],
    band: int | None = None,
    quiet_button: int | None = None,
    reference_button: int | None = None,
) -> Wiring:
    """A builder's own, by BCM numbers, the column from bottom to top.

    Raises LampMapError for a pin that is not on the header, is taken twice or cannot carry
    what it is given, and for a column of other than 3, 5 or 7 lamps.
    """
    check_count(column)
    named = [*zip(NAMES[len(column)], column, strict=True), (BAND.name, band)]
    pushed = [(QUIET_BUTTON.name, quiet_button), (REFERENCE_BUTTON.name, reference_button)]
    for check, parts in ((lamp_pin, named), (button_pin, pushed)):
        for name, bcm in parts:
            if bcm is not None:
                _check_part(name, bcm, check)
    pins = [bcm for _, bcm in (*named, *pushed) if bcm is not None]
    if twice := sorted({bcm for bcm in pins if pins.count(bcm) > 1}):
        raise LampMapError(f"GPIO {twice[0]} is given twice: every lamp and button needs its own")
    wiring = Wiring(
        tuple(map(_lamp, NAMES[len(column)], _colours(column), column)),
        None if band is None else _lamp(BAND.name, BAND.colour, band),
        None if quiet_button is None else _push(QUIET_BUTTON.name, quiet_button),
        None if reference_button is None else _push(REFERENCE_BUTTON.name, reference_button),
    )
    _check_current(wiring)
    return wiring


def check_count(column: Sequence[object]) -> None:
    """Raises LampMapError for a column of other than 3, 5 or 7 lamps."""
    if len(column) not in COUNTS:
        raise LampMapError(
            f"a column of {len(column)} lamps cannot be drawn: 3, 5 or 7, the white one in the"
            " middle"
        )


def lamp_pin(bcm: object) -> int:
    """A GPIO that can have a lamp; raises LampMapError for any other."""
    number = _on_header(bcm)
    if number in NOT_FOR_LAMPS:
        raise LampMapError(
            f"GPIO {number} cannot have a lamp, the board itself uses it or holds it high:"
            " take one from 4 up"
        )
    return number


def button_pin(bcm: object) -> int:
    """A GPIO that can have a button; raises LampMapError for any other."""
    number = _on_header(bcm)
    if number in NOT_FOR_BUTTONS:
        raise LampMapError(
            f"GPIO {number} cannot have a button, the board reads it at the start: take one"
            " from 2 up"
        )
    return number


def budget_words(wiring: Wiring) -> str:
    """How many lamps, and what all of them fully lit may take at the worst."""
    count = len(wiring.lamps)
    return f"{count} lamps, at most {_worst_ma(wiring):.0f} of {TOTAL_LIMIT_MA:g} mA"


def remarks(wiring: Wiring) -> list[str]:
    """What may get in the way of a builder's own pins, a line each; none for the usual ones."""
    parts: tuple[Lamp | Push, ...] = (*wiring.lamps, *wiring.buttons)
    return [
        f"{part.name}: GPIO {part.bcm} is used by {SPOKEN_FOR[part.bcm]} where there is one"
        for part in parts
        if part.bcm in SPOKEN_FOR
    ]


def folded(column: Sequence[float], count: int) -> tuple[float, ...]:
    """Seven lights shown on ``count`` lamps: the ends take the brightest of all beyond them."""
    spare = (len(column) - count) // 2
    if spare == 0:
        return tuple(column)
    kept = column[spare + 1 : len(column) - spare - 1]
    return (max(column[: spare + 1]), *kept, max(column[-spare - 1 :]))


def _colours(column: Sequence[int]) -> list[str]:
    half = len(column) // 2
    return ["amber"] * half + ["white"] + ["blue"] * half


def _check_part(name: str, bcm: int, check: Callable[[object], int]) -> None:
    try:
        check(bcm)
    except LampMapError as error:
        raise LampMapError(f"{name}: {error}") from None


def _on_header(bcm: object) -> int:
    number = bcm if isinstance(bcm, int) and not isinstance(bcm, bool) else -1
    if number in HEADER_OF:
        return number
    likely = "is it a header pin's number?"
    if max(HEADER_OF) < number <= len(HEADER):
        there = HEADER[number - 1]
        what = f"GPIO {there}" if isinstance(there, int) else f"{there} and no GPIO"
        likely = f"the header's pin {number} is {what}"
    raise LampMapError(f"GPIO {bcm!r:.20} is not on the header: 0 to {max(HEADER_OF)}; {likely}")


def _lamp(name: str, colour: str, bcm: int) -> Lamp:
    return Lamp(name, colour, bcm, HEADER_OF[bcm])


def _push(name: str, bcm: int) -> Push:
    return Push(name, bcm, HEADER_OF[bcm])


def _check_current(wiring: Wiring) -> None:
    worst_ma = _worst_ma(wiring)
    if worst_ma > TOTAL_LIMIT_MA:
        raise LampMapError(
            f"all lamps together may take {worst_ma:.0f} mA, over {TOTAL_LIMIT_MA:g} mA"
        )


def _worst_ma(wiring: Wiring) -> float:
    return sum(lamp.worst_ma for lamp in wiring.lamps)
