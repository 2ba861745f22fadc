"""The whole round of an instrument's pairs: which string against which, and what adds up.

The round begins at one string that is tuned to the reference and goes from string to string,
each tuned against one that is tuned already. Tuned until nothing beats, every fourth leaves its
upper string 1.955 cents flat and every fifth 1.955 cents sharp of equal temperament (`pairs.py`);
from pair to pair that adds up, and no round of pure fourths and thirds closes.

Which pairs: fourths by the harmonics at the 5th and 7th fret, fifths by those at the 7th and
12th, other intervals by the unison at a fret, courses by unisons and octaves, instruments
without frets by double stops (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from station.music.catalogue import OpenString, Tuning
from station.music.pairs import (
    StringPair,
    fretted_pair,
    harmonic_pair,
    open_pair,
)
from station.music.pitch import A4_STANDARD_HZ, check_a4
from station.music.tunings import find_instrument

START_STEP = 9  # the A's: the reference is an A
OCTAVE = 12
BY_HARMONICS = (5, 7)
TWELFTH = 19  # the 7th-fret harmonic is an open string's pitch


@dataclass(frozen=True, slots=True)
class Step:
    """One pair of the round.

    ``tuned`` is the string it tunes, ``against`` the one tuned before; ``equal_beat_hz`` the
    beat to leave and ``signed_beat_hz`` the same as first less second. ``beatless_cents``: by how
    much this step puts the tuned string off if it is left beatless, ``adds_up_to_cents`` with all
    steps before it.
    """

    pair: StringPair
    tuned: OpenString
    against: OpenString
    equal_beat_hz: float
    signed_beat_hz: float
    beatless_cents: float
    adds_up_to_cents: float


@dataclass(frozen=True, slots=True)
class Tour:
    """A tuning's round: the string it begins with, its steps, and the strings they leave out."""

    tuning: Tuning
    a4_hz: float
    start: OpenString
    steps: tuple[Step, ...]
    left_out: tuple[OpenString, ...]

    @property
    def beatless(self) -> tuple[tuple[int, float], ...]:
        """Every string's number and how far it ends off if all is left beatless, string 1 first."""
        off = {self.start.number: 0.0}
        for step in self.steps:
            if step.tuned.number != step.against.number:
                off[step.tuned.number] = step.adds_up_to_cents
        return tuple(sorted(off.items()))

    @property
    def worst_cents(self) -> float:
        """The widest two strings end apart from where they belong, all left beatless."""
        off = [cents for _, cents in self.beatless]
        return max(off) - min(off)


def tour(tuning: Tuning, a4_hz: float = A4_STANDARD_HZ) -> Tour:
    """The round of a tuning's pairs at a reference; raises ReferenceRangeError."""
    check_a4(a4_hz)
    frets = find_instrument(tuning.instrument).frets
    start = _start(tuning)
    off = {start.number: 0.0}
    steps: list[Step] = []
    for pair, tuned, against in _round(tuning, start, frets):
        upward = tuned.number == pair.second.string.number
        cents = pair.beatless_cents if upward else -pair.beatless_cents
        total = off[against.number] + cents
        signed_hz = pair.signed_beat_hz(a4_hz)
        steps.append(Step(pair, tuned, against, abs(signed_hz), signed_hz, cents, total))
        off.setdefault(tuned.number, total)
    left = tuple(string for string in tuning.strings if string.number not in off)
    return Tour(tuning, a4_hz, start, tuple(steps), left)


def candidates(tuning: Tuning) -> list[StringPair]:
    """Every pair of the tuning's round, and every other pair of neighbours, in each way once."""
    frets = find_instrument(tuning.instrument).frets
    made = [step.pair for step in tour(tuning).steps]
    for one, other in _neighbours(tuning):
        makers = (open_pair, harmonic_pair, fretted_pair) if frets else (open_pair, harmonic_pair)
        made += [pair for make in makers if (pair := make(one, other)) is not None]
    return list(dict.fromkeys(made))


def _neighbours(tuning: Tuning) -> list[tuple[OpenString, OpenString]]:
    strings = tuning.strings
    near = list(pairwise(strings))
    if len({string.course for string in strings}) < len(strings):  # courses: and the next one's
        near += zip(strings, strings[2:], strict=False)
    doubled = [(string, string) for string in strings if string.unison > 1]
    return [*doubled, *near]


def _start(tuning: Tuning) -> OpenString:
    """The lowest A; without one the string that a neighbour meets and that is lowest."""
    tuned_to_a = [string for string in tuning.strings if string.midi % OCTAVE == START_STEP]
    return min(tuned_to_a or tuning.strings, key=lambda string: (string.midi, string.number))


def _round(
    tuning: Tuning, start: OpenString, frets: bool
) -> list[tuple[StringPair, OpenString, OpenString]]:
    """Pairs with the string each tunes and the one it is tuned against, as they come."""
    found: list[tuple[StringPair, OpenString, OpenString]] = []
    known = [start]
    if start.unison > 1:
        found += _own_course(start)
    waiting = [string for string in tuning.strings if string.number != start.number]
    while waiting:
        choices = [
            (_rank(pair, one, other), pair, one, other)
            for one in waiting
            for other in known
            if (pair := _sounded(one, other, frets)) is not None
        ]
        if not choices:
            break
        _, pair, one, other = min(choices, key=lambda choice: choice[0])
        found.append((pair, one, other))
        known.append(one)
        waiting.remove(one)
        if one.unison > 1:
            found += _own_course(one)
    return found


def _own_course(string: OpenString) -> list[tuple[StringPair, OpenString, OpenString]]:
    """The two strings of one entry against each other: a mandolin's courses."""
    pair = open_pair(string, string)
    return [] if pair is None else [(pair, string, string)]


def _rank(pair: StringPair, one: OpenString, other: OpenString) -> tuple[float, ...]:
    """Strings of one course first, then near neighbours, then what leaves least behind."""
    apart = abs(one.number - other.number)
    third = pair.way == "fretted"
    far = 0 if one.course == other.course else 1 if apart <= 2 and not third else 2
    return (far, third, round(abs(pair.beatless_cents), 3), apart, one.number)


def _sounded(one: OpenString, other: OpenString, frets: bool) -> StringPair | None:
    """How two strings are best sounded together; None where it is of no use."""
    apart = abs(one.midi - other.midi)
    if apart == 0 or (apart == OCTAVE and (one.course == other.course or not frets)):
        return open_pair(one, other)
    if not frets:
        near = abs(one.number - other.number) == 1
        pair = open_pair(one, other) if near else None
        return pair if pair is not None and max(pair.partials) <= 4 else None
    if apart in BY_HARMONICS or apart in (OCTAVE, TWELFTH):
        return harmonic_pair(one, other)
    return fretted_pair(one, other) if abs(one.number - other.number) <= 2 else None
