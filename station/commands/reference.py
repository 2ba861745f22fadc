"""`station reference`: A4 of instruments of fixed pitch from recordings, and a compromise.

Of a file with several channels the loudest is heard: two microphones before one instrument hear
the same reeds, and a second channel would make nothing surer than it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any, NamedTuple

from station.commands.loudest import Told, hear_loudest
from station.commands.printed import complain, json_line, print_lines
from station.errors import StationError
from station.measure.fixed.a4 import InstrumentPitch, NoteOffset, instrument_pitch
from station.measure.fixed.advice import says, temperament_name
from station.measure.fixed.ear import FixedEar
from station.measure.fixed.types import FixedNote
from station.music.compromise import Compromise, Rule, compromise
from station.music.names import NamingSystem, note_in
from station.plain_text import path_text, valid_text

NAME_WIDTHS: Mapping[NamingSystem, int] = {"english": 3, "german": 4, "solfege": 5}
RULES: Mapping[Rule, str] = {
    "worst": "nobody is farther off than need be",
    "mean": "the mean square is smallest",
}


class Measured(NamedTuple):
    """One file's instrument, and the line it was heard on."""

    path: str
    line: int
    pitch: InstrumentPitch


def hear_instrument(path: str) -> Told[FixedNote]:
    """Every note of the loudest channel of a file; raises SoundFileError."""
    return hear_loudest(path, FixedEar)


def run_reference(
    paths: Sequence[str], as_json: bool, names: NamingSystem = "english", rule: Rule = "worst"
) -> int:
    """Print the pitch of the instrument in each file, and with several the compromise.

    Faults go to standard error, a line each, and the other files are still heard. ``names``
    is for people: with ``as_json`` notes are English whatever it is. Exit code 1 when a file
    gave no note or had a fault.
    """
    found: list[Measured] = []
    worst = 0
    for path in paths:
        try:
            heard = hear_instrument(path)
            pitch = instrument_pitch(heard.heard)
        except StationError as error:
            worst = max(worst, complain(str(error), error.exit_code))
            continue
        if pitch is not None:
            found.append(Measured(path, heard.line, pitch))
            print_lines([json_line(instrument(found[-1]))] if as_json else lines(found[-1], names))
        if heard.fault is not None:
            worst = max(worst, complain(str(heard.fault), heard.fault.exit_code))
        elif pitch is None:
            name = path_text(path)
            worst = max(worst, complain(f"{name}: no note: silence, noise or no steady pitch", 1))
    if len(found) > 1:
        print_lines([json_line(between(found, rule))] if as_json else between_lines(found, rule))
    return worst


def instrument(measured: Measured) -> dict[str, Any]:
    """The JSON of one file's instrument."""
    head = {"kind": "instrument", "file": valid_text(measured.path), "line": measured.line}
    return {**head, **asdict(measured.pitch)}


def between(found: Sequence[Measured], rule: Rule) -> dict[str, Any]:
    """The JSON of the compromise by a rule, and of both rules beside it."""
    both: dict[str, Any] = {each: _agreed(found, each) for each in RULES}
    return {"kind": "compromise", "rule": rule, **both[rule], **both}


def _agreed(found: Sequence[Measured], rule: Rule) -> dict[str, Any]:
    agreed = compromise([each.pitch.a4_hz for each in found], rule)
    shares = [
        {"file": valid_text(each.path), "cents": share.cents, "beats_hz": share.beats_hz}
        for each, share in zip(found, agreed.shares, strict=True)
    ]
    return {"a4_hz": agreed.a4_hz, "worst_cents": agreed.worst_cents, "instruments": shares}


def lines(measured: Measured, names: NamingSystem = "english") -> list[str]:
    """One file's instrument for people: A4 first, then what it rests on."""
    pitch = measured.pitch
    first = f"{path_text(measured.path)}  {says(pitch, names)}"
    return [first, *(f"  {each}" for each in (*_about(pitch, names), *_notes(pitch, names)))]


def _about(pitch: InstrumentPitch, names: NamingSystem) -> list[str]:
    about = []
    if pitch.evidence:
        shares = (
            f"{temperament_name(each.temperament, each.root, names)} {_percent(each.probability)}"
            for each in pitch.evidence
        )
        about.append(f"evidence: {', '.join(shares)}")
    if pitch.stretch_cents_per_octave is not None:
        about.append(f"octaves stretched by {pitch.stretch_cents_per_octave:.1f} cents")
    if pitch.spread_cents is not None:
        about.append(f"each note scatters by {pitch.spread_cents:.1f} cents")
    return about


def _percent(probability: float) -> str:
    """Never a hundred: nothing here is certain."""
    return f"{min(100.0 * probability, 99.9):.1f} %"


def _notes(pitch: InstrumentPitch, names: NamingSystem) -> list[str]:
    return [_note(each, names) for each in pitch.notes]


def _note(note: NoteOffset, names: NamingSystem) -> str:
    unsure = max(note.uncertainty_cents, 0.05)
    text = (
        f"{note_in(note.note, names).ljust(NAME_WIDTHS[names])} {note.hz:9.3f} Hz"
        f"  {note.cents:+6.1f} cents ±{unsure:.1f}"
    )
    if note.temperament_cents is not None:
        text += f"  {note.cents - note.temperament_cents:+6.1f} from the temperament"
    if note.bad:
        text += "  out of line, left out"
    if note.beat_hz is not None:
        listed = " and ".join(f"{hz:.2f}" for hz in note.reeds_hz)
        text += f"  {len(note.reeds_hz)} reeds, {listed} Hz, beat {note.beat_hz:.2f} times a second"
    return text


def between_lines(found: Sequence[Measured], rule: Rule) -> list[str]:
    """The compromise for people: what each instrument would be off, and how its A would beat."""
    agreed = compromise([each.pitch.a4_hz for each in found], rule)
    first = f"compromise  A4 = {agreed.a4_hz:.2f} Hz, where {RULES[rule]}"
    return [f"{first}: {agreed.worst_cents:.1f} cents", *_shares(found, agreed)]


def _shares(found: Sequence[Measured], agreed: Compromise) -> list[str]:
    return [
        f"  {path_text(each.path)}  {share.cents:+.1f} cents,"
        f" a held A beats {share.beats_hz:.2f} times a second"
        for each, share in zip(found, agreed.shares, strict=True)
    ]
