"""Instruments and tunings as the data files under ``instruments/`` describe them.

One TOML file to an instrument. Notes are spelled as players spell a tuning,
from the highest string number to string 1 (the guitar's DADGAD starts at
string 6), in English names with scientific octave numbers. The first tuning
of a file is the one meant when none is named.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal, get_args

from station.errors import NoteNameError, TuningError
from station.music._text import shown
from station.music.names import note_in, parse_note
from station.music.pitch import A4_STANDARD_HZ, midi_to_hz

Kind = Literal["strings", "fixed", "drums"]

LOWEST_STRING_HZ = 16.0  # below C0, the lowest note that is still heard as one
HIGHEST_STRING_HZ = 5000.0  # D#8; no string of these instruments comes near it
_CENTS_PER_SEMITONE = 100.0


@dataclass(frozen=True, slots=True)
class OpenString:
    """One string to be tuned.

    ``number`` is the trade's: string 1 is the high E of a guitar, the E of a
    violin, the A of a ukulele. ``note`` is the name as the
    tuning spells it (``"Eb2"``). ``course`` groups strings that are stopped
    together; it equals ``number`` where every course is single. ``unison``
    counts the strings this entry stands for: 2 for a mandolin's pairs.
    ``offset_cents`` is how far from equal temperament its player wants it
    (positive: sharp); no tuning comes with any, see ``offsets.py``.
    """

    number: int
    midi: int
    note: str
    course: int
    unison: int = 1
    offset_cents: float = 0.0

    def target_hz(self, a4_hz: float = A4_STANDARD_HZ) -> float:
        """The frequency in hertz to tune it to at a reference, the offset included.

        Raises ReferenceRangeError.
        """
        return midi_to_hz(self.midi + self.offset_cents / _CENTS_PER_SEMITONE, a4_hz)

    def cents_above(self, other: OpenString) -> float:
        """Cents from the other string's target to this one's, offsets included."""
        semitones = self.midi - other.midi
        return semitones * _CENTS_PER_SEMITONE + self.offset_cents - other.offset_cents


@dataclass(frozen=True, slots=True)
class Tuning:
    """The open strings of an instrument, string 1 first.

    ``capo`` is the fret a capo sits at; ``strings`` sound as with it on, and
    ``open_tuning`` is the same tuning without it (None when there is none).
    """

    key: str
    label: str
    instrument: str
    strings: tuple[OpenString, ...]
    capo: int = 0
    open_tuning: Tuning | None = None

    @property
    def name(self) -> str:
        """The full name, ``"guitar:drop-d"``, that a command takes."""
        return f"{self.instrument}:{self.key}"

    def string(self, number: int) -> OpenString:
        """The open string of that number; raises TuningError when there is none."""
        if not 1 <= number <= len(self.strings):
            raise TuningError(
                f"string {number} of {self.name}: its strings are 1 to {len(self.strings)}"
            )
        return self.strings[number - 1]


@dataclass(frozen=True, slots=True)
class Instrument:
    """A kind of instrument.

    ``kind`` is ``"strings"`` (tuned string by string), ``"fixed"`` (its pitch
    is what it is: the others go to it) or ``"drums"``. ``string_count`` is how
    many notes a tuning spells, ``strings_per_course`` how many of them are
    stopped together, ``unison`` how many physical strings each stands for.
    ``scale_length_mm`` is a common value where there is one, a hint only.
    """

    key: str
    label: str
    kind: Kind
    tunings: Mapping[str, Tuning]
    aliases: tuple[str, ...] = ()
    frets: bool = False
    string_count: int = 0
    strings_per_course: int = 1
    unison: int = 1
    scale_length_mm: float | None = None

    @property
    def default_tuning(self) -> Tuning | None:
        """The tuning meant when none is named; None without strings to tune."""
        return next(iter(self.tunings.values()), None)


@cache
def load_instruments() -> Mapping[str, Instrument]:
    """Every instrument of the data files by key, in alphabetical order of the keys.

    Read once and kept. Raises TuningError when a file does not hold together.
    """
    folder = files("station.music") / "instruments"
    texts = {
        entry.name: entry.read_text(encoding="utf-8")
        for entry in folder.iterdir()
        if entry.name.endswith(".toml")
    }
    read = [instrument_from_toml(texts[name], name) for name in sorted(texts)]
    return MappingProxyType(
        {instrument.key: instrument for instrument in sorted(read, key=lambda found: found.key)}
    )


def instrument_from_toml(text: str, source: str) -> Instrument:
    """Build an instrument from the text of a data file; ``source`` names it in errors.

    Raises TuningError.
    """
    try:
        return _instrument(tomllib.loads(text))
    except KeyError as missing:
        raise TuningError(f"{source}: the key {missing} is missing") from missing
    except (tomllib.TOMLDecodeError, TypeError) as fault:
        raise TuningError(f"{source}: {fault}") from fault
    except TuningError as fault:
        raise TuningError(f"{source}: {fault}") from fault


def build_tuning(
    instrument: Instrument, key: str, label: str, notes: str | Sequence[str]
) -> Tuning:
    """A tuning of ``instrument`` from notes spelled from its last string to string 1.

    ``notes`` is a list of names or one text with spaces between them. Raises
    TuningError for a wrong number of notes, a name that is not a note, or a
    note outside 16 Hz to 5 kHz (at A4 = 440 Hz).
    """
    if not isinstance(notes, str | list | tuple):
        raise TuningError(f"tuning {label}: {shown(notes)} is not a list of notes")
    spelled = notes.split() if isinstance(notes, str) else notes
    count = instrument.string_count
    if len(spelled) != count:
        raise TuningError(
            f"tuning {label}: {instrument.key} takes {count} notes, from string {count} to"
            f" string 1, not {len(spelled)}"
        )
    strings = []
    for number, note in zip(range(count, 0, -1), spelled, strict=True):
        midi = _string_midi(note, f"tuning {label}, string {number}")
        course = (number - 1) // instrument.strings_per_course + 1
        name = note_in(note, "english")
        strings.append(OpenString(number, midi, name, course, instrument.unison))
    return Tuning(key, label, instrument.key, tuple(reversed(strings)))


def _string_midi(note: str, what: str) -> int:
    try:
        midi = parse_note(note)
    except NoteNameError as fault:
        raise TuningError(f"{what}: {fault}") from fault
    hz = midi_to_hz(midi)
    if not LOWEST_STRING_HZ <= hz <= HIGHEST_STRING_HZ:
        raise TuningError(
            f"{what}: {note} is {hz:.1f} Hz: strings run from {LOWEST_STRING_HZ:g} to"
            f" {HIGHEST_STRING_HZ:g} Hz (is the octave number right?)"
        )
    return midi


def _instrument(data: dict[str, Any]) -> Instrument:
    tunings: dict[str, Tuning] = {}
    spelled = data.pop("tunings", [])
    kind = data["kind"]
    if kind not in get_args(Kind):
        raise TuningError(f"kind {shown(kind)}: write strings, fixed or drums")
    data["aliases"] = tuple(data.get("aliases", ()))
    instrument = Instrument(tunings=MappingProxyType(tunings), **data)
    for entry in spelled:
        tuning = build_tuning(instrument, entry["key"], entry["label"], entry["notes"])
        if tuning.key in tunings:
            raise TuningError(f"two tunings are called {tuning.key}")
        tunings[tuning.key] = tuning
    if (kind == "strings") != bool(tunings):
        raise TuningError(f"{instrument.key}: strings need tunings, and nothing else has any")
    return instrument
