"""`station drum tap`: what a drum's taps in a file say, and what damping changed.

Of a file with several channels the loudest is heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from station.commands.from_start import FromStart
from station.commands.loudest import as_last_told, hear_loudest
from station.commands.printed import complain, json_line, print_lines
from station.errors import SoundFileError, StationError
from station.measure.drums.damping import Change, Damping, Partial, compare
from station.measure.drums.tap import WHY, tap
from station.measure.drums.types import Stroke, Tap
from station.music.names import MIDI_MAX, MIDI_MIN, NamingSystem, note_in, note_name
from station.music.pitch import check_a4, nearest_note
from station.plain_text import path_text, valid_text

DIGITS = 6  # below anything measured, and legible
LEAST_SHOWN_CENTS = 0.1
CLIPS = "the recording clips: measured from what rings on after each stroke"


class Heard(NamedTuple):
    """A file's strokes as they were last told, and the fault it ended with, if any."""

    strokes: list[Stroke]
    fault: SoundFileError | None


def tap_of(strokes: Sequence[Stroke]) -> Tap | None:
    """The tap in a file's strokes; where all are clipped, of those: a recording stays as it is."""
    return tap(strokes) or tap(strokes, clipped_too=True)


def is_clipped(said: Tap) -> bool:
    """Whether a tap rests on strokes that clipped."""
    return any(each.verdict == "clipped" for each in said.strokes)


def hear_taps(path: str) -> Heard:
    """Every stroke on the loudest channel of a file; raises SoundFileError."""
    told = hear_loudest(path, FromStart)
    return Heard(as_last_told(told.heard), told.fault)


def run_tap(
    paths: Sequence[str],
    a4_hz: float = 440.0,
    as_json: bool = False,
    names: NamingSystem = "english",
    compare_to: str | None = None,
) -> int:
    """Print the tap in each file, and with ``compare_to`` what is different in that file.

    Faults go to standard error, a line each. ``names`` is for people: with ``as_json`` notes are
    English whatever it is. Exit code 1 when a file gave no tap or had a fault. Raises
    ReferenceRangeError for a reference that cannot be meant.
    """
    check_a4(a4_hz)
    worst = 0
    found: list[Tap | None] = []
    for path in [*paths, *([compare_to] if compare_to is not None else [])]:
        heard, said, code = _tap_of(path)
        worst = max(worst, code)
        found.append(said)
        if said is None:
            continue
        if as_json:
            told = {each.at_s: each for each in said.strokes}
            heard = [told.get(each.at_s, each) for each in heard]
            print_lines([*(json_line(stroke_json(each, path), DIGITS) for each in heard)])
            print_lines([json_line(tap_json(said, path, a4_hz), DIGITS)])
        else:
            print_lines(tap_lines(said, path, a4_hz, names))
    if compare_to is None:
        return worst
    after = found[-1]
    for path, before in zip(paths, found, strict=False):
        if before is not None and after is not None:
            changed = compare(before, after)
            print_lines(
                [json_line(damping_json(changed, path, compare_to), DIGITS)]
                if as_json
                else damping_lines(changed, path, compare_to)
            )
    return worst


def _tap_of(path: str) -> tuple[list[Stroke], Tap | None, int]:
    """A file's strokes, its tap and the exit code; what went wrong is said."""
    try:
        strokes, fault = hear_taps(path)
    except StationError as error:
        return [], None, complain(str(error), error.exit_code)
    found = tap_of(strokes)
    if fault is not None:
        return strokes, found, complain(str(fault), fault.exit_code)
    if found is not None:
        return strokes, found, 0
    why = sorted({WHY[each.verdict] for each in strokes if each.verdict in WHY})
    what = f"only strokes that tell nothing: {'; '.join(why)}" if why else "no stroke on a drum"
    return strokes, None, complain(f"{path_text(path)}: {what}", 1)


def note_and_cents(hz: float, a4_hz: float) -> tuple[str, float]:
    """The nearest note's English name, and how far `hz` lies from it."""
    nearest = nearest_note(hz, a4_hz)
    midi = min(max(nearest.midi, MIDI_MIN), MIDI_MAX)
    return note_name(midi), nearest.cents


def tap_json(said: Tap, path: str, a4_hz: float) -> dict[str, Any]:
    """The JSON of one file's tap."""
    note, cents = note_and_cents(said.fundamental_hz, a4_hz)
    return {
        "kind": "tap",
        "file": valid_text(path),
        "line": said.strokes[0].line,
        "fundamental_hz": said.fundamental_hz,
        "uncertainty_cents": said.uncertainty_cents,
        "overtone_hz": said.overtone_hz,
        "ring_s": said.ring_s,
        "overtone_ring_s": said.overtone_ring_s,
        "beat_hz": said.beat_hz,
        "note": note,
        "cents": cents,
        "drum": said.kind,
        "sure": said.sure,
        "taps": len(said.strokes),
        "spread_cents": said.spread_cents,
        "clipped": is_clipped(said),
        "dropped": [{"at_s": at_s, "why": why} for at_s, why in said.dropped],
    }


def stroke_json(stroke: Stroke, path: str) -> dict[str, Any]:
    """The JSON of one stroke."""
    own, overtone = stroke.fundamental, stroke.overtone
    pair = stroke.overtone_pair
    return {
        "kind": "stroke",
        "file": valid_text(path),
        "line": stroke.line,
        "at_s": stroke.at_s,
        "verdict": stroke.verdict,
        "fundamental_hz": None if own is None else own.hz,
        "uncertainty_cents": None if own is None else own.uncertainty_cents,
        "ring_s": None if own is None else own.ring_s,
        "overtone_hz": None if overtone is None else overtone.hz,
        "overtone_pair_hz": None if pair is None else [each.hz for each in pair],
        "beat_hz": stroke.beat_hz,
        "wires": stroke.wires,
        "modes": [
            {"hz": mode.hz, "level_db": mode.level_db, "ring_s": mode.ring_s}
            for mode in stroke.modes
        ],
    }


def tap_lines(said: Tap, path: str, a4_hz: float, names: NamingSystem) -> list[str]:
    """One file's tap for people: pitch first, then the ring, then what it rests on."""
    note, cents = note_and_cents(said.fundamental_hz, a4_hz)
    unsure = max(said.uncertainty_cents, LEAST_SHOWN_CENTS)
    first = (
        f"{path_text(path)}  {note_in(note, names)} {cents:+.1f} cents ±{unsure:.1f}"
        f"  {said.fundamental_hz:.2f} Hz  {said.kind}"
    )
    if not said.sure:
        first += "  (another of its modes may be the fundamental)"
    lines = [first, f"  {_ring('fundamental', said.ring_s)}"]
    if said.overtone_hz is not None:
        ratio = said.overtone_hz / said.fundamental_hz
        rings = _ring("overtone", said.overtone_ring_s)
        lines.append(f"  {rings}, at {said.overtone_hz:.2f} Hz, {ratio:.2f} times the fundamental")
    if said.beat_hz is not None:
        lines.append(
            f"  two pitches close together beat {said.beat_hz:.2f} times a second:"
            " the two heads nearly match"
        )
    count = len(said.strokes)
    taps = "1 tap" if count == 1 else f"{count} taps, spread {said.spread_cents:.1f} cents"
    lines.append(f"  {taps}")
    if is_clipped(said):
        lines.append(f"  {CLIPS}")
    return lines + [f"  left out at {at_s:.2f} s: {why}" for at_s, why in said.dropped]


def _ring(what: str, ring_s: float | None) -> str:
    return f"{what} rings {ring_s:.2f} s" if ring_s is not None else f"{what}: ring not measured"


def damping_json(changed: Damping, before: str, after: str) -> dict[str, Any]:
    """The JSON of what damping changed."""
    return {
        "kind": "damping",
        "before": valid_text(before),
        "after": valid_text(after),
        "cents": changed.cents,
        "partials": [_change_json(each) for each in changed.changes],
    }


def _change_json(change: Change) -> dict[str, Any]:
    return {
        "before": _partial_json(change.before),
        "after": _partial_json(change.after),
        "cents": change.cents,
        "level_db": change.level_db,
        "level_sd_db": change.level_sd_db,
        "ring_ms": change.ring_ms,
        "ring_sd_ms": change.ring_sd_ms,
        "sound_db": change.sound_db,
    }


def _partial_json(one: Partial | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {"hz": one.hz, "level_db": one.level_db, "ring_s": one.ring_s}


def damping_lines(changed: Damping, before: str, after: str) -> list[str]:
    """What damping changed, for people."""
    first = (
        f"{path_text(before)} to {path_text(after)}: the pitch moved {changed.cents:+.1f} cents;"
        " levels are against the fundamental's"
    )
    return [first, *(f"  {_change_line(each)}" for each in changed.changes)]


def _change_line(change: Change) -> str:
    if change.before is None or change.after is None:
        one, word = (change.before, "gone") if change.after is None else (change.after, "new")
        return f"{one.hz:8.2f} Hz  {word}" if one is not None else ""
    text = f"{change.before.hz:8.2f} Hz  level {change.level_db:+.1f} dB"
    if change.ring_ms is not None:
        text += f"  ring {change.ring_ms:+.0f} ms  sound {change.sound_db:+.1f} dB"
    unsure = [
        f"±{sd:.{digits}f} {unit}"
        for sd, digits, unit in ((change.level_sd_db, 1, "dB"), (change.ring_sd_ms, 0, "ms"))
        if sd is not None
    ]
    return f"{text}  ({', '.join(unsure)})" if unsure else text
