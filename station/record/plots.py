"""The report's drawings as SVG text: time to the right, pitch upward, made for paper. Pure.

Lines are told apart by dashes as well as by shade, so that a print in one colour says the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from html import escape

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 680.0, 64.0, 44.0, 10.0, 22.0
LABEL, LEAD = 11.0, 10.0  # how high a label is, and how far from its line
DASHES = ("", "7 3", "2 3", "9 3 2 3", "4 2", "12 4", "1 2", "6 2 1 2")
LEAST_CENTS = 6.0
"""A plot of drifts shows at least so much either side, or noise would look like drift."""
STEPS_MIN = (1, 2, 5, 10, 15, 20, 30, 60, 120)

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a plot: its label and points, seconds and the plot's own unit."""

    label: str
    points: Sequence[Point]
    steps: bool = False


def pitch_plot(
    lines: Sequence[Line],
    lasted_s: float,
    *,
    unit: str,
    height: float = 150.0,
    band: tuple[float, float] | None = None,
    gaps: Iterable[Point] = (),
    title: str = "",
) -> str:
    """An SVG of lines over the evening; ``band`` is shaded across, ``gaps`` (from, to) down."""
    values = [value for line in lines for _, value in line.points]
    low, high = _range(values, band)
    at = _placer(max(lasted_s, 60.0), low, high, height)
    parts = [
        f'<svg viewBox="0 0 {WIDTH:g} {height:g}" role="img" aria-label="{escape(title)}">',
        *_shades(at, band, gaps, height),
        *_axes(at, lasted_s, low, high, unit, height),
    ]
    drawn = [line for line in lines if line.points]
    ends = [at(*line.points[-1])[1] for line in drawn]
    labels = _spread(ends, TOP + LABEL / 2, height - BOTTOM - LABEL / 2)
    for number, (line, label_y) in enumerate(zip(drawn, labels, strict=True)):
        parts += _drawn(line, DASHES[number % len(DASHES)], at, label_y)
    return "".join([*parts, "</svg>"])


def span_plot(rows: Sequence[tuple[str, Sequence[tuple[float, str]]]], lasted_s: float) -> str:
    """An SVG with a row for each name: marks at times; "in" filled, anything else open."""
    height = TOP + BOTTOM + 22.0 * len(rows)
    at = _placer(max(lasted_s, 60.0), 0.0, 1.0, height)
    parts = [
        f'<svg viewBox="0 0 {WIDTH:g} {height:g}" role="img"'
        ' aria-label="when strings were checked">',
        *_time_axis(at, lasted_s, height),
    ]
    for number, (name, marks) in enumerate(rows):
        y = TOP + 22.0 * number + 11.0
        parts.append(f'<text x="{LEFT - 8:g}" y="{y + 4:g}" class="end">{escape(name[:9])}</text>')
        parts.append(f'<path class="rule" d="M{LEFT:g} {y:g}H{WIDTH - RIGHT:g}"/>')
        for at_s, word in marks:
            mark = "in" if word == "in" else "out"
            x = at(at_s, 0.0)[0]
            parts.append(f'<circle class="{mark}" cx="{x:.1f}" cy="{y:g}" r="4"/>')
    return "".join([*parts, "</svg>"])


def _range(values: Sequence[float], band: tuple[float, float] | None) -> Point:
    inside = [*values, *(band or ())]
    if not inside:
        return -LEAST_CENTS, LEAST_CENTS
    low, high = min(inside), max(inside)
    room = 0.1 * (high - low) if high > low else 1.0
    return low - room, high + room


def _placer(lasted_s: float, low: float, high: float, height: float) -> Callable[..., Point]:
    def at(at_s: float, value: float) -> Point:
        x = LEFT + (WIDTH - LEFT - RIGHT) * min(max(at_s / lasted_s, 0.0), 1.0)
        y = TOP + (height - TOP - BOTTOM) * (high - value) / (high - low)
        return x, y

    return at


def _shades(
    at: Callable[..., Point], band: tuple[float, float] | None, gaps: Iterable[Point], height: float
) -> list[str]:
    parts = []
    for start_s, end_s in gaps:
        left, right = at(start_s, 0.0)[0], at(end_s, 0.0)[0]
        parts.append(
            f'<rect class="gap" x="{left:.1f}" y="{TOP:g}" width="{max(right - left, 1):.1f}"'
            f' height="{height - TOP - BOTTOM:g}"/>'
        )
    if band is not None:
        bottom, top = at(0.0, band[0])[1], at(0.0, band[1])[1]
        parts.append(
            f'<rect class="band" x="{LEFT:g}" y="{top:.1f}"'
            f' width="{WIDTH - LEFT - RIGHT:g}" height="{bottom - top:.1f}"/>'
        )
    return parts


def _axes(
    at: Callable[..., Point], lasted_s: float, low: float, high: float, unit: str, height: float
) -> list[str]:
    parts = _time_axis(at, lasted_s, height)
    for value in _round_values(low, high):
        y = at(0.0, value)[1]
        parts.append(f'<path class="rule" d="M{LEFT:g} {y:.1f}H{WIDTH - RIGHT:g}"/>')
        parts.append(f'<text x="{LEFT - 8:g}" y="{y + 4:.1f}" class="end">{value:g}</text>')
    parts.append(f'<text x="2" y="{TOP + 8:g}">{escape(unit)}</text>')
    return parts


def _time_axis(at: Callable[..., Point], lasted_s: float, height: float) -> list[str]:
    minutes = max(lasted_s, 60.0) / 60.0
    step = next((each for each in STEPS_MIN if minutes / each <= 9), STEPS_MIN[-1])
    parts = []
    for minute in range(0, int(minutes) + 1, step):
        x = at(60.0 * minute, 0.0)[0]
        parts.append(f'<path class="rule" d="M{x:.1f} {height - BOTTOM:g}v4"/>')
        parts.append(f'<text x="{x:.1f}" y="{height - 6:g}" class="middle">{minute} min</text>')
    return parts


def _round_values(low: float, high: float) -> list[float]:
    """A few round numbers between the two."""
    width = high - low
    step = next(
        (each for each in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200) if width / each <= 6),
        500.0,
    )
    first = -(-low // step)
    return [
        round((first + count) * step, 6) for count in range(int((high - first * step) / step) + 1)
    ]


def _drawn(line: Line, dash: str, at: Callable[..., Point], label_y: float) -> list[str]:
    places = [at(*point) for point in line.points]
    path = f"M{places[0][0]:.1f} {places[0][1]:.1f}"
    for x, y in places[1:]:
        path += f"H{x:.1f}V{y:.1f}" if line.steps else f"L{x:.1f} {y:.1f}"
    if line.steps:
        path += f"H{WIDTH - RIGHT:g}"
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    x, y = (WIDTH - RIGHT, places[-1][1]) if line.steps else places[-1]
    x = min(x, WIDTH - RIGHT)
    lead = [f'<path class="lead" d="M{x + 2:.1f} {y:.1f}L{x + LEAD - 2:.1f} {label_y:.1f}"/>']
    return [
        f'<path class="line" d="{path}"{dashed}/>',
        *(f'<circle class="point" cx="{px:.1f}" cy="{py:.1f}" r="1.6"/>' for px, py in places),
        *(lead if abs(label_y - y) > 1.0 else []),
        f'<text x="{x + LEAD:.1f}" y="{label_y + 3:.1f}">{escape(line.label)}</text>',
    ]


def _spread(wanted: Sequence[float], top: float, floor: float) -> list[float]:
    """Heights for labels, each as near to where it is wanted as leaves all of them legible."""
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    placed = [wanted[place] for place in order]
    step = min(LABEL, (floor - top) / max(1, len(placed) - 1))
    # Those that would lie on each other stand about the middle of where they are wanted.
    groups: list[list[float]] = []  # centre and count
    for y in placed:
        groups.append([y, 1.0])
        while True:
            centre, count = groups[-1]
            half = (count - 1) * step / 2
            groups[-1][0] = centre = min(max(centre, top + half), floor - half)
            if len(groups) < 2:
                break
            above, others = groups[-2]
            if above + (others - 1) * step / 2 + step <= centre - half:
                break
            groups[-2:] = [[(above * others + centre * count) / (others + count), others + count]]
    heights = [
        centre + (place - (count - 1) / 2) * step
        for centre, count in groups
        for place in range(int(count))
    ]
    return [y for _, y in sorted(zip(order, heights, strict=True))]
