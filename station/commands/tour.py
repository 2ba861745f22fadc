"""`station tour`: the round of an instrument's pairs, and what adds up without its beats."""

from __future__ import annotations

from typing import Any

from station.commands.printed import json_line, print_lines
from station.music.names import NamingSystem, note_in
from station.music.pairs import Side
from station.music.pairs_tour import Step, Tour, tour
from station.music.tunings import find_tuning_by_name

DIGITS = 6
STILL_HZ = 0.0005
STILL_CENTS = 0.0005


def run_tour(name: str, a4_hz: float, as_json: bool, names: NamingSystem = "english") -> None:
    """Print a tuning's round; raises TuningError and ReferenceRangeError."""
    found = tour(find_tuning_by_name(name), a4_hz)
    if as_json:
        print_lines([json_line(step_json(each), DIGITS) for each in found.steps])
        print_lines([json_line(tour_json(found), DIGITS)])
    else:
        print_lines(tour_lines(found, names))


def step_json(step: Step) -> dict[str, Any]:
    """The JSON of one pair."""
    return {
        "kind": "step",
        "pair": step.pair.name,
        "way": step.pair.way,
        "partials": list(step.pair.partials),
        "sides": [_side_json(side) for side in (step.pair.first, step.pair.second)],
        "tunes": step.tuned.number,
        "against": step.against.number,
        "equal_beat_hz": step.equal_beat_hz,
        "equal_signed_beat_hz": step.signed_beat_hz,
        "beatless_cents": step.beatless_cents,
        "adds_up_to_cents": step.adds_up_to_cents,
    }


def _side_json(side: Side) -> dict[str, Any]:
    return {
        "string": side.string.number,
        "note": side.string.note,
        "pressed_fret": side.fret,
        "touched_fret": side.touched_fret,
        "handling": side.handling,
    }


def tour_json(found: Tour) -> dict[str, Any]:
    """The JSON of the round as a whole."""
    return {
        "kind": "tour",
        "tuning": found.tuning.name,
        "a4_hz": found.a4_hz,
        "start": {"string": found.start.number, "note": found.start.note},
        "steps": len(found.steps),
        "beatless": [{"string": number, "cents": cents} for number, cents in found.beatless],
        "worst_cents": found.worst_cents,
        "left_out": [string.number for string in found.left_out],
    }


def tour_lines(found: Tour, names: NamingSystem = "english") -> list[str]:
    """The round for people."""
    start = found.start
    note = note_in(start.note, names)
    lines = [
        f"{found.tuning.name} at A4 = {found.a4_hz:g} Hz: begin with string {start.number} ({note})"
    ]
    lines += [f"  {place}. {_step(step, names)}" for place, step in enumerate(found.steps, 1)]
    if found.left_out:
        left = ", ".join(str(string.number) for string in found.left_out)
        lines.append(f"  in no pair: string {left}")
    if found.worst_cents < STILL_CENTS:
        return [*lines, "left beatless throughout, all strings are in their places"]
    ends = ", ".join(f"string {number} {cents:+.1f}" for number, cents in found.beatless)
    lines.append(f"left beatless throughout instead, strings end so many cents off: {ends}")
    lines.append(f"  {found.worst_cents:.1f} cents from the flattest to the sharpest")
    return lines


def _step(step: Step, names: NamingSystem) -> str:
    sides = [_side(side, names) for side in (step.pair.first, step.pair.second)]
    if step.equal_beat_hz < STILL_HZ:
        beat = "no beat"
    else:
        lower = step.pair.first if step.signed_beat_hz < 0 else step.pair.second
        beat = (
            f"{step.equal_beat_hz:.3f} beats a second,"
            f" string {lower.string.number} the lower of the two"
        )
    own = step.tuned.number == step.against.number
    tunes = "the course's two" if own else f"tune string {step.tuned.number}"
    return f"{' with '.join(sides)}: {tunes}, leave {beat}"


def _side(side: Side, names: NamingSystem) -> str:
    note = note_in(side.string.note, names)
    return f"string {side.string.number} ({note}) {side.handling}"
