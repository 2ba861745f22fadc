"""Which string is sounding, and how far it is from its target.

Distances are in cents, positive when the sound is sharp of the string. The
octave counts: a sound an octave from a string is not that string.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from station.music.catalogue import OpenString, Tuning
from station.music.pitch import A4_STANDARD_HZ, cents_between, midi_to_hz

REACH_CENTS = 250.0  # half of the fourth between most neighbouring strings
_EQUAL_CENTS = 1e-6  # two distances this close are rounding apart


@dataclass(frozen=True, slots=True)
class StringMatch:
    """The open string a pitch belongs to.

    ``note`` is the string's name as its tuning spells it, ``midi`` its number,
    ``target_hz`` its frequency at the reference, ``cents`` how far the pitch
    lies from it. ``also`` gives the other strings with the same target, which
    the pitch alone cannot tell from this one.
    """

    string: int
    note: str
    midi: int
    target_hz: float
    cents: float
    also: tuple[int, ...] = ()


def match_string(
    hz: float,
    tuning: Tuning,
    a4_hz: float = A4_STANDARD_HZ,
    expected: int | None = None,
    reach_cents: float = REACH_CENTS,
) -> StringMatch | None:
    """The string of ``tuning`` nearest to ``hz``, or None beyond ``reach_cents`` of all.

    Halfway between two targets it is the higher one, of which the sound is
    flat: strings go slack by themselves, not tight. Strings with the same
    target (unison courses) answer with the lowest number. ``expected`` is the
    string the player says is being tuned, not one guessed from earlier
    sounds: within reach it is the answer even where another is nearer.

    Raises FrequencyError, ReferenceRangeError, and TuningError for an
    ``expected`` string the tuning has not.
    """
    if expected is not None:
        match = _match(hz, tuning.string(expected), tuning, a4_hz)
        if abs(match.cents) <= reach_cents:
            return match
    matches = [_match(hz, string, tuning, a4_hz) for string in tuning.strings]
    nearest_cents = min((abs(match.cents) for match in matches), default=math.inf)
    if nearest_cents > reach_cents:
        return None
    level = [match for match in matches if abs(match.cents) - nearest_cents <= _EQUAL_CENTS]
    return min(level, key=lambda match: (match.cents >= 0.0, match.string))


def _match(hz: float, string: OpenString, tuning: Tuning, a4_hz: float) -> StringMatch:
    target_hz = midi_to_hz(string.midi, a4_hz)
    return StringMatch(
        string=string.number,
        note=string.note,
        midi=string.midi,
        target_hz=target_hz,
        cents=cents_between(hz, target_hz),
        also=tuple(
            other.number
            for other in tuning.strings
            if other.midi == string.midi and other.number != string.number
        ),
    )
