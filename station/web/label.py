"""The label on the box: name, address, QR code and room code, black on white, as SVG or HTML.

90 x 55 mm, what a visiting card holds. A code 34 mm wide is read from about 0.3 m, ten
times its width (common practice, no source).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from station.web.join_code import QUIET_ZONE_MODULES

WIDTH_MM, HEIGHT_MM = 90.0, 55.0
EDGE_MM = 4.0
CODE_MM = 34.0  # with its quiet zone
TEXT_MM = WIDTH_MM - CODE_MM - 2 * EDGE_MM
LEGIBLE_MM = 2.6
NAME_MM = 4.2
SANS = "system-ui, 'DejaVu Sans', sans-serif"
MONO = "ui-monospace, 'DejaVu Sans Mono', monospace"
MONO_EM = 0.62
WIDE, NARROW = "MWmw@%&", "iljtfrI.,:;'!|()[] "


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed; ``other_address`` and ``room_code`` are left out where empty."""

    name: str
    address: str
    other_address: str = ""
    room_code: str = ""


def svg(label: Label) -> str:
    """The label as an SVG image of its true size."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm"'
        f' viewBox="0 0 {WIDTH_MM:g} {HEIGHT_MM:g}" fill="#000">\n'
        f"<title>{escape(label.name)}</title>\n"
        f'<rect x="0.2" y="0.2" width="{WIDTH_MM - 0.4:g}" height="{HEIGHT_MM - 0.4:g}" rx="2"'
        ' fill="#fff" stroke="#000" stroke-width="0.3"/>\n'
        + "".join(_texts(label))
        + _qr(label.address)
        + "</svg>\n"
    )


def html(label: Label) -> str:
    """The label on a sheet of A4, to print at 100 % and cut out."""
    name = escape(label.name)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>Label: {name}</title>\n"
        "<style>@page { size: A4; margin: 15mm } body { margin: 0; background: #fff }"
        " svg { display: block }</style>\n"
        f"</head>\n<body>\n{svg(label)}</body>\n</html>\n"
    )


def modules(address: str) -> list[list[bool]]:
    """The QR code's modules row by row, True for dark (ISO/IEC 18004), without quiet zone."""
    import segno  # only who wants a label pays for it

    code = segno.make(address, error="m", micro=False)
    return [[bool(each) for each in row] for row in code.matrix]


def fit(
    text: str,
    width_mm: float,
    most_mm: float,
    lines: int,
    enough_mm: float = LEGIBLE_MM,
    mono: bool = False,
) -> tuple[float, list[str]]:
    """The size of type and the lines in which a text fits the width: few lines, if large enough.

    Widths of letters are estimated generously: no font is at hand here.
    """
    size_mm, parts = 0.0, [text]
    for count in range(1, lines + 1):
        tried = _broken(text, count, mono)
        widest = max(_ems(part, mono) for part in tried)
        fits_mm = min(most_mm, width_mm / max(widest, 0.1))
        if fits_mm > size_mm:
            size_mm, parts = fits_mm, tried
        if size_mm >= enough_mm:
            break
    return size_mm, parts


def _texts(label: Label) -> Iterator[str]:
    code_size, code = fit(label.room_code, TEXT_MM, 6.0, 3, mono=True)
    code_y = HEIGHT_MM - EDGE_MM - 1.15 * code_size * (len(code) - 1) - 0.5
    room_y = code_y - code_size - 1.0  # the line above it
    y = EDGE_MM
    size, parts = fit(label.name, TEXT_MM, 6.0, 2, NAME_MM)
    for part in parts:
        y += 1.1 * size
        yield _text(part, y, size, weight="bold")
    y += 5.0
    yield _text("Open on your phone", y, LEGIBLE_MM)
    for address in filter(None, (label.address, label.other_address)):
        size, parts = fit(address, TEXT_MM, 3.4, 3, mono=True)
        if address == label.other_address and y + 1.35 * size * len(parts) > room_y - 3.0:
            continue  # the first one leads there as well
        for part in parts:
            y += 1.35 * size
            yield _text(part, y, size, MONO)
    if label.room_code:
        yield _text("Room code", room_y, LEGIBLE_MM)
        for number, part in enumerate(code):
            yield _text(part, code_y + 1.15 * code_size * number, code_size, MONO, "bold")


def _text(text: str, y: float, size: float, family: str = SANS, weight: str = "normal") -> str:
    return (
        f'<text x="{EDGE_MM:g}" y="{y:.2f}" font-family="{family}" font-size="{size:.2f}"'
        f' font-weight="{weight}" xml:space="preserve">{escape(text)}</text>\n'
    )


def _qr(address: str) -> str:
    rows = modules(address)
    count = len(rows) + 2 * QUIET_ZONE_MODULES
    size = CODE_MM / count
    x0, y0 = WIDTH_MM - CODE_MM - 1.0, (HEIGHT_MM - CODE_MM) / 2
    path = "".join(
        f"M{x + QUIET_ZONE_MODULES} {y + QUIET_ZONE_MODULES}h1v1h-1z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    return (
        f'<path transform="translate({x0:g} {y0:g}) scale({size:.5f})" d="{path}"'
        ' shape-rendering="crispEdges"/>\n'
    )


def _broken(text: str, count: int, mono: bool) -> list[str]:
    """The text in at most so many lines of about the same width, at spaces where there are."""
    if count == 1:
        return [text]
    share = _ems(text, mono) / count
    parts: list[str] = []
    line = ""
    for number, sign in enumerate(text):
        line += sign
        last_chance = _ems(line, mono) >= (1.25 if " " in text else 1.0) * share
        at_space = sign == " " and _ems(line, mono) >= 0.75 * share
        if len(parts) < count - 1 and number < len(text) - 1 and (at_space or last_chance):
            parts.append(line.strip(" "))
            line = ""
    return [*parts, line.strip(" ")]


def _ems(text: str, mono: bool) -> float:
    return sum(_em(sign, mono) for sign in text)


def _em(sign: str, mono: bool) -> float:
    if unicodedata.east_asian_width(sign) in "WF":
        return 1.05
    if unicodedata.combining(sign):
        return 0.0
    if mono:
        return MONO_EM if sign.isascii() else 0.9
    if sign in WIDE:
        return 1.05
    if sign in NARROW:
        return 0.45
    return 0.85 if sign.isupper() or not sign.isascii() else 0.7
