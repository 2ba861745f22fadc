"""A sheet of paper in millimetres and the symbols of circuits on it, written as SVG.

Symbols follow IEC 60617 as most textbooks draw it (from memory): a resistor is a box, a
lamp a triangle with a bar and two arrows. Everything is black on white and made of lines
and text alone, so that it prints on any printer. Coordinates grow to the right and down.
"""

from __future__ import annotations

import math
from html import escape
from typing import Literal

Anchor = Literal["start", "middle", "end"]

FONT = "'DejaVu Sans', Arial, sans-serif"
TEXT_MM = 3.4
SMALL_MM = 2.9
LINE_MM = 0.35
THICK_MM = 0.7


class Sheet:
    """Draw on it, then ask for its ``svg``; ``title`` is for those who cannot see it."""

    def __init__(self, width: float, height: float, title: str) -> None:
        self.width, self.height, self.title = width, height, title
        self._parts: list[str] = []

    def svg(self) -> str:
        """The whole sheet, at its true size."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}mm"'
            f' height="{self.height:g}mm" viewBox="0 0 {self.width:g} {self.height:g}"'
            f' font-family="{FONT}" fill="none" stroke="#000" stroke-width="{LINE_MM}">\n'
            f"<title>{escape(self.title)}</title>\n"
            f'<rect width="{self.width:g}" height="{self.height:g}" fill="#fff" stroke="none"/>\n'
        )
        return head + "\n".join(self._parts) + "\n</svg>\n"

    # -- plain ---------------------------------------------------------------

    def line(self, *points: tuple[float, float], thick: bool = False, dashed: bool = False) -> None:
        """Straight lines from point to point."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        more = f' stroke-width="{THICK_MM}"' if thick else ""
        more += ' stroke-dasharray="1.6 1.2"' if dashed else ""
        self._parts.append(f'<polyline points="{path}"{more}/>')

    def box(self, x: float, y: float, width: float, height: float, dashed: bool = False) -> None:
        """A rectangle by its upper left corner."""
        more = ' stroke-dasharray="1.6 1.2"' if dashed else ""
        self._parts.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"{more}/>'
        )

    def circle(self, x: float, y: float, radius: float, filled: bool = False) -> None:
        """A circle, hollow unless ``filled``."""
        fill = "#000" if filled else "#fff"
        self._parts.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}"/>')

    def text(
        self,
        x: float,
        y: float,
        text: str,
        anchor: Anchor = "start",
        size: float = TEXT_MM,
        bold: bool = False,
    ) -> None:
        """A line of text; ``y`` is its baseline."""
        weight = ' font-weight="bold"' if bold else ""
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{size:g}" text-anchor="{anchor}"{weight}'
            f' fill="#000" stroke="none">{escape(text)}</text>'
        )

    # -- symbols ---------------------------------------------------------------

    def dot(self, x: float, y: float) -> None:
        """Wires that cross here are connected."""
        self.circle(x, y, 0.7, filled=True)

    def resistor(self, x: float, y: float, label: str, upright: bool = False) -> None:
        """10 mm long about its middle; the label above, or to the right when it is upright."""
        if upright:
            self.line((x, y - 8), (x, y - 5))
            self.box(x - 1.75, y - 5, 3.5, 10)
            self.line((x, y + 5), (x, y + 8))
            self.text(x + 3.4, y + 1.2, label)
        else:
            self.line((x - 8, y), (x - 5, y))
            self.box(x - 5, y - 1.75, 10, 3.5)
            self.line((x + 5, y), (x + 8, y))
            self.text(x, y - 3.2, label, "middle")

    def led(self, x: float, y: float) -> None:
        """Current flows from left to right: the bar is the cathode, the shorter leg."""
        self.line((x - 6, y), (x - 2.5, y))
        self.line((x - 2.5, y - 2.5), (x - 2.5, y + 2.5), (x + 2, y), (x - 2.5, y - 2.5))
        self.line((x + 2, y - 2.5), (x + 2, y + 2.5))
        self.line((x + 2, y), (x + 6, y))
        for shift in (0.0, 2.2):
            self.arrow(x - 0.6 + shift, y - 2.7, x + 1.6 + shift, y - 5.4)

    def switch(self, x: float, y: float) -> None:
        """A push button, open at rest: both contacts about the middle, the bar above them."""
        self.line((x - 8, y), (x - 4, y))
        self.circle(x - 4, y, 0.7)
        self.circle(x + 4, y, 0.7)
        self.line((x + 4, y), (x + 8, y))
        self.line((x - 5, y - 2.2), (x + 5, y - 2.2))
        self.line((x, y - 2.2), (x, y - 5))
        self.line((x - 1.8, y - 5), (x + 1.8, y - 5))

    def capacitor(self, x: float, y: float, label: str) -> None:
        """In line, not polarised; the label above."""
        self.line((x - 8, y), (x - 0.9, y))
        self.line((x - 0.9, y - 3), (x - 0.9, y + 3), thick=True)
        self.line((x + 0.9, y - 3), (x + 0.9, y + 3), thick=True)
        self.line((x + 0.9, y), (x + 8, y))
        self.text(x, y - 4.4, label, "middle")

    def ground(self, x: float, y: float) -> None:
        """The station's ground."""
        self.line((x, y), (x, y + 2))
        for number, half in enumerate((3.0, 2.0, 1.0)):
            self.line((x - half, y + 2 + 1.2 * number), (x + half, y + 2 + 1.2 * number))

    def winding(self, x: float, top: float, bumps: int, to_right: bool) -> float:
        """Half of a transformer, its turns on one side; where it ends."""
        side = 1 if to_right else 0
        radius = 2.0
        path = f"M{_n(x)} {_n(top)}" + f"a{radius:g} {radius:g} 0 0 {side} 0 {2 * radius:g}" * bumps
        self._parts.append(f'<path d="{path}"/>')
        return top + 2 * radius * bumps

    def arrow(self, x0: float, y0: float, x1: float, y1: float) -> None:
        """A line with a small head at its end."""
        angle = math.atan2(y1 - y0, x1 - x0)
        self.line((x0, y0), (x1, y1))
        sides = [
            (x1 - 1.3 * math.cos(angle + turn), y1 - 1.3 * math.sin(angle + turn))
            for turn in (0.45, -0.45)
        ]
        self.line(sides[0], (x1, y1), sides[1])


def _n(value: float) -> str:
    """A coordinate to a hundredth of a millimetre."""
    return f"{value:.2f}".rstrip("0").rstrip(".")
