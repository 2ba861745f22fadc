"""Where a saddle belongs: the fretted 12th against the open string, and every fret by itself.

The 12th fret stands at half the scale length L from the nut; the saddle at L + c, c being what
the string was given for its stiffness and for the stretch of pressing it. With the same tension
the open string and the string at the 12th fret sound as 1 / (L + c) and 1 / (L / 2 + c), times
what pressing adds. Moving the saddle back by x lengthens both, and the player then tunes the open
string to its pitch again, so that only the ratio counts:

    cents(x) = 1200 log2((L + c + x) / (L / 2 + c + x)),
    d cents / dx = (1200 / ln 2) (1 / (L + c + x) - 1 / (L / 2 + c + x)) ~ -1731.23 / L,

-2.67 cents a millimetre at L = 648 mm: a fretted note 5 cents sharp wants the saddle
5 / 2.67 = 1.87 mm back (1.88 by the exact solution, which `saddle_mm` takes).

Taken for granted: the 12th fret stands right, L is known to `SCALE_SHARE`, c is small against L,
and pressing stretches the string as much after as before. How hard a finger presses is not
known and differs from press to press: so notes are repeated, and their scatter counts.

Against the 12th harmonic: that is the string's second partial, 2 F sqrt(1 + 4 B) (Fletcher 1964),
sharper than an octave above the open string, F sqrt(1 + B), by 600 log2((1 + 4 B) / (1 + B)), about
2597 B cents: 0.3 cents at B = 1e-4, more on thick plain strings. The open string's octave is what
the other frets are heard against; a harmonic, being even in what strikes it, is easier to read.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import mean, stdev
from typing import Literal

from station.errors import IntonationError
from station.music._text import shown
from station.music.pitch import CENTS_PER_OCTAVE, cents_between

SHORTEST_SCALE_MM, LONGEST_SCALE_MM = 150.0, 1300.0
MM_PER_INCH = 25.4
SCALE_SHARE = 0.005
PRESS_CENTS = 1.5  # one press from the next, one standard deviation (common practice, no source)
ENOUGH_TAKES = 3
OCTAVE_FRET = 12
HIGHEST_FRET = 24
FAR_CENTS = 45.0  # a fretted note farther off is another fret's
IN_MM = 0.3  # saddles cannot be set, nor presses repeated, much better
IN_SIGMAS = 1.0
# Student's t at one standard deviation's probability (0.8413) by degrees of freedom, over 1: what
# few takes' own scatter has to be widened by (computed from the t distribution).
FEW_TAKES = {1: 1.837, 2: 1.321, 3: 1.197, 4: 1.142, 5: 1.111, 6: 1.091, 7: 1.077, 8: 1.067}

Direction = Literal["back", "forward", "in"]
Against = Literal["open", "harmonic"]


@dataclass(frozen=True, slots=True)
class Sounded:
    """One note as it was measured: its pitch in Hz, one standard deviation in cents, B."""

    hz: float
    uncertainty_cents: float
    inharmonicity: float = 0.0


@dataclass(frozen=True, slots=True)
class Fretted:
    """A fret's note: how many takes, cents from equal temperament on the open string, and one
    standard deviation, scatter of the presses included."""

    fret: int
    cents: float
    uncertainty_cents: float
    takes: int


@dataclass(frozen=True, slots=True)
class Saddle:
    """What the 12th fret says of the saddle.

    ``cents``: the fretted note above what it should be (positive: sharp). ``mm``: how far to
    move the saddle, positive back, away from the nut, with one standard deviation; None without a
    scale length. ``direction`` is ``"in"`` where ``mm`` is nothing worth moving, or not surely so.
    ``enough``: at least three takes were compared. ``beyond``: more than saddles move (L / 50).
    """

    against: Against
    cents: float
    uncertainty_cents: float
    takes: int
    scale_mm: float | None
    mm: float | None
    mm_uncertainty: float | None
    direction: Direction | None
    enough: bool
    beyond: bool


def parse_scale(text: str) -> float:
    """A scale length in mm from ``648``, ``648mm`` or ``25.5in``; raises IntonationError."""
    plain = text.strip().lower().replace(",", ".")
    unit = 1.0
    for ending, factor in (("mm", 1.0), ("inches", MM_PER_INCH), ("inch", MM_PER_INCH)):
        if plain.endswith(ending):
            plain, unit = plain.removesuffix(ending).strip(), factor
            break
    else:
        for ending in ("in", '"'):
            if plain.endswith(ending):
                plain, unit = plain.removesuffix(ending).strip(), MM_PER_INCH
    try:
        value = float(plain) * unit
    except ValueError:
        raise IntonationError(
            f"scale length {shown(text)}: write millimetres or inches, 648 or 25.5in"
        ) from None
    return check_scale(value)


def check_scale(scale_mm: float) -> float:
    """The scale length, if any string is so long; raises IntonationError."""
    if not SHORTEST_SCALE_MM <= scale_mm <= LONGEST_SCALE_MM:
        hint = " (in inches? write 25.5in)" if 6.0 <= scale_mm <= 45.0 else ""
        raise IntonationError(
            f"scale length {scale_mm:g} mm is outside {SHORTEST_SCALE_MM:g} to"
            f" {LONGEST_SCALE_MM:g} mm{hint}"
        )
    return scale_mm


def cents_per_mm(scale_mm: float) -> float:
    """By how many cents the fretted 12th falls for each mm the saddle goes back, first order."""
    return CENTS_PER_OCTAVE / math.log(2) / check_scale(scale_mm)


def saddle_mm(cents: float, scale_mm: float) -> float:
    """How far back the saddle goes for a fretted 12th ``cents`` sharp, in mm, with c = 0.

    From (L + x) / (L / 2 + x) = 2 * 2^(-cents / 1200): x = L (1 - r / 2) / (r - 1), r the right
    side. Raises IntonationError for a scale length or a sharpness that no string has.
    """
    check_scale(scale_mm)
    if not abs(cents) <= 2 * FAR_CENTS:
        raise IntonationError(
            f"a fretted 12th {cents:g} cents off: at most {2 * FAR_CENTS:g}"
            " (is it the 12th fret, and the same string?)"
        )
    ratio = 2 * 2 ** (-cents / CENTS_PER_OCTAVE)
    return scale_mm * (1 - ratio / 2) / (ratio - 1)


def harmonic_excess_cents(inharmonicity: float) -> float:
    """By how much the 12th harmonic of a stiff string is above the open string's octave."""
    b = max(0.0, inharmonicity)
    return CENTS_PER_OCTAVE / 2 * math.log2((1 + 4 * b) / (1 + b))


def fret_of(hz: float, open_hz: float) -> int | None:
    """The fret a pitch belongs to, 0 for open; None below the open string, beyond fret 24, or
    half-way between two frets."""
    cents = cents_between(hz, open_hz)
    fret = round(cents / 100)
    if not 0 <= fret <= HIGHEST_FRET or abs(cents - 100 * fret) > FAR_CENTS:
        return None
    return fret


def neck(opens: Sequence[Sounded], fretted: Mapping[int, Sequence[Sounded]]) -> list[Fretted]:
    """Every fret's cents from equal temperament relative to the open string's mean.

    Raises IntonationError without an open string.
    """
    if not opens:
        raise IntonationError("no open string: play it too, for the others are told against it")
    open_cents = [cents_between(each.hz, opens[0].hz) for each in opens]
    open_hz = opens[0].hz * 2 ** (mean(open_cents) / CENTS_PER_OCTAVE)
    open_sd = _sd_of_mean(open_cents, opens, pressed=False)
    rows = []
    for fret in sorted(fretted):
        takes = fretted[fret]
        if not takes:
            continue
        cents = [cents_between(each.hz, open_hz) - 100 * fret for each in takes]
        sd = math.hypot(_sd_of_mean(cents, takes, pressed=True), open_sd)
        rows.append(Fretted(fret, mean(cents), sd, len(takes)))
    return rows


def saddle(
    references: Sequence[Sounded],
    pressed: Sequence[Sounded],
    against: Against = "open",
    scale_mm: float | None = None,
) -> Saddle:
    """What several open strings (or 12th harmonics) and fretted 12ths say of the saddle.

    Raises IntonationError where one of the two is missing, or the pitches are no octave (or no
    unison) apart.
    """
    if not references or not pressed:
        missing = "the open string or its harmonic" if not references else "the fretted 12th"
        raise IntonationError(f"{missing} is missing: play both, each by itself")
    base_hz = references[0].hz * (2.0 if against == "open" else 1.0)
    right = [cents_between(each.hz, references[0].hz) for each in references]
    heard = [cents_between(each.hz, base_hz) for each in pressed]
    cents = mean(heard) - mean(right)
    if abs(cents) > 2 * FAR_CENTS:
        raise IntonationError(
            f"the pressed note is {cents:+.0f} cents from the 12th fret's:"
            " is it that fret, and the same string?"
        )
    sd = math.hypot(
        _sd_of_mean(right, references, pressed=False), _sd_of_mean(heard, pressed, pressed=True)
    )
    takes = min(len(references), len(pressed))
    enough = len(pressed) >= ENOUGH_TAKES
    if scale_mm is None:
        return Saddle(against, cents, sd, takes, None, None, None, None, enough, False)
    mm = saddle_mm(cents, scale_mm)
    mm_sd = math.hypot(sd / cents_per_mm(scale_mm), SCALE_SHARE * mm)
    small = abs(mm) <= max(IN_MM, IN_SIGMAS * mm_sd)
    direction: Direction = "in" if small else ("back" if mm > 0 else "forward")
    beyond = abs(mm) > scale_mm / 50
    return Saddle(against, cents, sd, takes, scale_mm, mm, mm_sd, direction, enough, beyond)


def _sd_of_mean(cents: Sequence[float], takes: Sequence[Sounded], pressed: bool) -> float:
    """One standard deviation of the mean of some takes: their scatter, never less than measured.

    A single press is taken to scatter as presses do.
    """
    count = len(cents)
    measured = math.sqrt(sum(each.uncertainty_cents**2 for each in takes)) / count
    if count == 1:
        return math.hypot(measured, PRESS_CENTS if pressed else 0.0)
    scatter = stdev(cents) * FEW_TAKES.get(count - 1, 1.06) / math.sqrt(count)
    return max(scatter, measured)
