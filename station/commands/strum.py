"""`station strum`: all open strings of one strum, from a file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from station.commands.loudest import Told, hear_loudest
from station.commands.printed import complain, json_line, print_lines
from station.errors import StationError
from station.measure.strum.ear import StrumEar
from station.measure.strum.types import StringHeard, Strum, targets_of
from station.music.names import NamingSystem, note_in
from station.music.pitch import A4_STANDARD_HZ
from station.music.tunings import Tuning, find_tuning_by_name, with_capo
from station.music.verdict import verdict
from station.plain_text import path_text, valid_text

MISSING = "missing"
LEAST_SHOWN_CENTS = 0.1
WORD_WIDTH = len("slacken")


class StrumOptions(NamedTuple):
    """The strings to listen for: a tuning's name, a capo's fret, and the reference in Hz."""

    tuning: str
    capo: int = 0
    a4_hz: float = A4_STANDARD_HZ


def hear_strums(path: str, tuning: Tuning, a4_hz: float) -> Told[Strum]:
    """Every strum of the loudest channel of a file.

    Raises SoundFileError, and ReferenceRangeError for an impossible reference.
    """
    targets = targets_of(tuning, a4_hz)
    return hear_loudest(path, lambda rate_hz, line: StrumEar(rate_hz, targets, line, whole=True))


def fullest(strums: Sequence[Strum]) -> Strum | None:
    """The strum in which most strings sound, the first of such; None for none."""
    return max(strums, key=lambda strum: (strum.present, -strum.at_s), default=None)


def run_strum(
    path: str, options: StrumOptions, as_json: bool, names: NamingSystem = "english"
) -> int:
    """Print every string of the fullest strum in a file.

    ``names`` is for people: with ``as_json`` notes are English whatever it is. Exit code 1
    when no strum was heard or the file had a fault. Raises TuningError, ReferenceRangeError.
    """
    tuning = with_capo(find_tuning_by_name(options.tuning), options.capo)
    targets_of(tuning, options.a4_hz)  # a wrong reference is told before any file is opened
    try:
        told = hear_strums(path, tuning, options.a4_hz)
    except StationError as error:
        return complain(str(error), error.exit_code)
    strum = fullest(told.heard)
    if strum is not None:
        if as_json:
            print_lines([json_line(each) for each in strum_json(strum, tuning, path)])
        else:
            print_lines(strum_lines(strum, path, len(told.heard), names))
    if told.fault is not None:
        return complain(str(told.fault), told.fault.exit_code)
    if strum is None:
        why = f"no strum of {tuning.name} was heard: strike all open strings and let them ring"
        return complain(f"{path_text(path)}: {why}", 1)
    return 0


def word_for(string: StringHeard) -> str:
    """The verdict on a string, or that it is missing."""
    return MISSING if string.cents is None else verdict(string.cents)


def strum_json(strum: Strum, tuning: Tuning, path: str) -> list[dict[str, Any]]:
    """The JSON of each string, from the highest number to 1."""
    return [
        {
            "kind": "string",
            "file": valid_text(path),
            "line": strum.line,
            "at_s": strum.at_s,
            "string": min(string.numbers),
            "strings": sorted(string.numbers),
            "course": tuning.string(min(string.numbers)).course,
            "note": string.note,
            "target_hz": string.target_hz,
            "hz": string.hz,
            "cents": string.cents,
            "uncertainty_cents": string.uncertainty_cents,
            "verdict": word_for(string),
            "together": string.together,
            "of_course": string.of_course or None,
            "inharmonicity": string.inharmonicity,
            "partials": string.partials,
            "level_db": string.level_db,
            "clipped": strum.clipped,
        }
        for string in by_number(strum)
    ]


def by_number(strum: Strum) -> list[StringHeard]:
    """The strings from the highest number to 1, as players name them."""
    return sorted(strum.strings, key=lambda each: (-min(each.numbers), each.of_course))


def strum_lines(strum: Strum, path: str, strums: int, names: NamingSystem) -> list[str]:
    """A strum for people: what to do first, then each string."""
    strings = by_number(strum)
    lines = [f"{path_text(path)}  {_summary(strings)}"]
    lines += [_string_line(string, names) for string in strings]
    if strum.clipped:
        lines.append("  too loud: the line clipped, turn it down")
    if strum.heard_s < 1.5:
        lines.append(f"  only {strum.heard_s:.1f} s were heard: let it ring for two seconds")
    if strums > 1:
        lines.append(f"  the fullest of {strums} strums, at {strum.at_s:.2f} s")
    return lines


def _summary(strings: Sequence[StringHeard]) -> str:
    """What to do, in a few words."""
    parts = []
    for word, text in (
        ("tighten", "tighten {}"),
        ("slacken", "slacken {}"),
        (MISSING, "not heard: {}"),
    ):
        named = list(dict.fromkeys(_name(each) for each in strings if word_for(each) == word))
        if named:
            parts.append(text.format(", ".join(named)))
    return "; ".join(parts) if parts else "all strings are in"


def _name(string: StringHeard) -> str:
    return "+".join(str(number) for number in sorted(string.numbers, reverse=True))


def _string_line(string: StringHeard, names: NamingSystem) -> str:
    word = word_for(string)
    note = note_in(string.note, names)
    line = f"  {word:{WORD_WIDTH}}  {_name(string):>5}  {note:<5}"
    if string.hz is None or string.cents is None or string.uncertainty_cents is None:
        return line.rstrip()
    unsure = max(string.uncertainty_cents, LEAST_SHOWN_CENTS)
    line += f"  {string.cents:+6.1f} cents ±{unsure:.1f}  {string.hz:8.2f} Hz"
    if string.together:
        line += "  the course sounds as one"
    if string.of_course:
        line += "  the lower of two" if string.of_course == 1 else "  the higher of two"
    return line
