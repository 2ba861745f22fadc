"""Names of notes: English, German and solfege, to and from MIDI note numbers.

In all three systems the octave number is the scientific one (C4 is middle C,
MIDI 60) and belongs to the letter, so Cb4 sounds as B3. English: A to G with
``#`` and ``b``. German: H is B natural and B is B flat; Cis, Dis ... and Des,
Es, As ... . Solfege is fixed do: Do Re Mi Fa Sol La Si with ``#`` and ``b``
(La4 is A4; the French count, one octave lower, is not used).

The machine form is ASCII; ``pretty`` gives the typographic one.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal, get_args

from station.errors import NoteNameError
from station.music._text import shown

NamingSystem = Literal["english", "german", "solfege"]
Accidental = Literal["sharp", "flat"]

MIDI_MIN = 0
MIDI_MAX = 127

_SHARP_NAMES: Mapping[NamingSystem, tuple[str, ...]] = {
    "english": ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"),
    "german": ("C", "Cis", "D", "Dis", "E", "F", "Fis", "G", "Gis", "A", "Ais", "H"),
    "solfege": (
        "Do", "Do#", "Re", "Re#", "Mi", "Fa", "Fa#", "Sol", "Sol#", "La", "La#", "Si",
    ),
}  # fmt: skip
_FLAT_NAMES: Mapping[NamingSystem, tuple[str, ...]] = {
    "english": ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"),
    "german": ("C", "Des", "D", "Es", "E", "F", "Ges", "G", "As", "A", "B", "H"),
    "solfege": (
        "Do", "Reb", "Re", "Mib", "Mi", "Fa", "Solb", "Sol", "Lab", "La", "Sib", "Si",
    ),
}  # fmt: skip

_SIGN_STEPS = {"": 0, "#": 1, "##": 2, "x": 2, "b": -1, "bb": -2}
_LETTER_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SOLFEGE_STEPS = {"do": 0, "re": 2, "ré": 2, "mi": 4, "fa": 5, "sol": 7, "la": 9, "si": 11}

_OCTAVE = r"(-?[0-9]{1,2})"
_PATTERNS: Mapping[NamingSystem, re.Pattern[str]] = {
    # The letter may be small, the flat sign may not be a capital: "b3" and "bb3"
    # can then mean one note each.
    "english": re.compile(rf"([A-Ga-g])(##|#|x|bb|b|){_OCTAVE}"),
    # Small German letters name octaves themselves (a1 is A4 in the Helmholtz
    # manner), so with a scientific octave number only capitals are taken.
    "german": re.compile(rf"([A-H](?:isis|is|eses|es|ses|s)?){_OCTAVE}"),
    "solfege": re.compile(rf"((?i:do|re|ré|mi|fa|sol|la|si))(##|#|x|bb|b|){_OCTAVE}"),
}
_SPOKEN: Mapping[NamingSystem, str] = {
    "english": "English",
    "german": "German",
    "solfege": "solfege",
}
_ACCEPTED: Mapping[NamingSystem, str] = {
    "english": "a letter A to G, # or b if any, an octave number: E2, Eb3, C#4",
    "german": "a capital C D E F G A H or B, -is or -es if any, an octave number: E2, Es3, H3",
    "solfege": "Do Re Mi Fa Sol La or Si, # or b if any, an octave number: Mi2, Mib3, Do#4",
}


def _german_name(letter: str, raised: int) -> str:
    """German name of an English letter raised (or, below nought, lowered) by semitones."""
    # B flat has a letter of its own, B; its further flat keeps the H: Heses.
    if (letter, raised) == ("B", -1):
        return "B"
    natural = "H" if letter == "B" else letter
    if raised >= 0:
        return natural + raised * "is"
    # Ases and Eses, as spoken; Asas is not used.
    flat = f"{natural}s" if natural in "AE" else f"{natural}es"
    return flat + (-raised - 1) * "es"


_GERMAN_STEPS = {
    _german_name(letter, raised): step + raised
    for letter, step in _LETTER_STEPS.items()
    for raised in range(-2, 3)
}


def note_name(midi: int, system: NamingSystem = "english", prefer: Accidental = "sharp") -> str:
    """Machine name of a MIDI note number, such as ``"A2"``, ``"C#4"`` or ``"Eb3"``.

    Raises NoteNameError for a number outside 0 to 127 or an unknown system.
    """
    _check_system(system)
    if prefer not in get_args(Accidental):
        raise NoteNameError(f"accidentals {prefer!r} unknown: write sharp or flat")
    _check_midi(midi, f"note number {midi!r}")
    names = _SHARP_NAMES if prefer == "sharp" else _FLAT_NAMES
    octave, step = divmod(int(midi), 12)
    return f"{names[system][step]}{octave - 1}"


def note_in(written: str, system: NamingSystem) -> str:
    """Machine name in ``system`` of a note written in English, spelled as it was written.

    A sharp stays a sharp, a flat a flat, and the octave number stays with its
    letter: ``"Eb2"`` is ``"Es2"`` in German and ``"Mib2"`` in solfege. Raises
    NoteNameError for what ``parse_note`` does not take as English.
    """
    _check_system(system)
    parse_note(written)
    return _PATTERNS["english"].sub(lambda note: _renamed(note, system), _plain(written))


def _renamed(note: re.Match[str], system: NamingSystem) -> str:
    letter, raised, octave = note[1].upper(), _SIGN_STEPS[note[2]], int(note[3])
    if system == "german":
        return f"{_german_name(letter, raised)}{octave}"
    natural = _SHARP_NAMES[system][_LETTER_STEPS[letter]]
    return f"{natural}{raised * '#'}{-raised * 'b'}{octave}"


def pretty(name: str) -> str:
    """A machine name with typographic signs: ``"C#4"`` as ``"C♯4"``, ``"Eb3"`` as ``"E♭3"``."""
    sharps = name.replace("#", "♯")
    return re.sub(r"(?<=.)b+(?=-?[0-9]|$)", lambda flats: "♭" * len(flats[0]), sharps)


def parse_note(text: str, system: NamingSystem = "english") -> int:
    """MIDI note number of a written note; the octave number is required.

    Takes ``E2``, ``Eb3``, ``C#4``, ``F♯3``, double signs (``F##3``, ``Bbb3``)
    and small letters where they can mean one thing only. Raises NoteNameError
    saying what is accepted.
    """
    _check_system(system)
    if not isinstance(text, str):
        raise NoteNameError(f"note {shown(text)} is not text: write {_ACCEPTED[system]}")
    plain = _plain(text)
    midi = _read(plain, system)
    if midi is None:
        hint = _likely_note(plain, system)
        raise NoteNameError(
            f"note {shown(text)} is not known in {_SPOKEN[system]}: write {_ACCEPTED[system]}{hint}"
        )
    _check_midi(midi, f"note {shown(text)}")
    return midi


def _plain(text: str) -> str:
    """Written text with the signs of machine names."""
    return text.strip().replace("♯", "#").replace("♭", "b")


def _read(plain: str, system: NamingSystem) -> int | None:
    """MIDI number, perhaps out of range, or None when the system has no such name."""
    match = _PATTERNS[system].fullmatch(plain)
    if match is None:
        return None
    octave_start = 12 * (int(match[match.lastindex or 0]) + 1)
    if system == "german":
        step = _GERMAN_STEPS.get(match[1])
    elif system == "solfege":
        natural = _SOLFEGE_STEPS.get(match[1].lower())
        step = None if natural is None else natural + _SIGN_STEPS[match[2]]
    else:
        step = _LETTER_STEPS[match[1].upper()] + _SIGN_STEPS[match[2]]
    return None if step is None else octave_start + step


def _likely_note(plain: str, system: NamingSystem) -> str:
    """The likely mistake: no octave number, wrong capitals, or a name of another system."""
    if not plain:
        return " (the note is empty)"
    if _read(f"{plain}4", system) is not None:
        return " (the octave number is missing)"
    capital = plain.capitalize()
    if _read(capital, system) is not None:
        return f" (did you mean {capital}?)"
    for other in get_args(NamingSystem):
        midi = _read(plain, other)
        if midi is not None and MIDI_MIN <= midi <= MIDI_MAX:
            return f" (that is {_SPOKEN[other]} for {note_name(midi, system)})"
    return ""


def _check_system(system: str) -> None:
    if system not in get_args(NamingSystem):
        known = ", ".join(get_args(NamingSystem))
        raise NoteNameError(f"naming system {shown(system)} unknown: choose one of {known}")


def _check_midi(midi: int, what: str) -> None:
    if midi != midi // 1:
        raise NoteNameError(f"{what} is not a whole number: notes are named to the semitone")
    if not MIDI_MIN <= midi <= MIDI_MAX:
        raise NoteNameError(
            f"{what} is out of range: notes run from C-1 (MIDI {MIDI_MIN}) to G9 (MIDI {MIDI_MAX})"
        )
