"""A drum kit against the key: what each drum is in a song, and how it sits with the bass.

Nothing here says that a drum is wrong. Drummers tune for feel first; these are facts to
decide by.

**A drum's partials**: its fundamental, and the overtone, the (1,1) mode, where that has been
measured. The ideal membrane has it at 1.593 times the fundamental (Abramowitz & Stegun, table
9.5), but air and second head move it by semitones, so an unmeasured one is left out rather
than assumed. Higher modes die away too soon to beat with a held bass note (Fletcher &
Rossing, The Physics of Musical Instruments, chapter 18).

**The bass's partials**: harmonics of amplitude 1/k, which a plucked string has in velocity,
and velocity is what a magnetic pickup hears (Fletcher & Rossing, chapters 2 and 9). Roughness
between the two is that of ``roughness.py``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from station.errors import DrumError
from station.music._text import shown
from station.music.drums import DrumKind
from station.music.keys import Key, Role
from station.music.names import note_name, parse_note
from station.music.pitch import A4_STANDARD_HZ, cents_between, midi_to_hz, nearest_note
from station.music.roughness import Partial, harmonics, pairs_between

MM_PER_INCH = 25.4  # exact, since the international inch of 1959
DIAMETER_LIMITS_IN = (6.0, 40.0)
DEPTH_LIMITS_IN = (1.0, 40.0)
PITCH_LIMITS_HZ = (20.0, 1000.0)
BASS_LIMITS = (12, 72)  # C0 to C5: no bass plays beyond, so an octave number is mistaken there
MAX_DRUMS = 24
MAX_SONGS = 200
OVERTONE_RATIO_LIMITS = (1.05, 2.5)
MOST_CENTS = 100.0

OVERTONE_AMPLITUDE = 0.5  # struck between centre and rim: common practice, no source
BASS_AMPLITUDES = tuple(1.0 / k for k in range(1, 9))
CLASH_ROUGHNESS = 0.25
"""From here on a pair of partials is worth a word: as rough as the bass's fourth partial can be."""
_LOWEST_TONIC = 28  # E1, the lowest open string of most basses
_PITCH = re.compile(
    r"(?P<hz>[0-9]+(?:\.[0-9]+)?)\s*(?:[Hh][Zz])?"
    r"|(?P<note>.*?[0-9])\s*(?P<cents>[+-]\s*[0-9]+(?:\.[0-9]+)?)?\s*(?:cents?)?"
)
_NARROW = 2.0 ** (2.5 / 12.0)  # wider than a second two partials are an interval, not a beat


@dataclass(frozen=True, slots=True)
class Drum:
    """A drum as it is now. ``hz`` is its fundamental, ``depth_mm`` None where nobody measured.

    ``overtone_hz`` is the (1,1) mode if measured; ``keep``: its player wants it left as it is.
    """

    name: str
    diameter_mm: float
    hz: float
    kind: DrumKind = "tom"
    depth_mm: float | None = None
    overtone_hz: float | None = None
    keep: bool = False

    @property
    def diameter_in(self) -> float:
        """Diameter in inches."""
        return self.diameter_mm / MM_PER_INCH

    def partials(self, hz: float | None = None) -> tuple[Partial, ...]:
        """Its partials, or those it would have tuned to ``hz``: all modes move together."""
        at_hz = self.hz if hz is None else hz
        first = Partial(at_hz, 1.0)
        if self.overtone_hz is None:
            return (first,)
        return (first, Partial(self.overtone_hz * at_hz / self.hz, OVERTONE_AMPLITUDE))


@dataclass(frozen=True, slots=True)
class Song:
    """A song: its key and the roots its bass holds, as written, such as ``"E1"``, and by number."""

    name: str
    key: Key
    bass: tuple[str, ...]
    bass_midi: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Beat:
    """A partial of a drum beside one of a bass note.

    ``bass`` is the note, ``drum_partial`` 1 (fundamental) or 2 (overtone), ``bass_partial`` is
    counted from 1. ``roughness`` is what the pair adds, 1 at most.
    """

    bass: str
    drum_partial: int
    bass_partial: int
    drum_hz: float
    bass_hz: float
    beat_hz: float
    roughness: float

    @property
    def clashes(self) -> bool:
        """Whether it is worth a word: rough, and too close to be heard as an interval."""
        low, high = sorted((self.drum_hz, self.bass_hz))
        return self.roughness >= CLASH_ROUGHNESS and high < low * _NARROW


@dataclass(frozen=True, slots=True)
class BassRelation:
    """A drum over one bass note: ``semitones`` from the bass up to the drum's nearest note.

    ``roughness`` adds up all pairs of partials; ``beat`` is the nearest pair, ``clash`` the
    roughest of those worth a word, if any.
    """

    bass: str
    semitones: int
    roughness: float
    beat: Beat
    clash: Beat | None


@dataclass(frozen=True, slots=True)
class InSong:
    """What a drum is in a song. Of the nearest tones: MIDI number and cents from drum to tone."""

    role: Role
    chord_midi: int
    chord_cents: float
    scale_midi: int
    scale_cents: float
    relations: tuple[BassRelation, ...]

    @property
    def roughness(self) -> float:
        """Mean over the song's bass notes."""
        return math.fsum(each.roughness for each in self.relations) / len(self.relations)

    @property
    def clashes(self) -> tuple[Beat, ...]:
        """One for each bass note that the drum clashes with."""
        return tuple(each.clash for each in self.relations if each.clash is not None)


def make_drum(
    name: str,
    diameter_in: float,
    hz: float,
    kind: DrumKind = "tom",
    depth_in: float | None = None,
    overtone_hz: float | None = None,
    keep: bool = False,
) -> Drum:
    """A drum, checked, from inches and hertz. Raises DrumError for what no drum can be."""
    _check_kind(kind)
    _check_within("diameter", diameter_in, DIAMETER_LIMITS_IN, "in")
    _check_within("fundamental", hz, PITCH_LIMITS_HZ, "Hz")
    if depth_in is not None:
        _check_within("depth", depth_in, DEPTH_LIMITS_IN, "in")
    if overtone_hz is not None:
        # The ideal membrane has 1.593: what lies beyond these is another mode, or a slip.
        least, most = (round(hz * ratio, 1) for ratio in OVERTONE_RATIO_LIMITS)
        _check_within("overtone", overtone_hz, (least, most), "Hz")
    depth_mm = None if depth_in is None else depth_in * MM_PER_INCH
    return Drum(name, diameter_in * MM_PER_INCH, hz, kind, depth_mm, overtone_hz, keep)


def make_song(name: str, key: Key, bass: Sequence[str] = ()) -> Song:
    """A song, checked. Without ``bass`` its root is the tonic, from a bass guitar's E1 up.

    Raises DrumError and NoteNameError.
    """
    if not bass:
        midi = _LOWEST_TONIC + (key.degrees[0].pitch_class - _LOWEST_TONIC) % 12
        return Song(name, key, (key.note(midi),), (midi,))
    numbers = tuple(parse_note(note) for note in bass)
    for note, midi in zip(bass, numbers, strict=True):
        if not BASS_LIMITS[0] <= midi <= BASS_LIMITS[1]:
            low, high = (note_name(each) for each in BASS_LIMITS)
            raise DrumError(f"bass note {shown(note)} is not from {low} to {high}: wrong octave?")
    return Song(name, key, tuple(note.strip() for note in bass), numbers)


def pitch_hz(text: str, a4_hz: float = A4_STANDARD_HZ) -> float:
    """The frequency of a written pitch: ``"G3"``, ``"G3+12"`` (cents) or ``"196 Hz"``.

    Raises DrumError, NoteNameError and ReferenceRangeError.
    """
    found = _PITCH.fullmatch(text.strip().replace("\u2212", "-"))
    if found is None:
        raise DrumError(
            f'pitch {shown(text)} is not known: write "G3", "G3+12" (cents) or "196 Hz"'
        )
    if found["hz"]:
        hz = float(found["hz"])
        _check_within("pitch", hz, PITCH_LIMITS_HZ, "Hz")
        return hz
    cents = float((found["cents"] or "0").replace(" ", ""))
    if abs(cents) > MOST_CENTS:
        raise DrumError(
            f"pitch {shown(text)}: {cents:g} cents is beyond {MOST_CENTS:g}: name the nearest note"
        )
    hz = midi_to_hz(parse_note(found["note"]) + cents / 100.0, a4_hz)
    _check_within(f"pitch {text.strip()}", hz, PITCH_LIMITS_HZ, "Hz")
    return hz


def in_song(
    drum: Drum, song: Song, a4_hz: float = A4_STANDARD_HZ, hz: float | None = None
) -> InSong:
    """What a drum is in a song, as it is or tuned to ``hz``.

    Raises ReferenceRangeError and FrequencyError.
    """
    at_hz = drum.hz if hz is None else hz
    near = nearest_note(at_hz, a4_hz)
    triad = {each.pitch_class for each in song.key.triad(1).notes}
    scale = {each.pitch_class for each in song.key.degrees}
    chord_midi, chord_cents = _nearest(at_hz, near.midi, triad, a4_hz)
    scale_midi, scale_cents = _nearest(at_hz, near.midi, scale, a4_hz)
    relations = tuple(
        over_bass(drum.partials(hz), written, midi, near.midi, a4_hz)
        for written, midi in zip(song.bass, song.bass_midi, strict=True)
    )
    role = song.key.role(near.midi)
    return InSong(role, chord_midi, chord_cents, scale_midi, scale_cents, relations)


def over_bass(
    partials: Sequence[Partial], bass: str, bass_midi: int, drum_midi: int, a4_hz: float
) -> BassRelation:
    """A drum's partials against a bass note's. Raises ReferenceRangeError and FrequencyError."""
    string = harmonics(midi_to_hz(bass_midi, a4_hz), BASS_AMPLITUDES)
    beats = [
        Beat(
            bass, pair.first + 1, pair.second + 1, partials[pair.first].hz,
            string[pair.second].hz, pair.beat_hz, pair.roughness,
        )
        for pair in pairs_between(partials, string)
    ]  # fmt: skip
    clashing = [beat for beat in beats if beat.clashes]
    return BassRelation(
        bass,
        drum_midi - bass_midi,
        math.fsum(beat.roughness for beat in beats),
        min(beats, key=lambda beat: abs(math.log(beat.drum_hz / beat.bass_hz))),
        max(clashing, key=lambda beat: beat.roughness, default=None),
    )


def _check_kind(kind: str) -> None:
    if kind not in get_args(DrumKind):
        raise DrumError(
            f"kind {shown(kind)} of a drum is not one of {', '.join(get_args(DrumKind))}"
        )


def _check_within(what: str, value: float, limits: tuple[float, float], unit: str) -> None:
    least, most = limits
    if not least <= value <= most:
        raise DrumError(f"{what} {value:g} {unit} is not from {least:g} to {most:g} {unit}")


def _nearest(hz: float, midi: int, classes: set[int], a4_hz: float) -> tuple[int, float]:
    """The nearest note of some pitch classes, and the cents from ``hz`` up to it."""
    notes = [each for each in range(midi - 6, midi + 7) if each % 12 in classes]
    cents = {each: cents_between(midi_to_hz(each, a4_hz), hz) for each in notes}
    found = min(notes, key=lambda each: (abs(cents[each]), each))
    return found, cents[found]
