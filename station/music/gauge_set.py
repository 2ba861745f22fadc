"""A set of strings put on an instrument: the gauges people name, on the strings of a tuning."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from station.errors import WireError
from station.music._text import shown
from station.music.catalogue import Tuning
from station.music.pitch import A4_STANDARD_HZ
from station.music.tunings import find_instrument, find_tuning, load_instruments
from station.music.windings import SOUND, Winding
from station.music.wire import Stretched
from station.music.wire_materials import find_material, load_gauges, load_materials
from station.music.wire_spec import (
    Spec,
    note_for,
    parse_set,
    parse_string,
    spec_words,
    stretch_set,
)

SHORT_STRINGS: Mapping[tuple[str, int], int] = {("banjo", 5): 5}
"""Strings that begin at a fret and not at the nut, by instrument and number."""
_USUAL_STRING: Mapping[str, str] = {"ukulele": "nylon"}
_USUAL_WRAP = "nickel-plated"


@dataclass(frozen=True, slots=True)
class Build:
    """What a whole set is made of where a string does not say: names, None for the usual."""

    string: str | None = None
    wrap: str | None = None
    winding: Winding | None = None


def set_on_instrument(
    tuning: Tuning,
    gauges: str,
    scale_m: float | None = None,
    build: Build | None = None,
    a4_hz: float = A4_STANDARD_HZ,
) -> list[Stretched]:
    """The strings of a tuning strung with ``gauges`` (``.010,.013,.017,.026w``, string 1 first).

    Without ``scale_m`` the instrument's common scale length. Raises WireError for a set that
    does not fit, reads from the wrong end or cannot be, and ReferenceRangeError.
    """
    made = build or Build()
    specs = [_wound_as(spec, made) for spec in parse_set(gauges)]
    _check_count(tuning, specs)
    pitches = [(s.note, s.target_hz(a4_hz), s.unison) for s in tuning.strings]
    _check_order(tuning, specs, [hz for _, hz, _ in pitches])
    lengths = [
        spec.length_m or speaking_length_m(tuning.instrument, string.number, scale_m)
        for spec, string in zip(specs, tuning.strings, strict=True)
    ]
    string = made.string or _USUAL_STRING.get(tuning.instrument, "steel")
    wrap = find_material(made.wrap or _USUAL_WRAP, "wrap")
    return stretch_set(specs, pitches, lengths, wrap, find_material(string, "string"))


def strings_alone(
    written: Sequence[str],
    scale_m: float | None = None,
    build: Build | None = None,
    a4_hz: float = A4_STANDARD_HZ,
) -> list[Stretched]:
    """Strings written one by one (``E4:.010:plain``), numbered as they come.

    Raises WireError and ReferenceRangeError.
    """
    made = build or Build()
    read = [parse_string(text, number, scale_m, a4_hz) for number, text in enumerate(written, 1)]
    pitches = [
        (note_for(spec_words(text)[0], hz, a4_hz), hz, 1)
        for text, (_, hz) in zip(written, read, strict=True)
    ]
    specs = [_wound_as(spec, made) for spec, _ in read]
    lengths = [spec.length_m or math.nan for spec in specs]
    wrap = find_material(made.wrap or _USUAL_WRAP, "wrap")
    string = find_material(made.string or "steel", "string")
    return stretch_set(specs, pitches, lengths, wrap, string)


def targets_in(
    tuning: Tuning, wanted: str, a4_hz: float = A4_STANDARD_HZ
) -> tuple[str, list[tuple[str, float]]]:
    """Another tuning of the same instrument by name: its full name, (note, Hz) of each string.

    Raises TuningError, and WireError for a tuning of another instrument.
    """
    instrument, colon, name = wanted.partition(":")
    if colon and find_instrument(instrument).key != tuning.instrument:
        raise WireError(f"tuning {shown(wanted)} is not one of {tuning.instrument}'s")
    found = find_tuning(tuning.instrument, name if colon else wanted)
    return found.name, [(string.note, string.target_hz(a4_hz)) for string in found.strings]


def choices_view() -> dict[str, Any]:
    """What may be chosen, for a form: ``instruments`` with their usual scale, number of gauges and
    tunings, ``strings`` and ``wraps`` (materials), ``windings`` in words, ``gauges`` on sale in
    thousandths of an inch by list."""
    materials = load_materials().values()
    return {
        "instruments": [
            {
                "instrument": instrument.key,
                "label": instrument.label,
                "scale_mm": instrument.scale_length_mm,
                "gauges": instrument.string_count,
                "string": _USUAL_STRING.get(instrument.key, "steel"),
                "tunings": [
                    {"tuning": tuning.key, "label": tuning.label}
                    for tuning in instrument.tunings.values()
                ],
            }
            for instrument in load_instruments().values()
            if instrument.kind == "strings"
        ],
        "strings": [{"material": m.key, "label": m.label} for m in materials if m.use == "string"],
        "wraps": [{"material": m.key, "label": m.label} for m in materials if m.use == "wrap"],
        "windings": dict(SOUND),
        "gauges": {name: list(sizes) for name, sizes in load_gauges().items()},
    }


def usual_scale_m(instrument: str) -> float:
    """The common scale length of an instrument in metres; raises WireError where there is none."""
    length_mm = find_instrument(instrument).scale_length_mm
    if length_mm is None:
        raise WireError(f"{instrument} has no usual scale length: add --scale 25.5in or 648mm")
    return length_mm / 1e3


def speaking_length_m(instrument: str, number: int, scale_m: float | None) -> float:
    """How long a string speaks: the scale, or what is left of it from the fret it begins at.

    Without ``scale_m`` the usual scale; raises WireError where there is none.
    """
    whole_m = usual_scale_m(instrument) if scale_m is None else scale_m
    return whole_m * math.pow(2.0, -SHORT_STRINGS.get((instrument, number), 0) / 12)


def _wound_as(spec: Spec, build: Build) -> Spec:
    """The set's winding for a string that does not say how it is wound."""
    return replace(spec, wound_as=None if build.winding == "plain" else build.winding)


def _check_count(tuning: Tuning, specs: Sequence[Spec]) -> None:
    count = len(tuning.strings)
    if len(specs) != count:
        each = "each pair" if tuning.strings[0].unison == 2 else "each string"
        raise WireError(
            f"a set of {len(specs)} gauges: {tuning.instrument} takes {count}, one for {each},"
            " from string 1 on"
        )


def _check_order(tuning: Tuning, specs: Sequence[Spec], pitches_hz: Sequence[float]) -> None:
    """Gauge times pitch is nearly alike along a set; far less so when it reads backwards."""
    gauges = [spec.gauge_m for spec in specs if spec.gauge_m is not None]
    if len(gauges) < max(3, len(specs)) or gauges[0] <= gauges[-1]:
        return
    here, turned = (
        statistics.pstdev(math.log(g * hz) for g, hz in zip(each, pitches_hz, strict=True))
        for each in (gauges, gauges[::-1])
    )
    if turned < here / 2:
        raise WireError(
            f"the set reads from the thickest string: write string 1 first, on"
            f" {tuning.instrument} the {tuning.strings[0].note}"
        )
