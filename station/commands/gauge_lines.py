"""What `station gauge` prints: JSON a line, or words and tables for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from station.commands.printed import json_line
from station.music.gauge_view import Data
from station.music.names import NamingSystem, note_in

GAP = "  "
DIGITS = 10  # B is some 1e-5


def json_lines(view: Data, where: Data) -> Iterator[str]:
    """An object for each string, then one for the set."""
    for row in view["strings"]:
        yield json_line({"kind": "wire", **row}, DIGITS)
    rest = {key: value for key, value in view.items() if key != "strings"}
    yield json_line({"kind": "set", **where, **rest}, DIGITS)


def text_lines(view: Data, where: Data, names: NamingSystem = "english") -> Iterator[str]:
    """Words first, then the table, then what was asked for besides, then what to take care of."""
    yield _headline(view, where)
    yield from view["advice"]
    yield ""
    yield from _columns(_table(view["strings"], names))
    yield from _about(view["strings"])
    if view["target"] is not None:
        yield ""
        yield from _other_tuning(view, names)
    if view["heat"]["degrees"] is not None:
        yield ""
        yield from _cold(view, names)
    if any(row["measured"] for row in view["strings"]):
        yield ""
        yield from _stiffness(view["strings"], names)
    yield ""
    yield from view["windings"].values()
    yield from view["cautions"]


def _headline(view: Data, where: Data) -> str:
    load = view["load"]
    count = load["count"]
    pull = f"{load['total_lb']:.1f} lb ({load['total_n']:.0f} N)"
    who = "The string pulls" if count == 1 else f"{count} strings together pull"
    first = f"{who} {pull}"
    scale = where["scale_mm"]
    if scale is not None:
        usual = "the usual " if where["scale_assumed"] else ""
        first += f" over {usual}{scale / 25.4:.4g} in ({scale:.4g} mm)"
    word = {
        "within": "within what its wire bears"
        if count == 1
        else "all within what their wire bears",
        "near the limit": "near the limit",
        "too tight": "too tight",
        "breaks": "it would break" if count == 1 else "some would break",
        None: "nothing is known of the core, and so of the margin",
    }[load["verdict"]]
    if load["verdict"] == "within" and load["unknown"]:
        word = "those whose core is known are within what it bears"
    return f"{first}: {word}."


def _table(rows: Sequence[Data], names: NamingSystem) -> list[list[str]]:
    head = [
        "string", "note", "gauge", "", "unit weight lb/in", "g/m", "pull lb", "N", "margin",
        "may rise", "B", "cents a degree",
    ]  # fmt: skip
    return [head, *([*_row(row, names)] for row in rows)]


def _row(row: Data, names: NamingSystem) -> Iterator[str]:
    pairs = f"{row['string']}" + (f" x{row['count']}" if row["count"] > 1 else "")
    yield pairs
    yield note_in(row["note"], names)
    yield row["gauge"] or "?"
    yield _made_of(row)
    yield f"{row['unit_lb_in']:.3e}"
    yield f"{row['unit_kg_m'] * 1e3:.4g}"
    yield f"{row['tension_lb']:.1f} ±{row['tension_lb'] * row['tension_percent'] / 100:.1f}"
    yield f"{row['tension_n']:.1f}"
    yield _margin(row["margin_percent"])
    yield "?" if row["room_cents"] is None else f"{row['room_cents'] / 100:+.1f} semitones"
    yield _factor(row["inharmonicity"], row["inharmonicity_percent"])
    if row["cents_per_degree"] is None:
        yield "?"
    else:
        yield f"{row['cents_per_degree']:+.1f} ±{row['cents_per_degree_uncertainty']:.1f}"


def _margin(percent: float | None) -> str:
    if percent is None:
        return "?"
    return f"{percent:.0f} %" if percent > 0 else "none"


def _factor(value: float | None, percent: float) -> str:
    return "?" if value is None else f"{value:.1e} ±{percent:.0f} %"


def _made_of(row: Data) -> str:
    if row["winding"] == "plain":
        return f"plain {row['material']}" if row["gauge"] else "by weight"
    return f"{row['winding']} {row['wrap']}"


def _about(rows: Sequence[Data]) -> Iterator[str]:
    """What the figures rest on: packing, assumed cores."""
    wound = [row for row in rows if row["packing"] is not None]
    fills = {row["winding"]: row["packing"] for row in wound}
    if fills:
        said = ", ".join(f"{kind} {fill:.3f}" for kind, fill in fills.items())
        yield f"Of the shell round the core a winding fills: {said}."
    guessed = [row for row in wound if row["core_assumed"]]
    if guessed:
        cores = ", ".join(_core(row) for row in guessed)
        yield f"Cores assumed, to 10 %: {cores}. If you know one, say core=.016."


def _core(row: Data) -> str:
    return f"string {row['string']} {row['core_shape']} {row['core_in']:.4f}".replace(" 0.", " .")


def _other_tuning(view: Data, names: NamingSystem) -> Iterator[str]:
    target = view["target"]
    what = f"In {target['tuning']}" if target["tuning"] else "For that pull"
    if target["tuning"]:
        yield (
            f"{what} the same strings pull {target['same_percent']:+.1f} % in all; with the gauges"
            f" below {target['percent']:+.1f} %."
        )
    else:
        yield f"{what} the gauges below; the neck's load changes by {target['percent']:+.1f} %."
    head = ["string", "note", "as it is lb", "change", "gauge", "", "pull lb", "N", "off by", ""]
    yield from _columns([head, *([*_keep_row(row, names)] for row in view["strings"])])
    if target["bending"]:
        yield "Kept: pull, and with it how much the pitch moves when a string is bent."


def _keep_row(row: Data, names: NamingSystem) -> Iterator[str]:
    keep = row["keep"]
    other = keep["other"]
    yield str(row["string"])
    yield note_in(keep["note"], names)
    yield f"{keep['same']['tension_lb']:.1f}"
    yield f"{keep['same']['percent']:+.1f} %"
    if other is None:
        yield from ("?", "", "", "", "", "its gauge is not known")
        return
    yield other["gauge"] or "as it is"
    yield _made_of(other)
    yield f"{other['tension_lb']:.1f}"
    yield f"{other['tension_n']:.1f}"
    yield f"{other['percent']:+.1f} %"
    if not other["changed"]:
        yield "stays"
    else:
        yield "" if other["near"] else "nothing on sale comes nearer"


def _cold(view: Data, names: NamingSystem) -> Iterator[str]:
    degrees = view["heat"]["degrees"]
    word = "colder" if degrees < 0 else "warmer"
    if any(row["drift"] is not None for row in view["strings"]):
        yield (
            f"{abs(degrees):.3g} degrees {word}: on a fixed bridge, when neck and strings have"
            " settled; at first, when only the strings have; and on a bridge whose springs keep the"
            " pull."
        )
        head = ["string", "note", "settled", "at first", "sprung bridge"]
        yield from _columns([head, *([*_drift_row(row, names)] for row in view["strings"])])
        yield "Moisture moves a wooden neck more than this, and is not in it."
    if view["heat"]["why_not"] is not None:
        yield f"What {abs(degrees):.3g} degrees do: {view['heat']['why_not']}."


def _drift_row(row: Data, names: NamingSystem) -> Iterator[str]:
    yield str(row["string"])
    yield note_in(row["note"], names)
    drift = row["drift"]
    if drift is None:
        yield from ("?", "?", "?")
        return
    yield f"{drift['cents']:+.0f} ±{drift['uncertainty_cents']:.0f} cents"
    yield f"{drift['first_cents']:+.0f} ±{drift['first_uncertainty_cents']:.0f} cents"
    yield _little(drift["free_cents"])


def _little(cents: float) -> str:
    return f"{cents:+.1f} cents" if abs(cents) >= 0.05 else "less than 0.1 cents"


def _stiffness(rows: Sequence[Data], names: NamingSystem) -> Iterator[str]:
    yield "Inharmonicity measured beside what the wire predicts:"
    table = [["string", "note", "measured", "predicted", "measured/predicted", ""]]
    for row in rows:
        found: Mapping[str, Any] | None = row["measured"]
        if found is None:
            continue
        ratio = "?" if found["ratio"] is None else f"{found['ratio']:.2f}"
        predicted = _factor(row["inharmonicity"], row["inharmonicity_percent"])
        said = str(found["says"])
        if found["core_in"] is not None and row["core_assumed"]:
            said += f" (a core of {found['core_in']:.4f} in would have it)".replace(" 0.", " .")
        note = note_in(row["note"], names)
        measured = f"{found['inharmonicity']:.1e}"
        table.append([str(row["string"]), note, measured, predicted, ratio, said])
    yield from _columns(table)


def _columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows with their columns one below the other."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        padded = (text.ljust(width) for text, width in zip(row, widths, strict=True))
        yield GAP.join(padded).rstrip()
