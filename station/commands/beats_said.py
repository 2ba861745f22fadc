"""What `station beats` says of one reading: as JSON and in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from station.measure.beats.types import BeatReading, OwnPitch
from station.music.names import NamingSystem, note_in
from station.music.pairs import Move, Side, StringPair, move
from station.music.pitch import cents_between
from station.plain_text import path_text, valid_text

LEAST_SHOWN_HZ = 0.001
SAME_BEAT_HZ = 0.0005  # nobody counts a beat of half an hour


def advice(reading: BeatReading, pair: StringPair, a4_hz: float, hold: int | None) -> Move | None:
    """What to do; None while a string is missing."""
    if reading.missing is not None:
        return None
    middle_hz = sum(reading.line_hz) / 2
    signed = reading.signed_hz
    first_hz = middle_hz if signed is None else middle_hz + signed / 2
    beat_hz = reading.beat_hz if reading.bound_hz is None else reading.bound_hz
    own = (_cents(reading.first, pair.first, a4_hz), _cents(reading.second, pair.second, a4_hz))
    return move(
        pair,
        reading.beat_hz if signed is not None else beat_hz,
        signed,
        first_hz,
        own,
        hold,
        a4_hz,
        stiffness(reading),
    )


def stiffness(reading: BeatReading) -> tuple[float, float]:
    """B of both strings where both were heard by themselves, else none."""
    if reading.first is None or reading.second is None:
        return 0.0, 0.0
    return reading.first.inharmonicity, reading.second.inharmonicity


def _cents(own: OwnPitch | None, side: Side, a4_hz: float) -> float | None:
    return None if own is None else cents_between(own.hz, side.target_hz(a4_hz))


def beats_json(
    path: str,
    reading: BeatReading,
    pair: StringPair | None,
    others: Sequence[StringPair],
    a4_hz: float,
    hold: int | None,
) -> dict[str, Any]:
    """The JSON of one reading; what needs a pair is null without one."""
    said = None if pair is None else advice(reading, pair, a4_hz, hold)
    return {
        "kind": "beats",
        "file": valid_text(path),
        "line": reading.line,
        "at_s": reading.at_s,
        "onset_s": reading.onset_s,
        "beat_hz": reading.beat_hz,
        "uncertainty_hz": reading.uncertainty_hz,
        "resolved": reading.resolved,
        "bound_hz": reading.bound_hz,
        "partials": None if pair is None else list(pair.partials),
        "equal_beat_hz": None if pair is None else pair.equal_beat_hz(a4_hz),
        "pair": None if pair is None else pair.name,
        "way": "lines" if pair is None else pair.way,
        "may_also_be": [f"{each.name} {each.way}" for each in others],
        "signed_beat_hz": reading.signed_hz,
        "equal_signed_beat_hz": None if pair is None else pair.signed_beat_hz(a4_hz),
        "leave_hz": None if said is None else said.leave_hz,
        "lower": None if said is None or said.lower is None else said.lower.string.note,
        "cents": None if said is None else said.cents,
        "either_cents": None if said is None else list(said.either_cents),
        "move": None if said is None or said.string is None else said.string.string.note,
        "verdict": None if said is None else said.verdict,
        "strings": [] if pair is None else _strings_json(reading, pair, a4_hz),
        "missing": _missing(reading, pair),
        "lines_hz": list(reading.line_hz),
        "depth": reading.depth,
        "phase_turns": reading.phase_turns,
        "last_loudest_s": reading.last_loudest_s,
        "clipped": reading.clipped,
    }


def _strings_json(reading: BeatReading, pair: StringPair, a4_hz: float) -> list[dict[str, Any]]:
    return [
        {
            "string": side.string.number or None,
            "note": side.string.note,
            "handling": side.handling,
            "hz": None if own is None else own.hz,
            "uncertainty_cents": None if own is None else own.uncertainty_cents,
            "cents": _cents(own, side, a4_hz),
            "inharmonicity": None if own is None else own.inharmonicity,
        }
        for side, own in ((pair.first, reading.first), (pair.second, reading.second))
    ]


def _missing(reading: BeatReading, pair: StringPair | None) -> str | None:
    if pair is None or reading.missing is None:
        return None
    return (pair.first, pair.second)[reading.missing].string.note


def beat_lines(
    path: str,
    reading: BeatReading,
    pair: StringPair | None,
    others: Sequence[StringPair],
    a4_hz: float,
    hold: int | None,
    names: NamingSystem = "english",
) -> list[str]:
    """One reading for people: which strings, the beat and what to leave, then what to do."""
    head = f"{path_text(path)}  {reading.onset_s:.2f} s  "
    if pair is None:
        lines = [head + f"two lines near {sum(reading.line_hz) / 2:.1f} Hz, {_beat(reading)}"]
        lines.append("  which strings they are was not said: add --pair, or --tuning")
        return lines + _clips(reading)
    sides = [f"{_named(side, names)} {side.handling}" for side in (pair.first, pair.second)]
    lines = [head + " with ".join(sides)]
    if others:
        alike = ", ".join(f"{each.name} {each.way}" for each in others)
        lines.append(f"  sounds the same as {alike}: say which with --pair")
    if reading.missing is not None:
        silent = (pair.first, pair.second)[reading.missing]
        return [*lines, f"  {_named(silent, names)} is not heard: sound both", *_clips(reading)]
    said = advice(reading, pair, a4_hz, hold)
    if said is None:
        return lines + _clips(reading)
    lines.append(f"  {_beat(reading)}; {_leave(said, names)}")
    lines += [f"  {each}" for each in _what_to_do(reading, pair, said, a4_hz, names)]
    return lines + _clips(reading)


def _clips(reading: BeatReading) -> list[str]:
    return ["  the line clips: turn its level down"] if reading.clipped else []


def _named(side: Side, names: NamingSystem) -> str:
    note = note_in(side.string.note, names)
    return f"string {side.string.number} ({note})" if side.string.number else note


def _beat(reading: BeatReading) -> str:
    if reading.bound_hz is not None:
        return f"no beat heard: at most {reading.bound_hz:.2f} a second, if both strings sound"
    unsure = max(reading.uncertainty_hz, LEAST_SHOWN_HZ)
    return f"{reading.beat_hz:.3f} beats a second ±{unsure:.3f}"


def _leave(said: Move, names: NamingSystem) -> str:
    if said.leave_hz < SAME_BEAT_HZ or said.lower is None:
        return "leave none"
    return f"leave {said.leave_hz:.3f}, {_named(said.lower, names)} the lower of the two"


def _what_to_do(
    reading: BeatReading, pair: StringPair, said: Move, a4_hz: float, names: NamingSystem
) -> list[str]:
    if said.verdict == "in":
        return ["in"]
    if said.string is not None and said.cents is None:
        return [f"{_named(said.string, names)}: {said.verdict}"]
    if said.string is not None and said.cents is not None:
        wide = "wide" if said.cents > 0 else "narrow"
        return [
            f"{_named(said.string, names)}: {said.verdict} ({abs(said.cents):.1f} cents {wide})"
        ]
    return [_how_to_find_out(reading, pair, a4_hz, names)]


def _how_to_find_out(
    reading: BeatReading, pair: StringPair, a4_hz: float, names: NamingSystem
) -> str:
    """Every partial of both strings meets: only a hand can tell which one is the sharper."""
    middle_hz = sum(reading.line_hz) / 2
    # The first string is moved, the second held: faster when pressed means it is above already.
    words = [
        move(pair, reading.beat_hz, signed, middle_hz, hold=1, a4_hz=a4_hz).verdict
        for signed in (reading.beat_hz, -reading.beat_hz)
    ]
    faster, slower = ("leave it" if word in (None, "in") else f"{word} it" for word in words)
    return (
        "which string is the sharper cannot be heard: raise"
        f" {_named(pair.first, names)} a little, pressing it behind the nut or pulling it sideways:"
        f" if it beats faster then, {faster}; if slower, {slower}"
    )
