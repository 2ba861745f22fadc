"""Draw the pictures of the wiring guide and write its tables anew.

    .venv/bin/python -m hw.draw

Pins, names and resistors come from ``station/lamps/pins.py``, everything of the line
input from ``hw/line_levels.py``: change them there, then run this. The tests see to it that
pictures and tables are what this makes of them.
"""

from __future__ import annotations

from pathlib import Path

from hw.line_levels import BLEED_OHM, BLOCKING_F, PADS
from hw.symbols import SMALL_MM, Anchor, Sheet
from hw.tables import with_tables
from station.lamps.pins import (
    BAND,
    COLUMN,
    GROUND_OF_BUTTONS,
    GROUND_OF_LAMPS,
    HEADER,
    QUIET_BUTTON,
    REFERENCE_BUTTON,
    Lamp,
    Push,
)

PICTURES = Path(__file__).with_name("pictures")
GUIDE = Path(__file__).with_name("README.md")

LAMPS = (*reversed(COLUMN), BAND)  # as they hang: sharp above
BUTTONS = (QUIET_BUTTON, REFERENCE_BUTTON)
ROW_MM = 16.0
LED_MM, BUTTON_MM = 5.0, 12.0  # an LED's size is its name; small push buttons (common practice)


def lamps() -> Sheet:
    """The circuit of lamps and buttons: pin, resistor, lamp, ground."""
    rows = len(LAMPS) + len(BUTTONS)
    sheet = Sheet(180, 42 + ROW_MM * (rows + 2), "Circuit: lamps and buttons on the header")
    sheet.text(6, 9, "Lamps and buttons", size=5, bold=True)
    sheet.text(6, 15, "The header's pins are on the left; every row ends at ground.")
    top, bus = 30.0, 158.0
    sheet.box(6, top - 9, 42, ROW_MM * (rows + 2) - 1)
    for row, lamp in enumerate(LAMPS):
        y = top + ROW_MM * row
        _pin(sheet, y, f"GPIO {lamp.bcm}", lamp.header)
        sheet.line((48, y), (66, y))
        sheet.resistor(74, y, ohms(lamp.resistor_ohm))
        sheet.line((82, y), (99, y))
        sheet.led(105, y)
        sheet.line((111, y), (bus, y))
        sheet.dot(bus, y)
        sheet.text(116, y - 2.6, f"{lamp.name}, {lamp.colour}")
    lamps_end = top + ROW_MM * len(LAMPS)
    _pin(sheet, lamps_end, "ground", GROUND_OF_LAMPS)
    sheet.line((48, lamps_end), (bus, lamps_end))
    sheet.line((bus, top), (bus, lamps_end))
    sheet.text(116, lamps_end - 2.6, "ground of the lamps")
    _button_rows(sheet, lamps_end + ROW_MM, bus)
    y = sheet.height - 13
    sheet.text(
        6, y, "A lamp's longer leg (+) goes to its resistor, the shorter leg, the bar, to ground."
    )
    sheet.text(6, y + 5.5, "Power off while you wire. Never 5 V on any of these pins.")
    return sheet


def _button_rows(sheet: Sheet, top: float, bus: float) -> None:
    for row, push in enumerate(BUTTONS):
        y = top + ROW_MM * row
        _pin(sheet, y, f"GPIO {push.bcm}", push.header)
        sheet.line((48, y), (97, y))
        sheet.switch(105, y)
        sheet.line((113, y), (bus, y))
        sheet.dot(bus, y)
        sheet.text(116, y - 2.6, f"button: {push.name}")
        sheet.text(52, y - 2.6, "pulled up by the board", size=SMALL_MM)
    end = top + ROW_MM * len(BUTTONS)
    _pin(sheet, end, "ground", GROUND_OF_BUTTONS)
    sheet.line((48, end), (bus, end))
    sheet.line((bus, top), (bus, end))
    sheet.text(116, end - 2.6, "ground of the buttons")


def _pin(sheet: Sheet, y: float, name: str, header: int) -> None:
    sheet.text(9, y + 1.2, name)
    sheet.text(45, y + 1.2, f"pin {header}", "end")
    sheet.circle(48, y, 0.9, filled=True)


def header() -> Sheet:
    """The 40-pin header from above, with what goes to which pin."""
    step, top, left = 8.4, 36.0, 84.0
    sheet = Sheet(180, top + step * 20 + 20, "The 40-pin header, pin by pin")
    sheet.text(6, 9, "The header, seen from above", size=5, bold=True)
    sheet.text(6, 15, "Black: wired for the station. Pin 1 has a square pad; the row on the right")
    sheet.text(6, 20, "with pin 2 is the one along the edge of the board.")
    sheet.box(left - 6, top - 6, step + 12, step * 19 + 12)
    used = _used()
    for number, what in enumerate(HEADER, start=1):
        row, right = divmod(number - 1, 2)
        x, y = left + step * right, top + step * row
        wired = number in used
        if number == 1:
            sheet.box(x - 2.6, y - 2.6, 5.2, 5.2)
        sheet.circle(x, y, 2.0, filled=wired)
        free = f"GPIO {what}" if isinstance(what, int) else what
        anchor: Anchor = "start" if right else "end"
        away = 1 if right else -1
        sheet.text(x + 8 * away, y + 1.2, str(number), anchor, SMALL_MM, bold=wired)
        sheet.text(x + 15 * away, y + 1.2, used.get(number, free), anchor, bold=wired)
    sheet.text(6, sheet.height - 12, "Nothing of the station's goes to a pin that is not black.")
    sheet.text(
        6,
        sheet.height - 6.5,
        "3.3 V and 5 V stay free: a wire that slips from there can end the board.",
    )
    return sheet


def _used() -> dict[int, str]:
    """What is wired to each header pin that is."""

    def said(part: Lamp | Push) -> str:
        if isinstance(part, Lamp):
            return f"{part.name}, {part.colour}  (GPIO {part.bcm})"
        return f"button {part.name}  (GPIO {part.bcm})"

    parts: tuple[Lamp | Push, ...] = (*LAMPS, *BUTTONS)
    used = {part.header: said(part) for part in parts}
    used[GROUND_OF_LAMPS] = "ground of the lamps"
    used[GROUND_OF_BUTTONS] = "ground of the buttons"
    return used


def front() -> Sheet:
    """The box's front at true size: where lamps and buttons go, a template to drill by."""
    left, top, width, height, step = 12.0, 30.0, 136.0, 166.0, 15.0
    column, aside = left + 28.0, left + 98.0
    sheet = Sheet(180, top + height + 24, "The front of the box, at true size")
    sheet.text(6, 9, "The front, at true size", size=5, bold=True)
    sheet.text(
        6, 15, "Print it at 100 % and measure the line below: 100 mm. Lay it on the front, prick"
    )
    sheet.text(
        6, 20, "through every cross, drill from small to large. Sharp is up. Wires are long enough"
    )
    sheet.text(6, 25, "that the front opens like a book.")
    sheet.box(left, top, width, height, dashed=True)
    for row, lamp in enumerate(reversed(COLUMN)):
        y = top + 17 + step * row
        _hole(sheet, column, y, LED_MM)
        sheet.text(column + 9, y + 1.2, f"{lamp.name}, {lamp.colour}")
    _hole(sheet, aside, top + 17 + step * (len(COLUMN) // 2), LED_MM)
    sheet.text(aside, top + 17 + step * (len(COLUMN) // 2) + 10, "band, white", "middle")
    for x, push in zip((column, aside), BUTTONS, strict=True):
        _hole(sheet, x, top + height - 28, BUTTON_MM)
        sheet.text(x, top + height - 11, f"button: {push.name}", "middle")
    end = sheet.height - 14
    sheet.line((left, end), (left + 100, end))
    for x in (left, left + 100):
        sheet.line((x, end - 2), (x, end + 2))
    sheet.text(left + 104, end + 1.2, "100 mm")
    sheet.text(
        6,
        sheet.height - 5,
        f"Holes: {LED_MM:g} mm for lamps, {BUTTON_MM:g} mm for buttons, or theirs.",
    )
    return sheet


def _hole(sheet: Sheet, x: float, y: float, diameter: float) -> None:
    arm = diameter / 2 + 2
    sheet.circle(x, y, diameter / 2)
    sheet.line((x - arm, y), (x + arm, y))
    sheet.line((x, y - arm), (x, y + arm))


def line_input() -> Sheet:
    """A line into the station: a pad, and a pad behind a transformer that isolates."""
    sheet = Sheet(180, 222, "Circuit: line input with pad, and with transformer")
    sheet.text(6, 9, "A line into the station", size=5, bold=True)
    _pad_circuit(sheet, 18)
    _transformer_circuit(sheet, 112)
    return sheet


def _pad_circuit(sheet: Sheet, top: float) -> None:
    sheet.text(6, top + 2, "A. Pad with a capacitor against direct current", size=4, bold=True)
    sheet.text(
        6,
        top + 8,
        "For sources that are too loud. It does not isolate: source and station share a ground.",
    )
    hot, cold = top + 30, top + 62
    _jack(sheet, 22, hot, cold, "from the source", "tip", "sleeve")
    sheet.line((26, hot), (62, hot))
    sheet.dot(42, hot)
    sheet.line((42, hot), (42, hot + 8))
    sheet.resistor(42, hot + 16, ohms(BLEED_OHM), upright=True)
    sheet.line((42, hot + 24), (42, cold))
    sheet.dot(42, cold)
    sheet.capacitor(70, hot, f"{BLOCKING_F * 1e6:g} µF")
    _divider(sheet, 78, hot, cold)
    _jack(sheet, 158, hot, cold, "to the line input", "tip", "sleeve", mirrored=True)
    sheet.line((26, cold), (154, cold))
    sheet.ground(126, cold)
    sheet.text(6, top + 78, "The capacitor is not polarised (film, or bipolar), for 63 V and more.")


def _transformer_circuit(sheet: Sheet, top: float) -> None:
    sheet.text(6, top + 2, "B. Transformer that isolates, with pad", size=4, bold=True)
    sheet.text(
        6,
        top + 8,
        "Against hum from a ground loop, for balanced outputs too. It passes no direct current.",
    )
    hot, cold = top + 30, top + 62
    middle = (hot + cold) / 2
    _jack(sheet, 22, hot, cold, "from the source", "2 (+)", "3 (-)")
    sheet.text(14, cold + 12.2, "1")
    sheet.circle(20, cold + 11, 0.9)
    sheet.line((21, cold + 11), (36, cold + 11))
    sheet.text(38, cold + 12.2, "the cable's screen: connected at the source alone")
    for x, to_right in ((56, True), (66, False)):
        sheet.line((x, hot), (x, middle - 8))
        end = sheet.winding(x, middle - 8, 4, to_right)
        sheet.line((x, end), (x, cold))
    for core in (60.3, 61.7):
        sheet.line((core, middle - 9), (core, middle + 9))
    sheet.text(61, hot - 4, "1 : 1, 10 kΩ : 10 kΩ", "middle")
    sheet.line((26, hot), (56, hot))
    sheet.line((26, cold), (56, cold))
    sheet.line((66, hot), (78, hot))
    _divider(sheet, 78, hot, cold)
    _jack(sheet, 158, hot, cold, "to the line input", "tip", "sleeve", mirrored=True)
    sheet.line((66, cold), (154, cold))
    sheet.ground(126, cold)
    sheet.text(6, top + 84, "No wire leads from one side of the transformer to the other.")
    sheet.text(6, top + 89.5, "A source that is not balanced: tip to 2, sleeve to 3.")
    _pad_values(sheet, top + 98)


def _divider(sheet: Sheet, x: float, hot: float, cold: float) -> None:
    """Series and shunt resistor, 28 mm wide, and the wire on to the input."""
    sheet.line((x, hot), (x + 8, hot))
    sheet.resistor(x + 16, hot, "R1")
    sheet.line((x + 24, hot), (154, hot))
    sheet.dot(x + 32, hot)
    sheet.line((x + 32, hot), (x + 32, hot + 8))
    sheet.resistor(x + 32, hot + 16, "R2", upright=True)
    sheet.line((x + 32, hot + 24), (x + 32, cold))
    sheet.dot(x + 32, cold)


def _pad_values(sheet: Sheet, y: float) -> None:
    said = "; ".join(f"{name}: R1 {ohms(r1)}, R2 {ohms(r2)}" for name, (r1, r2) in PADS.items())
    sheet.text(6, y, f"Both circuits: {said}")


def _jack(
    sheet: Sheet,
    x: float,
    hot: float,
    cold: float,
    what: str,
    upper: str,
    lower: str,
    mirrored: bool = False,
) -> None:
    """A connector: two contacts named, and what it is."""
    out = -1 if mirrored else 1
    anchor: Anchor = "start" if mirrored else "end"
    for y, name in ((hot, upper), (cold, lower)):
        sheet.circle(x + 2 * out, y, 0.9)
        sheet.line((x + 3 * out, y), (x + 4 * out, y))
        sheet.text(x - 1 * out, y + 1.2, name, anchor)
    sheet.text(x + (14 if mirrored else -14), hot - 8, what, "end" if mirrored else "start")


def many_lines() -> Sheet:
    """From a mixer's direct outputs to the station, one cable for each player."""
    count, step, top = 4, 20.0, 34.0
    sheet = Sheet(180, top + step * count + 34, "Several lines from a mixer's direct outputs")
    sheet.text(6, 9, "One line for each player, from a mixer's direct outputs", size=5, bold=True)
    bottom = top + step * count - 6
    for x, width, name in ((6, 48, "mixer"), (122, 24, "sound card"), (160, 16, "box")):
        sheet.box(x, top - 14, width, bottom - top + 14)
        sheet.text(x + width / 2, top - 16.5, name, "middle", bold=True)
    for number in range(1, count + 1):
        y = top + step * (number - 1)
        sheet.text(9, y, f"channel {number}")
        sheet.text(9, y + 5.5, "direct out, pre-fader", size=SMALL_MM)
        sheet.line((54, y), (76, y))
        sheet.box(76, y - 5, 24, 10)
        sheet.text(88, y + 1.2, "A or B", "middle")
        sheet.line((100, y), (122, y))
        sheet.circle(54, y, 0.9, filled=True)
        sheet.circle(122, y, 0.9, filled=True)
        sheet.text(125, y + 1.2, f"line {number}")
    middle = (top - 14 + bottom) / 2
    sheet.line((146, middle), (160, middle))
    sheet.text(153, middle - 2, "USB", "middle", size=SMALL_MM)
    sheet.text(
        6,
        bottom + 12,
        "A or B: the pad, or the transformer with pad, where the level or hum asks for it;",
    )
    sheet.text(
        6,
        bottom + 17.5,
        "else a plain cable. The mixer's own outputs to the loudspeakers stay as they are.",
    )
    return sheet


def ohms(value: float) -> str:
    """A resistance as it is printed on parts lists."""
    for least, unit in ((1e6, "MΩ"), (1e3, "kΩ")):
        if value >= least:
            return f"{value / least:g} {unit}"
    return f"{value:g} Ω"


def pictures() -> dict[str, str]:
    """Every picture by its file's name."""
    sheets = {
        "lamps.svg": lamps(),
        "header.svg": header(),
        "front.svg": front(),
        "line-input.svg": line_input(),
        "lines.svg": many_lines(),
    }
    return {name: sheet.svg() for name, sheet in sheets.items()}


def main() -> None:
    """Write pictures and tables."""
    for name, text in pictures().items():
        (PICTURES / name).write_text(text, encoding="utf-8")
    GUIDE.write_text(with_tables(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
