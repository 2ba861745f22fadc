"""Strings as players write them: ``.010``, ``.046w``, ``E4:.010:plain``, ``A1:unit=9.1g/m``.

A set is a list of gauges from string 1 on; ``w`` after a gauge is a wound string, ``p`` a plain
one; without either, gauges from WOUND_FROM on are wound, of nylon and gut none are. After a gauge,
in any order and between colons: winding (plain, round, ground, flat), material, ``core=.016``,
``hex`` or ``round-core``, ``length=25.5in``, and ``unit=6.72g/m`` which may stand in the gauge's
place. A single string has its note, or a frequency, ``329.6Hz``, before all that.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from station.errors import FrequencyError, NoteNameError, WireError
from station.music._text import shown
from station.music.names import note_in, note_name, parse_note
from station.music.pitch import midi_to_hz, nearest_note
from station.music.windings import (
    LONG_SCALE_M,
    CoreShape,
    Winding,
    Wire,
    core_over_m,
    plain_wire,
    wound_wire,
)
from station.music.wire import Stretched
from station.music.wire_materials import Material, find_material, load_materials
from station.music.wire_units import (
    INCH_M,
    gauge_text,
    parse_gauge,
    parse_length,
    parse_unit_weight,
)

WOUND_FROM_M = 0.0215 * INCH_M
"""Between a plain .020 and a wound .022: common practice, no source."""
PLAINEST_M = 0.030 * INCH_M
"""No plain steel string is thicker: common practice, no source."""
LOWEST_HZ, HIGHEST_HZ = 16.0, 5000.0
MOST_STRINGS = 24

_WINDINGS: Mapping[str, Winding] = {
    "plain": "plain", "round": "round", "roundwound": "round", "round-wound": "round",
    "ground": "ground", "half-round": "ground", "halfround": "ground", "groundwound": "ground",
    "ground-wound": "ground",
    "flat": "flat", "flatwound": "flat", "flat-wound": "flat",
}  # fmt: skip
_SHAPES: Mapping[str, CoreShape] = {
    "hex": "hex", "hex-core": "hex", "hexcore": "hex",
    "round-core": "round", "roundcore": "round",
}  # fmt: skip
_HOW = "such as E4:.010:plain or E2:.046:round:nickel-plated"


@dataclass(frozen=True, slots=True)
class Spec:
    """What was said of one string; None where nothing was. ``wound`` is said by ``w`` and ``p``."""

    gauge_m: float | None = None
    wound: bool | None = None
    winding: Winding | None = None
    string: Material | None = None
    wrap: Material | None = None
    core_m: float | None = None
    core_shape: CoreShape | None = None
    unit_kg_m: float | None = None
    length_m: float | None = None
    wound_as: Winding | None = None
    """How it is wound if it is wound and does not say more: what the whole set is."""


def parse_set(text: str) -> list[Spec]:
    """The gauges of a set, string 1 first; raises WireError naming the one that is none."""
    parts = [part for part in re.split(r"[,\s]+", text.strip()) if part]
    if not parts:
        raise WireError("the set is empty: write its gauges from string 1 on, .010,.013,.017,.026w")
    if len(parts) > MOST_STRINGS:
        raise WireError(f"a set of {len(parts)} gauges: at most {MOST_STRINGS}")
    return [_read(spec_words(part), f"gauge {n} of the set") for n, part in enumerate(parts, 1)]


def parse_string(text: str, number: int, scale_m: float | None, a4_hz: float) -> tuple[Spec, float]:
    """What was said of one string, and its pitch in Hz.

    ``scale_m`` is its length where it names none. Raises WireError and ReferenceRangeError.
    """
    what = f"string {number}"
    note, *parts = spec_words(text)
    if not parts:
        raise WireError(f"{what} {shown(text)} has no gauge: write its note and gauge, {_HOW}")
    spec = _read(parts, what)
    if spec.length_m is None:
        spec = replace(spec, length_m=scale_m)
    if spec.length_m is None:
        raise WireError(f"{what} {shown(text)} has no length: add --scale 25.5in or length=25.5in")
    return spec, parse_pitch(note, what, a4_hz)


def spec_words(text: str) -> list[str]:
    """The parts of a written string, its note first."""
    return [part.strip() for part in text.split(":")]


def parse_pitch(text: str, what: str, a4_hz: float) -> float:
    """A pitch in Hz from a note such as ``E4`` or a frequency such as ``329.6Hz``."""
    written = re.fullmatch(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*[hH][zZ]", text)
    if written:
        hz = float(written[1])
    else:
        try:
            hz = midi_to_hz(parse_note(text), a4_hz)
        except (NoteNameError, FrequencyError) as fault:
            raise WireError(f"{what}: {fault}") from fault
    if not LOWEST_HZ <= hz <= HIGHEST_HZ:
        raise WireError(
            f"{what}: {text} is {hz:.4g} Hz: strings run from {LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz"
            " (is the octave number right?)"
        )
    return hz


def note_for(text: str, hz: float, a4_hz: float) -> str:
    """The English name of a string's pitch: as it was written, or the nearest note's."""
    try:
        parse_note(text)
        return note_in(text, "english")
    except NoteNameError:
        return note_name(nearest_note(hz, a4_hz).midi)


def make_wire(spec: Spec, wrap: Material, string: Material, length_m: float, what: str) -> Wire:
    """The wire that was meant, with what is usual where nothing was said.

    ``wrap`` and ``string`` are the set's materials. Raises WireError for what cannot be.
    """
    made_of = spec.string or string
    winding = _winding(spec, made_of, what)
    if winding != "plain" and not made_of.is_steel:
        raise WireError(
            f"{what}: wound strings are reckoned on steel cores only; of one wound on"
            f" {made_of.label} give the weight: unit=5.6g/m"
        )
    if winding == "plain" and spec.wrap is not None:
        raise WireError(f"{what}: {spec.wrap.label} is a winding's: leave out 'plain' or it")
    if spec.gauge_m is None:
        return _by_weight(spec, made_of, winding, wrap)
    if winding == "plain":
        _check_plain(spec, made_of, what)
        wire = plain_wire(spec.gauge_m, made_of)
    else:
        shape = spec.core_shape or "hex"
        around = spec.wrap or wrap
        _check_core(spec.core_m, shape, spec.gauge_m, what)
        long_scale = length_m >= LONG_SCALE_M
        try:
            wire = wound_wire(
                spec.gauge_m, made_of, around, winding, spec.core_m, shape, long_scale
            )
        except WireError as fault:
            raise WireError(f"{what}: {fault}") from fault
    return replace(wire, given_kg_m=spec.unit_kg_m)


def stretch_set(
    specs: Sequence[Spec],
    pitches: Sequence[tuple[str, float, int]],
    lengths_m: Sequence[float],
    wrap: Material,
    string: Material,
) -> list[Stretched]:
    """Strings on their instrument from what was said of each and its (note, Hz, count)."""
    return [
        Stretched(
            number, note, hz, length_m,
            make_wire(spec, wrap, string, length_m, f"string {number} ({note})"), count,
        )
        for number, (spec, (note, hz, count), length_m) in enumerate(
            zip(specs, pitches, lengths_m, strict=True), 1
        )
    ]  # fmt: skip


def _winding(spec: Spec, made_of: Material, what: str) -> Winding:
    """As it was said, or what is usual for the gauge."""
    if spec.winding is not None:
        if spec.wound is not None and spec.wound == (spec.winding == "plain"):
            raise WireError(f"{what}: wound or plain? Both are said: leave one out")
        return spec.winding
    wound = spec.wound
    if wound is None:
        wound = any(said is not None for said in (spec.wrap, spec.core_m, spec.core_shape))
        thick = spec.gauge_m is not None and spec.gauge_m >= WOUND_FROM_M
        wound = wound or (thick and made_of.is_steel)
    return (spec.wound_as or "round") if wound else "plain"


def _by_weight(spec: Spec, made_of: Material, winding: Winding, wrap: Material) -> Wire:
    """A string known by its unit weight: with its core, if that was said, else by that alone."""
    wound = winding != "plain" or spec.core_m is not None
    around = (spec.wrap or wrap) if wound else None
    shape: CoreShape = spec.core_shape or ("hex" if wound else "round")
    kind: Winding = "round" if wound and winding == "plain" else winding
    return Wire(None, made_of, kind, around, spec.core_m, shape, given_kg_m=spec.unit_kg_m)


def _check_plain(spec: Spec, made_of: Material, what: str) -> None:
    if spec.core_m is not None or spec.core_shape is not None:
        raise WireError(f"{what}: a plain string has no core: leave it out, or write 'round'")
    if made_of.is_steel and spec.gauge_m is not None and spec.gauge_m > PLAINEST_M:
        raise WireError(
            f"{what}: no plain steel string is {gauge_text(spec.gauge_m)} thick, above"
            f" {gauge_text(PLAINEST_M)} they are wound: write {gauge_text(spec.gauge_m)}w"
        )


def _check_core(core_m: float | None, shape: CoreShape, gauge_m: float, what: str) -> None:
    if core_m is not None and core_over_m(core_m, shape) >= gauge_m:
        raise WireError(
            f"{what}: a core of {gauge_text(core_m)} fills a gauge of {gauge_text(gauge_m)}:"
            " the core is the thinner of the two"
        )


def _read(parts: Sequence[str], what: str) -> Spec:
    """All that is said of one string but its note."""
    spec = Spec()
    for part in parts:
        spec = _with(spec, part, what)
    if spec.gauge_m is None and spec.unit_kg_m is None:
        raise WireError(f"{what}: {shown(':'.join(parts))} has no gauge: write it {_HOW}")
    return spec


def _gauge_spec(text: str, what: str) -> Spec:
    """A gauge with ``w`` or ``p`` behind it, if any."""
    bare = re.fullmatch(r"(.*[0-9.m\"n])\s*([wWpP])", text)
    if bare is None:
        return Spec(gauge_m=parse_gauge(text, what))
    return Spec(gauge_m=parse_gauge(bare[1], what), wound=bare[2] in "wW")


def _with(spec: Spec, part: str, what: str) -> Spec:
    """A spec with one more thing said."""
    key, equals, value = part.partition("=")
    name = key.strip().casefold()
    if equals:
        return _with_value(spec, name, value.strip(), what)
    if re.match(r"[0-9.+-]", part) and name not in {"80/20", "80-20"}:
        read = _gauge_spec(part, f"{what}:")
        wound = spec.wound if read.wound is None else read.wound
        both = replace(spec, gauge_m=read.gauge_m, wound=wound)
        return _once(both, spec.gauge_m, what, "gauge")
    if name == "wound":
        return _once(replace(spec, wound=True), spec.wound, what, "wound or plain")
    if name in _WINDINGS:
        return _once(replace(spec, winding=_WINDINGS[name]), spec.winding, what, "winding")
    if name in _SHAPES:
        return _once(replace(spec, core_shape=_SHAPES[name]), spec.core_shape, what, "core shape")
    return _with_material(spec, part, what)


def _with_value(spec: Spec, name: str, value: str, what: str) -> Spec:
    if name == "core":
        return _once(replace(spec, core_m=parse_gauge(value, f"{what}: core")), spec.core_m,
                     what, name)  # fmt: skip
    if name == "unit":
        weight = parse_unit_weight(value, f"{what}: unit weight")
        return _once(replace(spec, unit_kg_m=weight), spec.unit_kg_m, what, name)
    if name == "length":
        length = parse_length(value, f"{what}: length")
        return _once(replace(spec, length_m=length), spec.length_m, what, name)
    raise WireError(f"{what}: {shown(name)} is unknown: there are core=, unit= and length=")


def _with_material(spec: Spec, part: str, what: str) -> Spec:
    if not part:
        raise WireError(f"{what}: nothing between two colons: write it {_HOW}")
    try:
        found = find_material(part)
    except WireError as fault:
        known = ", ".join([*dict.fromkeys(_WINDINGS.values()), *load_materials()])
        gauge = "" if spec.gauge_m is not None else "write a gauge such as .010; besides "
        raise WireError(f"{what}: {shown(part)} is unknown: {gauge}there are {known}") from fault
    if found.use == "wrap":
        return _once(replace(spec, wrap=found), spec.wrap, what, "winding's material")
    return _once(replace(spec, string=found), spec.string, what, "material")


def _once(spec: Spec, before: object, what: str, name: str) -> Spec:
    if before is not None:
        raise WireError(f"{what}: two of {name} are given: leave one out")
    return spec
