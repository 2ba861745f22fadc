"""Two strings sounded together: which of their partials meet, and how fast those rightly beat.

A string touched lightly at a point that divides it in n sounds only its partials n, 2n,
3n ...: at the 12th fret n = 2, at the 7th n = 3, at the 5th n = 4 (the frets stand near
those points: 2^(12/12) = 2, 2^(7/12) = 1.498, 2^(5/12) = 1.335). Two strings a pure fourth
apart, 4 : 3, therefore meet when the lower is touched at the 5th and the upper at the 7th
fret. A pure fourth is 1200 log2(4/3) = 498.045 cents, an equal one 500: so in equal
temperament they beat, at |4 f_low - 3 f_high|. At A4 = 440 Hz:

    bass  E1-A1: |4 x 41.2034 - 3 x 55| = |164.8138 - 165| = 0.186 Hz
    guitar E2-A2: |4 x 82.4069 - 3 x 110| = |329.6276 - 330| = 0.372 Hz

and whoever tunes such a pair until it beats no more ends 500 - 498.045 = 1.955 cents off.
Beats of stiff strings: partial k stands at k f sqrt((1 + B k^2) / (1 + B)) (Fletcher 1964).

The *first* side of a pair is the lower string (of one pitch: the one with the higher number).
A signed beat is the first side's partial less the second's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from station.errors import PairError
from station.music._text import shown
from station.music.catalogue import OpenString, Tuning
from station.music.names import note_name, parse_note
from station.music.pitch import A4_STANDARD_HZ, CENTS_PER_OCTAVE, check_a4, midi_to_hz
from station.music.verdict import Verdict, verdict

Way = Literal["harmonics", "open", "fretted", "lines"]

TOUCHED_FRETS = {1: 0, 2: 12, 3: 7, 4: 5, 5: 4}
"""At which fret a string is touched to sound its partial n alone (nearest fret)."""
HIGHEST_PARTIAL = 8  # higher ones die too soon to beat
FAR_CENTS = 16.0  # a pure third is 13.7 cents off; what is farther off is no interval to beat by
PAIR_IN_CENTS = 1.0  # half of what a beatless fourth is off: 1.955 cents
_SEMITONE_CENTS = 100.0


@dataclass(frozen=True, slots=True)
class Side:
    """One of two strings, and what is done to it.

    ``fret``: where it is pressed, counted from the nut or the capo, 0 for open. ``harmonic``: the
    partial it is touched to sound, 1 where it is not touched; only whole multiples of it sound.
    """

    string: OpenString
    fret: int = 0
    harmonic: int = 1

    @property
    def touched_fret(self) -> int:
        """The fret over which it is touched, 0 where it is not."""
        return TOUCHED_FRETS[self.harmonic]

    def target_hz(self, a4_hz: float = A4_STANDARD_HZ) -> float:
        """The first partial it should have as pressed, offset included."""
        semitones = self.string.midi + self.fret + self.string.offset_cents / _SEMITONE_CENTS
        return midi_to_hz(semitones, a4_hz)

    @property
    def label(self) -> str:
        """How it is named: ``"string 6 (E2)"``, or ``"E2"`` where no tuning numbers it."""
        number, note = self.string.number, self.string.note
        return f"string {number} ({note})" if number else note

    @property
    def handling(self) -> str:
        """What the hand does to it, in words."""
        if self.harmonic > 1:
            return f"touched at fret {self.touched_fret}"
        return f"pressed at fret {self.fret}" if self.fret else "open"


@dataclass(frozen=True, slots=True)
class StringPair:
    """Two strings and where they meet: partial ``partials[0]`` of ``first`` near
    ``partials[1]`` of ``second``."""

    first: Side
    second: Side
    partials: tuple[int, int]

    @property
    def name(self) -> str:
        """``"E2-A2"``, the open strings' notes, the lower first."""
        return f"{self.first.string.note}-{self.second.string.note}"

    @property
    def way(self) -> Way:
        """Whether it is sounded by harmonics, with a pressed string, or open."""
        if self.first.harmonic > 1 or self.second.harmonic > 1:
            return "harmonics"
        return "fretted" if self.first.fret or self.second.fret else "open"

    @property
    def meeting_cents(self) -> float:
        """The pure interval at which it beats no more, in cents from first to second as pressed."""
        return CENTS_PER_OCTAVE * math.log2(self.partials[0] / self.partials[1])

    @property
    def beatless_cents(self) -> float:
        """How far the second string ends from its place if the pair is tuned beatless.

        Positive: sharp. -1.955 for a fourth, +1.955 for a fifth, 0 for unisons and octaves.
        """
        semitones = self.second.string.midi + self.second.fret
        semitones -= self.first.string.midi + self.first.fret
        offset_cents = self.second.string.offset_cents - self.first.string.offset_cents
        return self.meeting_cents - (_SEMITONE_CENTS * semitones + offset_cents)

    def signed_beat_hz(
        self, a4_hz: float = A4_STANDARD_HZ, stiffness: tuple[float, float] = (0.0, 0.0)
    ) -> float:
        """The beat of both strings in their places: the first's partial less the second's, Hz.

        ``stiffness``: B of each as pressed.
        """
        check_a4(a4_hz)
        sides = zip((self.first, self.second), self.partials, stiffness, strict=True)
        one, other = (side.target_hz(a4_hz) * k * stretch(k, b) for side, k, b in sides)
        return one - other

    def equal_beat_hz(self, a4_hz: float = A4_STANDARD_HZ) -> float:
        """How many beats a second to leave, of strings without stiffness."""
        return abs(self.signed_beat_hz(a4_hz))


@dataclass(frozen=True, slots=True)
class Move:
    """What to do after a pair was heard.

    ``cents``: how far the interval is from its place (positive: too wide), ``None`` while it
    cannot be told which string is which. ``either_cents``: the two it may be. ``string``: the
    string to move; its ``verdict``; ``leave_hz`` the beat to leave, ``lower`` the side whose line
    has then to be the lower one (None where they are to agree).
    """

    cents: float | None
    either_cents: tuple[float, float]
    string: Side | None
    verdict: Verdict | None
    leave_hz: float
    lower: Side | None


def stretch(k: int, stiffness: float) -> float:
    """By how much partial k of a stiff string is above k times its first (Fletcher 1964)."""
    return math.sqrt((1.0 + stiffness * k * k) / (1.0 + stiffness))


def meeting(semitones: int) -> tuple[int, int] | None:
    """The lowest partials of a lower and a higher string, so far apart, that nearly meet.

    (4, 3) for 5 semitones, (3, 2) for 7, (2, 1) for 12; None where none is near.
    """
    for p in range(1, HIGHEST_PARTIAL + 1):
        for q in range(1, p + 1):
            pure_cents = CENTS_PER_OCTAVE * math.log2(p / q)
            if abs(pure_cents - _SEMITONE_CENTS * semitones) < FAR_CENTS:
                return p, q
    return None


def ordered(one: OpenString, other: OpenString) -> tuple[OpenString, OpenString]:
    """The lower string first; of one pitch the one with the higher number."""
    low, high = sorted((one, other), key=lambda s: (s.midi, s.offset_cents, -s.number))
    return low, high


def open_pair(one: OpenString, other: OpenString) -> StringPair | None:
    """Both strings open: unisons, octaves, and the double stops of bowed strings."""
    low, high = ordered(one, other)
    found = meeting(high.midi - low.midi)
    return None if found is None else StringPair(Side(low), Side(high), found)


def harmonic_pair(one: OpenString, other: OpenString) -> StringPair | None:
    """Both touched where their partials meet; a string whose first meets is left open.

    None where they meet in no harmonic that frets show, or in none at all.
    """
    found = open_pair(one, other)
    if found is None or found.partials == (1, 1):
        return None
    p, q = found.partials
    if p not in TOUCHED_FRETS or q not in TOUCHED_FRETS:
        return None
    return StringPair(
        Side(found.first.string, 0, p), Side(found.second.string, 0, q), found.partials
    )


def fretted_pair(one: OpenString, other: OpenString) -> StringPair | None:
    """The lower string pressed where it is the higher one's unison; None for one pitch or
    beyond an octave."""
    low, high = ordered(one, other)
    fret = high.midi - low.midi
    if not 0 < fret <= 12:
        return None
    return StringPair(Side(low, fret), Side(high), (1, 1))


def pair_by_way(one: OpenString, other: OpenString, way: Way) -> StringPair | None:
    """The pair as it sounds in one of the ways."""
    makers = {"open": open_pair, "harmonics": harmonic_pair, "fretted": fretted_pair}
    return makers[way](one, other) if way in makers else None


def ways_of(one: OpenString, other: OpenString) -> list[StringPair]:
    """The pair in every way in which it can be sounded to beat."""
    made = [pair_by_way(one, other, way) for way in ("open", "harmonics", "fretted")]
    return [pair for pair in made if pair is not None]


def strings_named(name: str, tuning: Tuning | None = None) -> tuple[OpenString, OpenString]:
    """The two strings that ``name`` means: notes (``E2-A2``) or, in a tuning, numbers (``6-5``).

    Notes that the tuning has are its strings; otherwise, and without a tuning, strings of that
    note without a number. Of a course of one pitch ``B3-B3`` means both its strings. Raises
    PairError saying what is accepted, NoteNameError, TuningError.
    """
    parts = [part.strip() for part in name.replace("–", "-").split("-")]
    if len(parts) != 2 or not all(parts):
        raise PairError(f"pair {shown(name)}: write two strings, as E2-A2, or 6-5 with a tuning")
    if all(part.isdecimal() for part in parts):
        if tuning is None:
            raise PairError(f"pair {shown(name)}: string numbers need a tuning: add --tuning")
        one, other = (tuning.string(int(part[:4])) for part in parts)
        if one.number == other.number and one.unison < 2:
            raise PairError(f"pair {shown(name)}: one string twice: name two of them")
        return one, other
    first = _of_note(parts[0], tuning, 0)
    return first, _of_note(parts[1], tuning, first.number)


def _of_note(note: str, tuning: Tuning | None, taken: int) -> OpenString:
    midi = parse_note(note)
    alike = [s for s in tuning.strings if s.midi == midi] if tuning is not None else []
    for string in alike:
        if string.number != taken or string.unison > 1:
            return string
    # A note that this tuning does not have is a string retuned: it has no number here.
    return OpenString(0, midi, note_name(midi, prefer="flat" if "b" in note[1:] else "sharp"), 0)


def interval_cents(
    pair: StringPair,
    signed_hz: float,
    line_hz: float,
    a4_hz: float = A4_STANDARD_HZ,
    stiffness: tuple[float, float] = (0.0, 0.0),
) -> float:
    """How much too wide the interval of a pair is that beats at ``signed_hz``, in cents.

    ``line_hz``: where its first line stands. The second's partial is at ``line_hz - signed_hz``.
    Raises PairError where that is no frequency.
    """
    second_hz = line_hz - signed_hz
    if not (math.isfinite(line_hz) and math.isfinite(signed_hz) and min(line_hz, second_hz) > 0):
        raise PairError(f"a beat of {signed_hz:g} Hz at {line_hz:g} Hz: no string sounds like that")
    right = pair.signed_beat_hz(a4_hz, stiffness)
    first_target = pair.first.target_hz(a4_hz) * pair.partials[0]
    first_target *= stretch(pair.partials[0], stiffness[0])
    return CENTS_PER_OCTAVE * math.log2((second_hz / line_hz) / (1.0 - right / first_target))


def move(
    pair: StringPair,
    beat_hz: float,
    signed_hz: float | None,
    line_hz: float,
    own_cents: tuple[float | None, float | None] = (None, None),
    hold: int | None = None,
    a4_hz: float = A4_STANDARD_HZ,
    stiffness: tuple[float, float] = (0.0, 0.0),
    in_cents: float = PAIR_IN_CENTS,
) -> Move:
    """What to do with a pair that beats ``beat_hz`` times a second around ``line_hz``.

    ``signed_hz`` is None where it cannot be told which string is which. ``own_cents``: how far
    each string is known to be from its own place; the farther one is to be moved, unless one is
    held (``hold``, 0 or 1). Raises PairError, ReferenceRangeError.
    """
    right = pair.signed_beat_hz(a4_hz, stiffness)
    lower = None if abs(right) < 1e-6 else (pair.first if right < 0 else pair.second)
    signs = (beat_hz, -beat_hz) if signed_hz is None else (signed_hz, signed_hz)
    up, down = (interval_cents(pair, each, line_hz, a4_hz, stiffness) for each in signs)
    cents = None if signed_hz is None else up
    if abs(up) <= in_cents and abs(down) <= in_cents:
        return Move(cents, (up, down), None, "in", abs(right), lower)
    moved = _to_move(own_cents, hold)
    side = pair.second if moved == 1 else pair.first
    words = {
        verdict(each if moved == 1 else -each, in_cents) for each in (up, down)
    }  # either way, where it cannot be told which string is which
    if len(words) > 1:
        return Move(None, (up, down), None, None, abs(right), lower)
    return Move(cents, (up, down), side, words.pop(), abs(right), lower)


def _to_move(own_cents: tuple[float | None, float | None], hold: int | None) -> int:
    """Which of the two to move: not the held one, else the one farther from its own place."""
    if hold is not None:
        return 1 - hold
    first, second = own_cents
    if first is not None and second is not None:
        return 0 if abs(first) > abs(second) else 1
    return 1
