"""`station intonation`: a string's fretted notes against the open string or its harmonic.

Of a file with several channels the loudest is heard. The lowest note is the open string; where
all notes are one pitch, they are the 12th harmonic and the fretted 12th in turn, the harmonic
first. Several files of one string are heard as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from station.commands.loudest import hear_loudest
from station.commands.printed import complain, json_line, print_lines
from station.commands.tracker import choose_tracker
from station.errors import IntonationError, StationError
from station.measure.listener import Listener
from station.measure.types import Note
from station.music.intonation import (
    ENOUGH_TAKES,
    FAR_CENTS,
    HIGHEST_FRET,
    OCTAVE_FRET,
    Against,
    Fretted,
    Saddle,
    Sounded,
    cents_per_mm,
    check_scale,
    fret_of,
    neck,
    parse_scale,
    saddle,
)
from station.music.names import NamingSystem, note_in, note_name
from station.music.pitch import cents_between, nearest_note
from station.music.tunings import find_instrument, find_tuning_by_name
from station.plain_text import path_text, valid_text

DIGITS = 4
LEAST_SHOWN_CENTS = 0.1
CAUTION = (
    "before the saddle is moved: slacken the string, keep your eyes away from it, follow the"
    " maker's advice; in doubt a repairer decides"
)


class Notes(NamedTuple):
    """One string's notes, sorted: open ones or harmonics, and those pressed, by fret."""

    against: Against
    references: list[Sounded]
    pressed: dict[int, list[Sounded]]
    dropped: list[float]


def run_intonation(
    paths: Sequence[str],
    scale: str | None,
    tuning: str | None,
    whole_neck: bool,
    as_json: bool,
    names: NamingSystem = "english",
) -> int:
    """Print what the notes say of the saddle, and with ``whole_neck`` of every fret.

    Exit code 1 when nothing can be told or a file had a fault. Raises IntonationError and
    TuningError for a scale length or tuning that cannot be meant.
    """
    scale_mm = scale_of(scale, tuning)
    notes: list[Note] = []
    worst = 0
    for path in paths:
        try:
            told = hear_loudest(path, _listener)
        except StationError as error:
            worst = max(worst, complain(str(error), error.exit_code))
            continue
        notes += [each for each in told.heard if isinstance(each, Note)]
        if told.fault is not None:
            worst = max(worst, complain(str(told.fault), told.fault.exit_code))
    if worst and not notes:
        return worst
    shown = ", ".join(path_text(path) for path in paths)
    try:
        found = sort_notes(notes)
    except IntonationError as error:
        return max(worst, complain(f"{shown}: {error}", 1))
    return max(worst, _say(found, shown, scale_mm, whole_neck, as_json, names))


def scale_of(scale: str | None, tuning: str | None) -> float | None:
    """The scale length in mm, from either option; None without both."""
    if scale is not None:
        return parse_scale(scale)
    if tuning is None:
        return None
    instrument = find_instrument(find_tuning_by_name(tuning).instrument)
    if instrument.scale_length_mm is None:
        raise IntonationError(f"{instrument.key} has no usual scale length: write --scale")
    return check_scale(instrument.scale_length_mm)


def _listener(rate_hz: float, line: int) -> Listener:
    return Listener(rate_hz, line, choose_tracker("auto"))


def sort_notes(notes: Sequence[Note]) -> Notes:
    """The notes of one string by what they are; raises IntonationError where too few say so."""
    if len(notes) < 2:
        count = "no note" if not notes else "one note only"
        raise IntonationError(f"{count}: play the string open, then pressed at the 12th fret")
    lowest = min(notes, key=lambda each: each.hz)
    if all(abs(cents_between(each.hz, lowest.hz)) < 2 * FAR_CENTS for each in notes):
        in_turn = [_sounded(each) for each in notes]
        return Notes("harmonic", in_turn[::2], {OCTAVE_FRET: in_turn[1::2]}, [])
    opens: list[Sounded] = []
    pressed: dict[int, list[Sounded]] = {}
    dropped: list[float] = []
    for note in notes:
        fret = fret_of(note.hz, lowest.hz)
        if fret is None:
            dropped.append(note.onset_s)
        elif fret == 0:
            opens.append(_sounded(note))
        else:
            pressed.setdefault(fret, []).append(_sounded(note))
    if not pressed:
        raise IntonationError(
            f"no fretted note up to fret {HIGHEST_FRET} above the lowest: is it one string?"
        )
    return Notes("open", opens, pressed, dropped)


def _sounded(note: Note) -> Sounded:
    return Sounded(note.hz, note.uncertainty_cents, note.inharmonicity)


def _say(
    found: Notes,
    shown: str,
    scale_mm: float | None,
    whole_neck: bool,
    as_json: bool,
    names: NamingSystem,
) -> int:
    rows = neck(found.references, found.pressed) if whole_neck and found.against == "open" else []
    twelfth = found.pressed.get(OCTAVE_FRET, [])
    said: Saddle | None = None
    if twelfth:
        try:
            said = saddle(found.references, twelfth, found.against, scale_mm)
        except IntonationError as error:
            return complain(f"{shown}: {error}", 1)
    elif not rows:
        heard = ", ".join(str(fret) for fret in sorted(found.pressed))
        return complain(f"{shown}: no 12th fret among the notes (frets {heard}): add --map", 1)
    open_hz = found.references[0].hz if found.against == "open" else found.references[0].hz / 2
    if as_json:
        print_lines([json_line(fret_json(row, open_hz), DIGITS) for row in rows])
        if said is not None:
            print_lines([json_line(saddle_json(said, shown, open_hz), DIGITS)])
    else:
        print_lines(lines(said, rows, shown, open_hz, found, names))
    return 0


def fret_json(row: Fretted, open_hz: float) -> dict[str, Any]:
    """The JSON of one fret."""
    return {
        "kind": "fret",
        "fret": row.fret,
        "note": _note_of(open_hz, row.fret),
        "cents": row.cents,
        "uncertainty_cents": row.uncertainty_cents,
        "takes": row.takes,
    }


def saddle_json(said: Saddle, shown: str, open_hz: float) -> dict[str, Any]:
    """The JSON of the saddle."""
    return {
        "kind": "intonation",
        "file": valid_text(shown),
        "note": _note_of(open_hz, 0),
        "against": said.against,
        "cents": said.cents,
        "uncertainty_cents": said.uncertainty_cents,
        "takes": said.takes,
        "enough": said.enough,
        "scale_mm": said.scale_mm,
        "cents_per_mm": None if said.scale_mm is None else cents_per_mm(said.scale_mm),
        "saddle": said.direction,
        "mm": said.mm,
        "uncertainty_mm": said.mm_uncertainty,
        "beyond_saddle": said.beyond,
    }


def _note_of(open_hz: float, fret: int) -> str:
    return note_name(min(127, max(0, nearest_note(open_hz).midi + fret)))


def lines(
    said: Saddle | None,
    rows: Sequence[Fretted],
    shown: str,
    open_hz: float,
    found: Notes,
    names: NamingSystem = "english",
) -> list[str]:
    """All of it for people: the saddle first, then the neck."""
    text = [f"{shown}  {note_in(_note_of(open_hz, 0), names)} string"]
    if said is not None:
        text += [f"  {each}" for each in _saddle_lines(said)]
    text += [f"  {_row(row, open_hz, names)}" for row in rows]
    text += [f"  left out at {at_s:.2f} s: no fret's note" for at_s in found.dropped]
    return text


def _saddle_lines(said: Saddle) -> list[str]:
    unsure = max(said.uncertainty_cents, LEAST_SHOWN_CENTS)
    word = "sharp" if said.cents > 0 else "flat"
    reference = "the open string's octave" if said.against == "open" else "the 12th harmonic"
    text = [
        f"fretted 12th {abs(said.cents):.1f} cents ±{unsure:.1f} {word} of {reference},"
        f" {said.takes} {'take' if said.takes == 1 else 'takes'}"
    ]
    if said.mm is None or said.mm_uncertainty is None:
        text.append("how far that is on the saddle needs the scale length: add --scale")
    elif said.direction == "in":
        text.append(f"the saddle: leave it ({said.mm:+.1f} mm ±{said.mm_uncertainty:.1f})")
    else:
        text.append(
            f"the saddle: {said.direction}, by about {abs(said.mm):.1f} mm"
            f" ±{said.mm_uncertainty:.1f}"
        )
    if not said.enough:
        text.append(
            f"that is fewer than {ENOUGH_TAKES} presses: repeat, for every press stretches the"
            " string differently"
        )
    if said.beyond:
        text.append("that is more than saddles move: look at string, nut and frets first")
    if said.direction in ("back", "forward"):
        text.append(CAUTION)
    return text


def _row(row: Fretted, open_hz: float, names: NamingSystem) -> str:
    unsure = max(row.uncertainty_cents, LEAST_SHOWN_CENTS)
    note = note_in(_note_of(open_hz, row.fret), names)
    times = "take" if row.takes == 1 else "takes"
    return (
        f"fret {row.fret:2d}  {note:5} {row.cents:+6.1f} cents ±{unsure:.1f}  {row.takes} {times}"
    )
