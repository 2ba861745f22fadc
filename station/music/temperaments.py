"""The temperaments an instrument of fixed pitch may be tuned in, as cents from equal temperament.

A table holds twelve numbers, for the pitch classes C, C#, D ... B: how far each stands from
the equal-tempered scale of the instrument's A4. The A4 of a table is the one a band should
tune to:

- Keyboard temperaments (quarter-comma meantone, Pythagorean, Werckmeister III, Vallotti,
  Young) are anchored at their A, which stands at 0: the A is set from the fork (common
  practice, no source).
- Just tables are anchored at their key note, which stands at 0; their A, often a third, may
  lie 16 cents off.

Chains of fifths and commas: J. M. Barbour, Tuning and Temperament (1951). The pure fifth is
3/2, the Pythagorean comma 3**12/2**19 (23.46 cents), the syntonic comma 81/80 (21.51 cents).

*Quarter-comma meantone*: eleven fifths narrower by a quarter of a syntonic comma, so that four
make a pure third; *Pythagorean*: eleven pure fifths. The fifth that is left over is the wolf.
The root says where: the chain of root C runs Eb-Bb-F-C-G-D-A-E-B-F#-C#-G#, that of root G one
fifth farther (Bb to D#).

*Werckmeister III* (1691): C-G, G-D, D-A and B-F# narrower by a quarter of a Pythagorean comma.
*Vallotti*: F-C-G-D-A-E-B narrower by a sixth each. These and Young are known in one position,
root C.

*Young* means the second of the two temperaments in Thomas Young's letter of 1799 (Philosophical
Transactions 90, 1800): C-G-D-A-E-B-F# narrower by a sixth of a Pythagorean comma, Vallotti's
moved by a fifth. It is what tuners set under that name (common practice, no source). His first
(C-G-D-A-E narrower by 3/16 of a syntonic comma, F#-C#-G#-Eb-Bb pure, the other four alike) is
nowhere more than 2 cents from Vallotti: no set of reeds that scatter by 2 cents can tell the
two apart. It is kept as a second version of Young, with a small weight, so that an exact
instrument can be told and Vallotti's name is still not withheld from a common one.

*Just*, of a key: pure intervals above the key note. Several ratios are in use for one degree;
each has a weight, the chance that a maker took it; they sum to 1 for each degree. 10/9, 45/32,
64/45, 7/5, 9/5, 16/9 and 7/4 are Ellis's (appendix XX to Helmholtz, On the Sensations of Tone,
2nd ed. 1885). Makers of diatonic harps depart from the simple scale for the chords of the
instrument: 27/16 for the sixth, from which 9/8 of the dominant is pure, with 21/16 for a pure
dominant seventh chord, or 27/20 for a pure minor chord on the second degree (O. Hansson, Theory
of harmonica tuning, 2004). The weights are common practice, no source: the simplest ratio leads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Literal, NamedTuple, get_args

from station.errors import TuningError
from station.music._text import shown

TemperamentName = Literal[
    "equal",
    "just",
    "quarter-comma meantone",
    "Pythagorean",
    "Werckmeister III",
    "Vallotti",
    "Young",
]
TEMPERAMENTS: tuple[TemperamentName, ...] = get_args(TemperamentName)
PITCH_CLASSES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
A_CLASS = 9

Cents12 = tuple[float, ...]


class Choice(NamedTuple):
    """One ratio in use for a degree of a just scale, and the chance that it was taken."""

    ratio: Fraction
    weight: float


class Version(NamedTuple):
    """One table of a temperament: cents by pitch class, and its share of the name."""

    cents: Cents12
    weight: float


def ratio_cents(ratio: Fraction | float) -> float:
    """Size of a frequency ratio in cents, 1200 log2 (Ellis). Raises TuningError unless positive."""
    if ratio <= 0:
        raise TuningError(f"ratio {ratio} has no size in cents: it must be positive")
    return 1200.0 * math.log2(ratio)


PURE_FIFTH = ratio_cents(Fraction(3, 2))
SYNTONIC_COMMA = ratio_cents(Fraction(81, 80))
PYTHAGOREAN_COMMA = ratio_cents(Fraction(3**12, 2**19))


def _degree(*choices: tuple[int, int, float]) -> tuple[Choice, ...]:
    return tuple(Choice(Fraction(above, below), weight) for above, below, weight in choices)


JUST_CHROMATIC: tuple[tuple[Choice, ...], ...] = (
    _degree((1, 1, 1.0)),
    _degree((16, 15, 1.0)),
    _degree((9, 8, 0.98), (10, 9, 0.02)),
    _degree((6, 5, 1.0)),
    _degree((5, 4, 1.0)),
    _degree((4, 3, 1.0)),
    _degree((45, 32, 0.9), (64, 45, 0.06), (7, 5, 0.04)),
    _degree((3, 2, 1.0)),
    _degree((8, 5, 1.0)),
    _degree((5, 3, 1.0)),
    _degree((9, 5, 0.6), (16, 9, 0.3), (7, 4, 0.1)),
    _degree((15, 8, 1.0)),
)
"""What stands on each semitone above the key note of a chromatic instrument, likeliest first."""

_HARP = {
    5: _degree((4, 3, 0.75), (21, 16, 0.2), (27, 20, 0.05)),
    9: _degree((5, 3, 0.7), (27, 16, 0.3)),
}
JUST_DIATONIC: tuple[tuple[Choice, ...], ...] = tuple(
    _HARP.get(steps, choices) for steps, choices in enumerate(JUST_CHROMATIC)
)
"""The same of an instrument that has the notes of one major key alone."""

# By how much each fifth is narrower than pure, in the order of the chain from C:
# C-G G-D D-A A-E E-B B-F# F#-C# C#-G# G#-Eb Eb-Bb Bb-F F-C.
_QUARTER = PYTHAGOREAN_COMMA / 4.0
_SIXTH = PYTHAGOREAN_COMMA / 6.0
_FIRST = 3.0 * SYNTONIC_COMMA / 16.0
_REST = (PYTHAGOREAN_COMMA - 4.0 * _FIRST) / 4.0
_WERCKMEISTER = (_QUARTER, _QUARTER, _QUARTER, 0, 0, _QUARTER, 0, 0, 0, 0, 0, 0)
_VALLOTTI = (_SIXTH, _SIXTH, _SIXTH, _SIXTH, _SIXTH, 0, 0, 0, 0, 0, 0, _SIXTH)
_YOUNG_SECOND = (_SIXTH, _SIXTH, _SIXTH, _SIXTH, _SIXTH, _SIXTH, 0, 0, 0, 0, 0, 0)
_YOUNG_FIRST = (_FIRST, _FIRST, _FIRST, _FIRST, _REST, _REST, 0, 0, 0, 0, _REST, _REST)

_YOUNG_FIRST_WEIGHT = 0.001

_CIRCLES: Mapping[str, tuple[tuple[Sequence[float], float], ...]] = {
    "Werckmeister III": ((_WERCKMEISTER, 1.0),),
    "Vallotti": ((_VALLOTTI, 1.0),),
    "Young": (
        (_YOUNG_SECOND, 1.0 - _YOUNG_FIRST_WEIGHT),
        (_YOUNG_FIRST, _YOUNG_FIRST_WEIGHT),
    ),
}
_CHAINS: Mapping[str, float] = {
    "quarter-comma meantone": SYNTONIC_COMMA / 4.0,
    "Pythagorean": 0.0,
}
_FIFTHS_BELOW_ROOT = 3  # Eb, Bb, F below C


def roots_of(name: TemperamentName) -> tuple[str | None, ...]:
    """The roots a temperament is known with; (None,) for equal. Raises TuningError."""
    _check_name(name)
    if name == "equal":
        return (None,)
    return ("C",) if name in _CIRCLES else PITCH_CLASSES


@lru_cache(maxsize=128)
def versions(name: TemperamentName, root: str | None = None) -> tuple[Version, ...]:
    """Every table that goes by the name, the leading one first; weights sum to 1.

    Of just only the leading table: the other ratios in use are in ``JUST_CHROMATIC``
    and ``JUST_DIATONIC``. Raises
    TuningError for a name or root that is not known.
    """
    _check_root(name, root)
    if name == "equal":
        return (Version((0.0,) * 12, 1.0),)
    place = PITCH_CLASSES.index(root or "C")
    if name == "just":
        return (Version(just_table(place, [choices[0].ratio for choices in JUST_CHROMATIC]), 1.0),)
    if name in _CHAINS:
        start = place - 7 * _FIFTHS_BELOW_ROOT
        return (Version(_chain(start, [_CHAINS[name]] * 11), 1.0),)
    return tuple(Version(_chain(0, narrower[:11]), weight) for narrower, weight in _CIRCLES[name])


def temperament_cents(name: TemperamentName, root: str | None = None) -> Cents12:
    """Cents from equal temperament of C, C#, D ... B in the leading table of a temperament.

    Raises TuningError for a name or root that is not known.
    """
    return versions(name, root)[0].cents


def just_table(key: int, degrees: Sequence[Fraction]) -> Cents12:
    """Just cents by pitch class from the ratio taken for each of twelve degrees.

    The key note (0 for C to 11 for B) stands at 0.
    """
    above = [ratio_cents(each) - 100.0 * steps for steps, each in enumerate(degrees)]
    return tuple(above[(place - key) % 12] for place in range(12))


def _chain(start: int, narrower: Sequence[float]) -> Cents12:
    """Eleven fifths upward from a pitch class, each narrower than pure by so much; A at 0."""
    cents = [0.0] * 12
    place, offset = start % 12, 0.0
    for less in narrower:
        place, offset = (place + 7) % 12, offset + PURE_FIFTH - less - 700.0
        cents[place] = offset
    return tuple(each - cents[A_CLASS] for each in cents)


def _check_name(name: str) -> None:
    if name not in TEMPERAMENTS:
        known = ", ".join(TEMPERAMENTS)
        raise TuningError(f"temperament {shown(name)} is not known: choose one of {known}")


def _check_root(name: TemperamentName, root: str | None) -> None:
    known = roots_of(name)
    if root in known or (root is None and len(known) == 1):
        return
    choices = "none" if known == (None,) else ", ".join(str(each) for each in known)
    raise TuningError(f"root {shown(root)} is not one of {name}: its roots are {choices}")
