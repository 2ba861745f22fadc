"""Keys, their scales and triads, spelled as players spell them.

A scale has seven notes, one of each letter: E harmonic minor has D#, never Eb. A triad is
every other note of its scale from a degree on, its quality what the thirds in it are. All
from the theory of music as taught; names of scales, modes and qualities are the trade's. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

from station.errors import NoteNameError
from station.music._text import shown
from station.music.names import NamingSystem, note_in, note_name, parse_note

Scale = Literal["major", "minor", "harmonic minor", "dorian", "mixolydian"]
Quality = Literal["major", "minor", "diminished", "augmented"]
Role = Literal["root", "third", "fifth", "scale tone", "outside"]

STEPS: Mapping[Scale, tuple[int, ...]] = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "minor": (0, 2, 3, 5, 7, 8, 10),
    "harmonic minor": (0, 2, 3, 5, 7, 8, 11),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
}
"""Semitones from the tonic to each degree."""

_WORDS: Mapping[str, Scale] = {
    "": "major",
    "m": "minor",
    "major": "major",
    "minor": "minor",
    "natural minor": "minor",
    "harmonic minor": "harmonic minor",
    "dorian": "dorian",
    "mixolydian": "mixolydian",
}
_QUALITIES: Mapping[tuple[int, int], Quality] = {
    (4, 3): "major",
    (3, 4): "minor",
    (3, 3): "diminished",
    (4, 4): "augmented",
}
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII")
_ROLES: Mapping[int, Role] = {1: "root", 3: "third", 5: "fifth"}
_INTERVALS = (
    "unison", "minor second", "major second", "minor third", "major third", "fourth",
    "tritone", "fifth", "minor sixth", "major sixth", "minor seventh", "major seventh",
)  # fmt: skip
_LETTERS = "CDEFGAB"
_WRITTEN = re.compile(r"([A-Ga-g])(#|b|)(?:\s+|(?=m$)|$)(.*)")
_ACCEPTED = (
    'write a tonic and a scale: "E minor", "F# harmonic minor", "Bb major", "D dorian",'
    ' "A mixolydian", or short "Em", "Bb"'
)


@dataclass(frozen=True, slots=True)
class Degree:
    """One note of a scale: ``number`` 1 to 7, ``name`` without octave, ``pitch_class`` from C."""

    number: int
    name: str
    pitch_class: int


@dataclass(frozen=True, slots=True)
class Triad:
    """The triad on a degree: ``roman`` small where its third is minor, ° diminished, + augmented.

    ``notes`` are root, third and fifth.
    """

    roman: str
    quality: Quality
    notes: tuple[Degree, Degree, Degree]


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic, such as ``"F#"``, and its scale, ``degrees`` in order from the tonic."""

    tonic: str
    scale: Scale
    degrees: tuple[Degree, ...]

    def triad(self, number: int) -> Triad:
        """The triad on degree ``number``, 1 to 7. Raises NoteNameError for another number."""
        if number not in range(1, 8):
            raise NoteNameError(f"degree {shown(number)}: a scale has degrees 1 to 7")
        root, third, fifth = (self.degrees[(number - 1 + up) % 7] for up in (0, 2, 4))
        thirds = (
            (third.pitch_class - root.pitch_class) % 12,
            (fifth.pitch_class - third.pitch_class) % 12,
        )
        quality = _QUALITIES[thirds]
        roman = _ROMAN[number - 1] if thirds[0] == 4 else _ROMAN[number - 1].lower()
        sign = {"diminished": "°", "augmented": "+"}.get(quality, "")
        return Triad(roman + sign, quality, (root, third, fifth))

    def degree_of(self, midi: int) -> Degree | None:
        """The degree a note is, in any octave; None outside the scale."""
        found = (each for each in self.degrees if each.pitch_class == midi % 12)
        return next(found, None)

    def note(self, midi: int) -> str:
        """Machine name of a note as this key spells it; with a sharp where it is outside."""
        degree = self.degree_of(midi)
        if degree is None:
            return note_name(midi)
        raised = degree.name.count("#") - degree.name.count("b")
        # The octave belongs to the letter: Cb4 sounds as B3.
        return f"{degree.name}{(midi - raised) // 12 - 1}"

    def role(self, midi: int) -> Role:
        """What a note is in this key: in the tonic triad, elsewhere in the scale, or outside."""
        degree = self.degree_of(midi)
        return "outside" if degree is None else _ROLES.get(degree.number, "scale tone")

    def label(self, system: NamingSystem = "english") -> str:
        """The key for people, its tonic named in ``system``."""
        return f"{class_in(self.tonic, system)} {self.scale}"


def make_key(tonic: str, scale: Scale) -> Key:
    """A key from its parts, spelled. Raises NoteNameError."""
    if scale not in STEPS:
        raise NoteNameError(f"scale {shown(scale)} is not known: choose one of {', '.join(STEPS)}")
    name = tonic[:1].upper() + tonic[1:]
    if not re.fullmatch("[A-G][#b]?", name):
        raise NoteNameError(f"tonic {shown(tonic)}: write a letter A to G, with # or b if any")
    start = parse_note(f"{name}4") % 12
    first = _LETTERS.index(name[0])
    degrees = []
    for number, step in enumerate(STEPS[scale], start=1):
        letter, pitch_class = _LETTERS[(first + number - 1) % 7], (start + step) % 12
        degrees.append(Degree(number, _spelled(letter, pitch_class), pitch_class))
    return Key(name, scale, tuple(degrees))


def parse_key(text: object) -> Key:
    """A key as players write it, such as ``"E minor"`` or ``"Em"``. Raises NoteNameError."""
    if not isinstance(text, str):
        raise NoteNameError(f"key {shown(text)} is not text: {_ACCEPTED}")
    plain = " ".join(text.replace("♯", "#").replace("♭", "b").split())
    found = _WRITTEN.fullmatch(plain)
    if found is None:
        raise NoteNameError(f"key {shown(text)} is not known: {_ACCEPTED}")
    words = found[3] if found[3] == "m" else found[3].lower()
    if words not in _WORDS:
        near = get_close_matches(words, [word for word in _WORDS if len(word) > 1], n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise NoteNameError(f"scale {shown(words)} of a key is not known{hint} ({_ACCEPTED})")
    return make_key(found[1] + found[2], _WORDS[words])


def class_in(name: str, system: NamingSystem) -> str:
    """A note's name without octave, written in English, in another system. Raises NoteNameError."""
    return note_in(f"{name}4", system).removesuffix("4")


def interval_name(semitones: int) -> str:
    """An interval's name, octaves left out; whole octaves are ``"octave"``, nought ``"unison"``."""
    if semitones and semitones % 12 == 0:
        return "octave"
    return _INTERVALS[semitones % 12]


def _spelled(letter: str, pitch_class: int) -> str:
    """The letter with the sharps or flats that bring it to the pitch class."""
    raised = (pitch_class - parse_note(f"{letter}4") + 6) % 12 - 6
    return letter + raised * "#" + -raised * "b"
