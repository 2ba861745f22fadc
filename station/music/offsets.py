"""Strings that are wanted off equal temperament, and by how much.

A string's target is its equal-tempered note at the reference plus its offset
in cents, positive when the string is wanted sharp. Offsets go by the string's
number, so a capo leaves them alone: it shortens every string by a ratio of its
own, which moves each target by the same cents.

They have three forms: a person's (``{"4": -5.865}``, ``"pure fifths"`` or
``"none"``), the player's (``Offsets``), and the tuning's, where each string
carries its own (`with_offsets`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches
from itertools import pairwise

from station.errors import TuningError
from station.music._text import shown
from station.music.catalogue import OpenString, Tuning
from station.music.pitch import A4_MIDI
from station.music.tunings import with_capo

Offsets = tuple[tuple[int, float], ...]
"""String numbers with their offsets in cents, by number; a string without one is left out."""

OFFSET_MAX_CENTS = 50.0  # half a semitone: past it the string is nearer to another note
NONE = "none"
PURE_FIFTHS = "pure fifths"
OWN = "own"
PRESETS = (NONE, PURE_FIFTHS)

# A fifth whose third partial and second partial (3 : 2) do not beat: 701.955 cents
# (H. Helmholtz, On the Sensations of Tone, transl. A. J. Ellis, 2nd ed. 1885,
# Ellis's table of intervals).
PURE_FIFTH_CENTS = 1200.0 * math.log2(3.0 / 2.0)
_FIFTH_SEMITONES = 7
_DECIMALS = 3  # thousandths of a cent: finer than any string is heard
_STRING_NUMBER = re.compile(r"[1-9][0-9]?")


def read_offsets(wanted: object, tuning: Tuning) -> Offsets:
    """Offsets as a person or a file gives them: a table by string, or a preset's name.

    The table stands for all strings: one it leaves out has no offset. Values
    are rounded to a thousandth of a cent. Raises TuningError for a string the
    tuning has not, a number outside -50 to 50 cents, an unknown preset, and a
    preset that does not fit the tuning.
    """
    if isinstance(wanted, str):
        return _preset(wanted, tuning)
    if not isinstance(wanted, Mapping):
        raise TuningError(
            f'offsets {shown(wanted)} are no table: write {{"4": -5.865}}, by string in cents,'
            f" {PURE_FIFTHS!r} or {NONE!r}"
        )
    found: dict[int, float] = {}
    for key, value in wanted.items():
        number = _string_number(key, tuning)
        if number in found:
            raise TuningError(f"string {number} has two offsets: write one")
        found[number] = _offset_cents(number, value)
    return _without_zeros(found)


def pure_fifths(tuning: Tuning) -> Offsets:
    """Offsets that make every fifth between neighbouring strings pure, 3 : 2.

    They are counted from the A string, which is tuned to the reference (A is
    the note ISO 16 fixes); without one, from the string whose note is nearest
    to an A, string 1 first. Strings of one course in unison count as one.
    Raises TuningError where neighbours are not all a fifth apart.
    """
    strings = (tuning.open_tuning or tuning).strings
    fifths = {strings[0].number: 0}  # below string 1
    for higher, lower in pairwise(strings):
        steps = higher.midi - lower.midi
        if steps not in (0, _FIFTH_SEMITONES):
            raise TuningError(
                f"{PURE_FIFTHS} do not fit {tuning.name}: from {lower.note} to {higher.note}"
                f" (strings {lower.number} and {higher.number}) is not a fifth"
            )
        fifths[lower.number] = fifths[higher.number] + steps // _FIFTH_SEMITONES
    if not any(fifths.values()):
        raise TuningError(f"{PURE_FIFTHS} do not fit {tuning.name}: its strings are one note")
    anchor = min(strings, key=lambda string: (_semitones_from_a(string), string.number))
    stretch_cents = PURE_FIFTH_CENTS - 100.0 * _FIFTH_SEMITONES
    return _without_zeros(
        {
            number: (fifths[anchor.number] - below) * stretch_cents
            for number, below in fifths.items()
        }
    )


def with_offsets(tuning: Tuning, offsets: Offsets) -> Tuning:
    """The tuning with these offsets, in the place of any it had, its capo where it is."""
    base, wanted = tuning.open_tuning or tuning, dict(offsets)
    strings = tuple(
        replace(string, offset_cents=wanted.get(string.number, 0.0)) for string in base.strings
    )
    return with_capo(replace(base, strings=strings), tuning.capo)


def offsets_of(tuning: Tuning) -> Offsets:
    """The offsets a tuning carries."""
    return _without_zeros({string.number: string.offset_cents for string in tuning.strings})


def offsets_label(tuning: Tuning) -> str:
    """What to call the offsets of a tuning: ``""`` without any, ``"pure fifths"`` or ``"own"``.

    Pure fifths are known by their cents, whoever entered them.
    """
    offsets = offsets_of(tuning)
    if not offsets:
        return ""
    return PURE_FIFTHS if offsets == _pure_fifths_or_none(tuning) else OWN


def refitted(before: Tuning, after: Tuning) -> Offsets:
    """The offsets that ``after`` takes over from ``before``, another tuning of the instrument.

    Pure fifths are worked out anew, and end where the new tuning is not in
    fifths; those of the player's own stay with their strings.
    """
    pure = offsets_label(before) == PURE_FIFTHS
    return _pure_fifths_or_none(after) if pure else offsets_of(before)


def offsets_as_json(offsets: Offsets) -> dict[str, float]:
    """Offsets by string number as text, as JSON and TOML have keys: ``{"4": -5.865}``."""
    return {str(number): cents for number, cents in offsets}


def _pure_fifths_or_none(tuning: Tuning) -> Offsets:
    try:
        return pure_fifths(tuning)
    except TuningError:
        return ()


def _preset(name: str, tuning: Tuning) -> Offsets:
    plain = " ".join(re.split(r"[\s_-]+", name.casefold().strip()))
    if plain == NONE:
        return ()
    if plain == PURE_FIFTHS:
        return pure_fifths(tuning)
    near = get_close_matches(plain[:40], PRESETS, n=1, cutoff=0.5)
    nearest = f": did you mean {near[0]!r}?" if near else ""
    raise TuningError(
        f"offsets {shown(name)} are unknown{nearest} (write {NONE!r}, {PURE_FIFTHS!r}"
        f" or cents by string)"
    )


def _string_number(key: object, tuning: Tuning) -> int:
    is_number = isinstance(key, int) and not isinstance(key, bool)
    text = str(key) if is_number else key
    if not isinstance(text, str) or not _STRING_NUMBER.fullmatch(text):
        raise TuningError(f'offset for {shown(key)}: name the string by its number, such as "4"')
    if int(text) > len(tuning.strings):
        raise TuningError(
            f"offset for string {text}: the strings of {tuning.name} are 1 to {len(tuning.strings)}"
        )
    return int(text)


def _offset_cents(number: int, value: object) -> float:
    limit = f"it lies between {-OFFSET_MAX_CENTS:g} and {OFFSET_MAX_CENTS:g} cents"
    if not isinstance(value, int | float) or isinstance(value, bool) or value != value:
        raise TuningError(f"offset {shown(value)} of string {number} is not a number: {limit}")
    if not -OFFSET_MAX_CENTS <= value <= OFFSET_MAX_CENTS:
        raise TuningError(
            f"offset {shown(value)} cents of string {number}: {limit}: did you mean a tuning?"
            " (a semitone is 100 cents)"
        )
    return round(float(value), _DECIMALS)


def _semitones_from_a(string: OpenString) -> int:
    above = (string.midi - A4_MIDI) % 12
    return min(above, 12 - above)


def _without_zeros(offsets: Mapping[int, float]) -> Offsets:
    rounded = {number: round(offsets[number], _DECIMALS) for number in sorted(offsets)}
    return tuple((number, cents) for number, cents in rounded.items() if cents)
