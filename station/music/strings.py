"""Which string is sounding, and how far it is from its target.

A string's target has its player's offset in it (``offsets.py``). Distances are
in cents, positive when the sound is sharp of the string. The octave counts: a
sound an octave from a string is not that string.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from station.music.catalogue import OpenString, Tuning
from station.music.pitch import A4_STANDARD_HZ, cents_between

REACH_CENTS = 250.0  # half of the fourth between most neighbouring strings
_EQUAL_CENTS = 1e-6  # two distances this close are rounding apart
_ROUNDING_CENTS = 1e-9  # offsets are thousandths of a cent; their differences are not quite


@dataclass(frozen=True, slots=True)
class StringMatch:
    """The open string a pitch belongs to.

    ``note`` is the string's name as its tuning spells it, ``midi`` its number,
    ``target_hz`` its target at the reference, offset included, ``cents`` how
    far the pitch lies from it.
    """

    string: int
    note: str
    midi: int
    target_hz: float
    cents: float


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
    target (unison courses without offsets) answer with the lowest number;
    `alike_strings` has the others. ``expected`` is the string the player says
    is being tuned, not one guessed from earlier sounds: within reach it is the
    answer even where another is nearer.

    Raises FrequencyError, ReferenceRangeError, and TuningError for an
    ``expected`` string the tuning has not.
    """
    if expected is not None:
        match = _match(hz, tuning.string(expected), a4_hz)
        if abs(match.cents) <= reach_cents:
            return match
    matches = [_match(hz, string, a4_hz) for string in tuning.strings]
    nearest_cents = min((abs(match.cents) for match in matches), default=math.inf)
    if nearest_cents > reach_cents:
        return None
    level = [match for match in matches if abs(match.cents) - nearest_cents <= _EQUAL_CENTS]
    return min(level, key=lambda match: (match.cents >= 0.0, match.string))


def alike_strings(
    tuning: Tuning, number: int, within_cents: float
) -> tuple[tuple[int, float], ...]:
    """The other strings whose targets lie less than ``within_cents`` from this one's.

    Each by its number, with the cents from its target up to this one's. Raises
    TuningError for a string the tuning has not.
    """
    this = tuning.string(number)
    apart = [(other.number, this.cents_above(other)) for other in tuning.strings]
    limit_cents = within_cents - _ROUNDING_CENTS
    return tuple((n, cents) for n, cents in apart if n != number and abs(cents) < limit_cents)


def _match(hz: float, string: OpenString, a4_hz: float) -> StringMatch:
    target_hz = string.target_hz(a4_hz)
    return StringMatch(
        string=string.number,
        note=string.note,
        midi=string.midi,
        target_hz=target_hz,
        cents=cents_between(hz, target_hz),
    )
