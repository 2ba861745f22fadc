"""A set of strings as plain data: what the page shows of one instrument and the command prints.

Everything is text, numbers, lists and tables; notes are English machine names. Pure. Numbers
that cannot be told are None. ``gauge_view`` says all keys.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from station.music.gauges import Choice, keep_feel_of_set
from station.music.windings import SOUND, Winding, Wire, core_over_m, packing
from station.music.wire import Stretched, core_for_inharmonicity_m, total_n
from station.music.wire_heat import USUAL, WHY_NOT, Drift, at_first, can_be_told, drifts
from station.music.wire_strength import LOAD_WORDS, Load
from station.music.wire_units import INCH_M, POUND_FORCE_N, POUND_PER_INCH_KG_M, gauge_text

Data = dict[str, Any]

SETUP_PERCENT = 5.0
"""From this much more or less pull on the neck its relief and the action may want work: common
practice, no source."""

CAUTIONS = (
    "A string under tension whips when it breaks: keep your face and eyes away, wear glasses, slack"
    " it off before you cut it.",
    "Do not tune past the margin: a string that has stretched for good or lies near its limit"
    " breaks without warning.",
    "Neck relief belongs to a repairer when in doubt, and so does a bridge that lifts.",
)
"""Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What is asked besides: another tuning's (note, Hz) for each string and its name, a pull
    wished for, bending to be kept as well, a change of temperature, measured B by string number.
    """

    targets: Sequence[tuple[str, float]] | None = None
    tuning: str | None = None
    pull_n: float | None = None
    bending: bool = False
    degrees: float | None = None
    measured: Mapping[int, float] = field(default_factory=dict)


def gauge_view(strings: Sequence[Stretched], wishes: Wishes | None = None) -> Data:
    """All that is known of a set of strings.

    ``{"strings": [...], "load": {...}, "target": {...} or None, "heat": {...}, "advice":
    [...], "windings": {...}, "cautions": [...]}``. In each string: ``string``, ``count``,
    ``note``, ``hz``, ``length_mm``; the wire (``gauge``, ``gauge_in``, ``gauge_mm``,
    ``winding``, ``material``, ``wrap``, ``core_in``, ``core_mm``, ``core_shape``,
    ``core_assumed``, ``packing``, ``unit_kg_m``, ``unit_lb_in``, ``unit_given``); ``tension_n``,
    ``tension_lb``, ``tension_percent`` (its uncertainty); ``load`` (1 breaks),
    ``margin_percent``, ``room_cents``, ``verdict``, ``says``; ``inharmonicity``,
    ``inharmonicity_percent``, ``measured`` (see `_measured`); ``cents_per_degree`` and
    ``cents_per_degree_uncertainty``; ``drift`` (see `_drifts`); ``keep`` (see `_keep`). Raises
    WireError for wishes that cannot be met.
    """
    asked = wishes or Wishes()
    choices = _choices(strings, asked)
    slopes = drifts(strings, 1.0)
    rows = [
        {
            **_string(string, slope),
            "measured": _measured(string, asked.measured.get(string.number)),
            "drift": None,
            "keep": None,
        }
        for string, slope in zip(strings, slopes, strict=True)
    ]
    if choices is not None:
        targets = _targets(strings, asked)
        for place, row in enumerate(rows):
            row["keep"] = _keep(strings[place], choices[place], targets[place])
    if asked.degrees is not None:
        for row, drift in zip(rows, _drifts(strings, asked.degrees), strict=True):
            row["drift"] = drift
    view: Data = {
        "strings": rows,
        "load": _load(strings),
        "target": _target(strings, choices, asked),
        "heat": _heat(strings, asked.degrees),
        "windings": {kind: SOUND[kind] for kind in _kinds(strings)},
        "cautions": list(CAUTIONS),
    }
    return {**view, "advice": advice(view)}


def _kinds(strings: Sequence[Stretched]) -> list[Winding]:
    """Windings of the set's steel strings, in the order they come."""
    wires = [s.wire for s in strings if s.wire.material.is_steel and s.wire.gauge_m is not None]
    return list(dict.fromkeys(wire.winding for wire in wires))


def _string(string: Stretched, slope: Drift) -> Data:
    load, word = string.load, string.load_word
    return {
        "string": string.number,
        "count": string.count,
        "note": string.note,
        "hz": string.hz,
        "length_mm": string.length_m * 1e3,
        **_wire(string.wire),
        **_pull(string.tension_n),
        "tension_percent": string.wire.unit_percent,
        "load": load,
        "margin_percent": None if load is None else 100 * (1 - load),
        "room_cents": string.room_cents,
        "verdict": word,
        "says": None if word is None else LOAD_WORDS[word],
        "inharmonicity": string.inharmonicity,
        "inharmonicity_percent": string.inharmonicity_percent,
        "cents_per_degree": slope.cents,
        "cents_per_degree_uncertainty": slope.uncertainty_cents,
    }


def _wire(wire: Wire) -> Data:
    fill = None
    if wire.winding != "plain" and wire.gauge_m is not None and wire.core_m is not None:
        fill = packing(core_over_m(wire.core_m, wire.core_shape), wire.gauge_m, wire.winding)
    return {
        "gauge": None if wire.gauge_m is None else _gauge_words(wire),
        "gauge_in": _in(wire.gauge_m),
        "gauge_mm": _mm(wire.gauge_m),
        "winding": wire.winding,
        "material": wire.material.key,
        "wrap": None if wire.wrap is None else wire.wrap.key,
        "core_in": _in(wire.core_m),
        "core_mm": _mm(wire.core_m),
        "core_shape": wire.core_shape,
        "core_assumed": wire.core_assumed,
        "packing": fill,
        "unit_kg_m": wire.unit_kg_m,
        "unit_lb_in": wire.unit_kg_m / POUND_PER_INCH_KG_M,
        "unit_given": wire.given_kg_m is not None,
    }


def _gauge_words(wire: Wire) -> str:
    if wire.gauge_m is None:
        return ""
    return gauge_text(wire.gauge_m) + ("" if wire.winding == "plain" else "w")


def _pull(tension_n: float) -> Data:
    return {"tension_n": tension_n, "tension_lb": tension_n / POUND_FORCE_N}


def _measured(string: Stretched, measured: float | None) -> Data | None:
    """Measured B beside the predicted one: ``inharmonicity``, ``ratio`` (None without a
    prediction), ``core_in`` and ``core_mm`` that would have it, and ``says``."""
    if measured is None:
        return None
    predicted = string.inharmonicity
    core_m = core_for_inharmonicity_m(string, measured)
    ratio = None if predicted is None else measured / predicted
    return {
        "inharmonicity": measured,
        "ratio": ratio,
        "core_in": _in(core_m),
        "core_mm": _mm(core_m),
        "says": _stiffness_words(string, ratio),
    }


def _stiffness_words(string: Stretched, ratio: float | None) -> str:
    """Two standard deviations either way, as a factor, count as agreement."""
    if ratio is None:
        return "nothing to compare it with: its core is unknown"
    allowed = math.exp(2 * string.inharmonicity_percent / 100)
    if 1 / allowed <= ratio <= allowed:
        return "as its wire predicts"
    if ratio > allowed:
        thicker = "a thicker core than assumed" if string.wire.core_assumed else "another gauge"
        return f"stiffer than predicted: {thicker}, or it is old, dirty or kinked"
    thinner = "a thinner core than assumed" if string.wire.core_assumed else "another gauge"
    return f"less stiff than predicted: {thinner}, or it was measured on too few partials"


def _drifts(strings: Sequence[Stretched], degrees: float) -> list[Data | None]:
    """What the change of temperature does to each string: ``cents`` when all has settled on a
    fixed bridge, ``first_cents`` while the neck is still as warm as before, ``free_cents`` on a
    bridge whose springs keep the pull."""
    settled = drifts(strings, degrees)
    first = drifts(strings, degrees, at_first())
    free = drifts(strings, degrees, hold="fixed tension")
    return [
        None
        if one.cents is None
        else {
            "cents": one.cents,
            "uncertainty_cents": one.uncertainty_cents,
            "first_cents": soon.cents,
            "first_uncertainty_cents": soon.uncertainty_cents,
            "free_cents": loose.cents,
        }
        for one, soon, loose in zip(settled, first, free, strict=True)
    ]


def _heat(strings: Sequence[Stretched], degrees: float | None) -> Data:
    return {
        "degrees": degrees,
        "string_per_degree": USUAL.string,
        "neck_per_degree": USUAL.neck,
        "modulus_per_degree": USUAL.modulus,
        "neck_stiffness_n": USUAL.stiffness_n,
        "why_not": None if all(map(can_be_told, strings)) else _why_not(strings),
    }


def _why_not(strings: Sequence[Stretched]) -> str:
    soft = any(not string.wire.material.is_steel for string in strings)
    return WHY_NOT if soft else "strings given by weight alone: add their core=.016"


def _load(strings: Sequence[Stretched]) -> Data:
    """The set's pull on the neck: ``total_n``, ``total_lb``, how many strings, the worst word (None
    where no core is known), and how many strings' cores are ``unknown``."""
    words = [string.load_word for string in strings]
    order: tuple[Load | None, ...] = ("breaks", "too tight", "near the limit", "within", None)
    whole = total_n(strings)
    return {
        "total_n": whole,
        "total_lb": whole / POUND_FORCE_N,
        "count": sum(string.count for string in strings),
        "verdict": next(word for word in order if word in words),
        "unknown": words.count(None),
    }


def _targets(strings: Sequence[Stretched], asked: Wishes) -> list[tuple[str, float]]:
    if asked.targets is None:
        return [(string.note, string.hz) for string in strings]
    return list(asked.targets)


def _choices(strings: Sequence[Stretched], asked: Wishes) -> list[Choice | None] | None:
    """What keeps the feel of each string; None as a whole where nothing else is asked for."""
    if asked.targets is None and asked.pull_n is None:
        return None
    pairs = [(hz, note) for note, hz in _targets(strings, asked)]
    return keep_feel_of_set(strings, pairs, asked.pull_n, asked.bending)


def _keep(string: Stretched, choice: Choice | None, target: tuple[str, float]) -> Data:
    """A string in another tuning: ``note``, ``hz``, ``same`` and ``other``.

    ``same`` is this very string there: its pull, ``percent`` more of it than now, load, verdict.
    ``other`` is the string on sale that keeps the feel: its wire, its pull, ``percent`` above the
    wished one, load, verdict, ``near`` (within 5 %), ``changed``; None without a gauge.
    """
    note, hz = target
    same = replace(string, note=note, hz=hz)
    return {
        "note": note,
        "hz": hz,
        "same": {**_there(same), "percent": 100 * (same.tension_n / string.tension_n - 1)},
        "other": None if choice is None else _other(string, choice),
    }


def _other(string: Stretched, choice: Choice) -> Data:
    found = choice.stretched
    return {
        **_wire(found.wire),
        **_there(found),
        "percent": choice.percent,
        "bending_percent": choice.bending_percent,
        "near": choice.near,
        "changed": found.wire != string.wire,
    }


def _there(string: Stretched) -> Data:
    return {**_pull(string.tension_n), "load": string.load, "verdict": string.load_word}


def _target(
    strings: Sequence[Stretched], choices: Sequence[Choice | None] | None, asked: Wishes
) -> Data | None:
    """The whole set in the other tuning: as it is (``same_``), and with what is suggested."""
    if choices is None:
        return None
    here = [
        replace(string, note=note, hz=hz)
        for string, (note, hz) in zip(strings, _targets(strings, asked), strict=True)
    ]
    found = [
        same if choice is None else choice.stretched
        for same, choice in zip(here, choices, strict=True)
    ]
    now, same_n, kept = total_n(strings), total_n(here), total_n(found)
    return {
        "tuning": asked.tuning,
        "wished_n": asked.pull_n,
        "bending": asked.bending,
        "same_total_n": same_n,
        "same_percent": 100 * (same_n / now - 1),
        "total_n": kept,
        "total_lb": kept / POUND_FORCE_N,
        "percent": 100 * (kept / now - 1),
    }


def advice(view: Data) -> list[str]:
    """What a player should do or know, the gravest first; empty when nothing is amiss."""
    said: list[str] = []
    for row in view["strings"]:
        said += _too_tight(row)
    said += _far_from_even(view["strings"])
    target = view["target"]
    if target is not None and abs(target["percent"]) > SETUP_PERCENT:
        more = "more" if target["percent"] > 0 else "less"
        said.append(
            f"The suggested set pulls {abs(target['percent']):.0f} % {more}: relief, action and a"
            " sprung bridge may want setting; a repairer does that."
        )
    return said


def _too_tight(row: Data) -> list[str]:
    """What is near its limit or beyond: the string now, in the other tuning, its replacement."""
    which, keep = f"String {row['string']}", row["keep"]
    told = [(f"{which}, {row['note']}", row)]
    if keep is not None:
        told.append((f"{which} as it is, tuned to {keep['note']}", keep["same"]))
        if keep["other"] is not None and keep["other"]["changed"]:
            told.append((f"{which}, {keep['note']} on {keep['other']['gauge']}", keep["other"]))
    said = [
        f"{what}: {LOAD_WORDS[each['verdict']]}."
        for what, each in told
        if each["verdict"] not in (None, "within")
    ]
    drift, room = row["drift"], row["room_cents"]
    if drift is not None and 0.0 < room < max(drift["cents"], drift["first_cents"]):
        said.append(
            f"{which}, {row['note']}: the cold alone takes it past its limit; slack it off."
        )
    return said


def _far_from_even(rows: Sequence[Data]) -> list[str]:
    """A string that pulls half as much again as the usual of its set, or under two thirds."""
    if len(rows) < 3:
        return []
    usual = sorted(row["tension_n"] for row in rows)[len(rows) // 2]
    return [
        f"String {row['string']}, {row['note']}, pulls {row['tension_n'] / usual:.1f} times what is"
        " usual in this set: is its gauge right?"
        for row in rows
        if not 2 / 3 <= row["tension_n"] / usual <= 1.5
    ]


def _in(metres: float | None) -> float | None:
    return None if metres is None else metres / INCH_M


def _mm(metres: float | None) -> float | None:
    return None if metres is None else metres * 1e3
