"""`station gauge`: strings as wire: pull, margin, gauges for another tuning, cold, stiffness."""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from station.commands.gauge_lines import json_lines, text_lines
from station.commands.printed import print_lines
from station.errors import WireError
from station.music._text import shown
from station.music.catalogue import Tuning
from station.music.gauge_set import (
    Build,
    set_on_instrument,
    strings_alone,
    targets_in,
)
from station.music.gauge_view import Data, Wishes, gauge_view
from station.music.names import NamingSystem
from station.music.pitch import cents_between, check_a4
from station.music.tunings import find_instrument, find_tuning, find_tuning_by_name
from station.music.windings import Winding
from station.music.wire import Stretched
from station.music.wire_units import (
    parse_degrees,
    parse_force,
    parse_length,
)
from station.plain_text import path_text

SAME_STRING_CENTS = 70.0  # an open string somebody has yet to tune, no fretted neighbour
LEAST_B, MOST_B = 1e-7, 1e-1
LEAST_HEARD_B = 1e-6
"""Below it a sound has no stiffness: the thinnest strings have ten times as much."""


@dataclass(frozen=True, slots=True)
class GaugeRequest:
    """What was asked for, as it was written; None or empty where nothing was said."""

    instrument: str | None = None
    tuning: str | None = None
    scale: str | None = None
    gauges: str | None = None
    strings: Sequence[str] = ()
    material: str | None = None
    wrap: str | None = None
    winding: Winding | None = None
    to: str | None = None
    bending: bool = False
    tension: str | None = None
    degrees: str | None = None
    measured: Sequence[str] = ()
    hear: str | None = None
    a4_hz: float = 440.0


def run_gauge(asked: GaugeRequest, as_json: bool, names: NamingSystem = "english") -> None:
    """Print what is known of the strings asked for.

    ``names`` is for people: with ``as_json`` notes are English whatever it is. Raises
    WireError, TuningError, ReferenceRangeError and SoundFileError, each in one line.
    """
    check_a4(asked.a4_hz)
    tuning = _tuning(asked)
    strings = _strings(asked, tuning)
    view = gauge_view(strings, _wishes(asked, tuning, strings))
    where = _where(asked, tuning, strings)
    print_lines(list(json_lines(view, where) if as_json else text_lines(view, where, names)))


def _tuning(asked: GaugeRequest) -> Tuning | None:
    """The tuning asked for, None for strings written one by one."""
    if asked.strings:
        given = [
            name
            for name, said in (
                ("--instrument", asked.instrument), ("--tuning", asked.tuning),
                ("--set", asked.gauges), ("--to", asked.to),
            )
            if said is not None
        ]  # fmt: skip
        if given:
            raise WireError(f"{given[0]} does not go with --string: leave one of them out")
        return None
    if asked.instrument is None and asked.tuning is None:
        raise WireError(
            "no strings: name a set, --instrument guitar --set .010,.013,.017,.026,.036,.046, or"
            " single strings, --scale 25.5in --string E4:.010"
        )
    found = (
        find_tuning(asked.instrument, asked.tuning or "")
        if asked.instrument is not None
        else find_tuning_by_name(asked.tuning or "")
    )
    if asked.gauges is None:
        raise WireError(
            f"no gauges for {found.instrument}: add --set with {len(found.strings)} of them, string"
            " 1 first"
        )
    return found


def _strings(asked: GaugeRequest, tuning: Tuning | None) -> list[Stretched]:
    scale_m = None if asked.scale is None else parse_length(asked.scale)
    build = Build(asked.material, asked.wrap, asked.winding)
    if tuning is None:
        return strings_alone(asked.strings, scale_m, build, asked.a4_hz)
    return set_on_instrument(tuning, asked.gauges or "", scale_m, build, asked.a4_hz)


def _wishes(asked: GaugeRequest, tuning: Tuning | None, strings: Sequence[Stretched]) -> Wishes:
    if asked.bending and asked.to is None and asked.tension is None:
        raise WireError("--bending looks for other gauges: add --to TUNING or --tension 16lb")
    name, targets = None, None
    if asked.to is not None and tuning is not None:
        name, targets = targets_in(tuning, asked.to, asked.a4_hz)
    measured = _measured(asked.measured, strings)
    if asked.hear is not None:
        measured = {**_heard(asked.hear, strings, asked.a4_hz), **measured}
    return Wishes(
        targets,
        name,
        None if asked.tension is None else parse_force(asked.tension),
        asked.bending,
        None if asked.degrees is None else parse_degrees(asked.degrees),
        measured,
    )


def _measured(written: Sequence[str], strings: Sequence[Stretched]) -> dict[int, float]:
    """B by string number from ``6=6e-5``, or ``6e-5`` where there is one string only."""
    found: dict[int, float] = {}
    for text in written:
        number, equals, value = text.rpartition("=")
        if not equals and len(strings) != 1:
            raise WireError(f"measured {shown(text)}: of which string? Write 6=6e-5")
        which = number.strip() if equals else str(strings[0].number)
        known = {str(string.number): string.number for string in strings}
        if which not in known:
            raise WireError(f"measured {shown(text)}: strings are 1 to {len(strings)}")
        if known[which] in found:
            raise WireError(f"measured {shown(text)}: string {which} is given twice")
        found[known[which]] = _inharmonicity(value, text)
    return found


def _inharmonicity(value: str, text: str) -> float:
    number = re.fullmatch(r"\s*([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?\s*", value)
    measured = float(value) if number else math.nan
    if not LEAST_B <= measured <= MOST_B:
        raise WireError(
            f"measured {shown(text)}: an inharmonicity is a number such as 6e-5, from"
            f" {LEAST_B:g} to {MOST_B:g}"
        )
    return measured


def _heard(path: str, strings: Sequence[Stretched], a4_hz: float) -> dict[int, float]:
    """The median B of each open string's notes in a sound file.

    Raises SoundFileError, and WireError where no note is of any of the strings.
    """
    # The listeners are heavy, and nobody else needs them.
    from station.commands.hear import HearOptions, hear_file

    notes: dict[int, list[float]] = {}
    for said in hear_file(path, HearOptions(a4_hz=a4_hz)):
        if said["kind"] != "note":
            continue
        nearest = min(strings, key=lambda each: abs(cents_between(said["hz"], each.hz)))
        if abs(cents_between(said["hz"], nearest.hz)) <= SAME_STRING_CENTS:
            notes.setdefault(nearest.number, []).append(said["inharmonicity"])
    found = {number: statistics.median(each) for number, each in notes.items()}
    stiff = {number: measured for number, measured in found.items() if measured >= LEAST_HEARD_B}
    if not notes:
        raise WireError(
            f"{path_text(path)}: no note of these open strings: play them one by one and let them"
            " ring"
        )
    if not stiff:
        raise WireError(
            f"{path_text(path)}: its partials are whole multiples, as a sampled or synthetic"
            " sound's are: no string is so limp"
        )
    return stiff


def _where(asked: GaugeRequest, tuning: Tuning | None, strings: Sequence[Stretched]) -> Data:
    """What was strung, and the scale: as it was said, else the usual one where that was taken."""
    usual_mm = None if tuning is None else find_instrument(tuning.instrument).scale_length_mm
    taken = usual_mm is not None and any(
        math.isclose(string.length_m, usual_mm / 1e3) for string in strings
    )
    said_mm = None if asked.scale is None else parse_length(asked.scale) * 1e3
    return {
        "instrument": None if tuning is None else tuning.instrument,
        "tuning": None if tuning is None else tuning.name,
        "a4_hz": asked.a4_hz,
        "scale_mm": said_mm if said_mm is not None or not taken else usual_mm,
        "scale_assumed": said_mm is None and taken,
    }
