"""What is heard of a drum: plain values, times in seconds of the line's own stream.

A *mode* is one way in which the drum rings: a frequency and how fast it dies away. (0,1)
and (1,1) are the membrane's modes by their nodal diameters and circles (Fletcher &
Rossing, The Physics of Musical Instruments): the head as a whole, and its two halves against
each other. A *stroke* is one hit; a *tap* is what several strokes on one drum say together.
Times count samples from the start of the stream or file divided by the sample rate, as
everywhere in `measure`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

StrokeVerdict = Literal["good", "rim", "double", "other drum", "weak", "clipped"]
Wires = Literal["on", "off"]
TapKind = Literal["open", "two heads beating", "snare, wires on", "snare, wires off", "dull"]
"""`snare, wires off` is a drum as high as a snare without wires to be heard: so may a timbale be
told, or a high tom."""

LugVerdict = Literal["tighten", "slacken", "in"]

OVERTONE_RATIOS = (1.3, 1.85)
"""(1,1) over (0,1) of real drums."""


@dataclass(frozen=True, slots=True)
class Mode:
    """One mode of one stroke.

    ``hz`` is where its pitch settles, ``uncertainty_cents`` one standard deviation of it,
    ``level_db`` its level at the stroke relative to the stroke's loudest mode (0 or less).
    ``ring_s`` is RT60, the time to fall by 60 dB as its decay goes on; None where too
    little of the decay was heard.
    """

    hz: float
    uncertainty_cents: float
    level_db: float
    ring_s: float | None


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke on a drum.

    ``fundamental`` is (0,1); ``overtone`` the louder one of the (1,1) pair, and
    ``overtone_pair`` both where two are heard. ``modes`` are all, from the lowest.
    ``beat_hz`` is the beat of two fundamentals that stand close together (heads nearly
    matched), None without. ``wires``: whether a snare's wires are heard; None for a drum too
    low to be a snare. ``sure`` is False where another mode may be the fundamental.
    ``level_dbfs`` is the stroke's peak. A stroke is told once early and, where more
    of its ring makes it surer, again: the same line and time replace what was told before,
    and ``final`` is True the last time.
    """

    line: int
    at_s: float
    fundamental: Mode | None
    overtone: Mode | None
    overtone_pair: tuple[Mode, Mode] | None
    modes: tuple[Mode, ...]
    beat_hz: float | None
    verdict: StrokeVerdict
    wires: Wires | None
    clipped: bool
    level_dbfs: float = 0.0
    sure: bool = True
    final: bool = True


@dataclass(frozen=True, slots=True)
class Tap:
    """What several strokes on one drum say together.

    ``uncertainty_cents`` is one standard deviation of ``fundamental_hz``, ``spread_cents``
    the standard deviation of a single stroke, robustly estimated; 0 for one stroke alone.
    ``strokes`` were used; ``dropped`` are the others, each with its time and why.
    ``sure`` is False where the strokes leave open which mode is the fundamental.
    """

    fundamental_hz: float
    uncertainty_cents: float
    overtone_hz: float | None
    ring_s: float | None
    overtone_ring_s: float | None
    beat_hz: float | None
    strokes: tuple[Stroke, ...]
    dropped: tuple[tuple[float, str], ...]
    spread_cents: float
    kind: TapKind
    sure: bool = True


@dataclass(frozen=True, slots=True)
class LugPitch:
    """The pitch of one lug, counted from 1 clockwise.

    ``hz`` is where the (1,1) mode would stand if all lugs were as tight as this one, and
    ``offset_cents`` its distance from the head's mean; ``uncertainty_cents`` is one standard
    deviation of the mean of this lug and its opposite, ``alone_cents`` of this lug by itself.
    ``turns`` is how far to turn the key, as a positive number in the direction of ``verdict``,
    None while it is not known. ``opposite`` is the lug that physics may confuse it with.
    """

    lug: int
    hz: float
    uncertainty_cents: float
    offset_cents: float
    verdict: LugVerdict
    turns: float | None
    turns_uncertainty: float | None
    opposite: int
    alone_cents: float = 0.0


@dataclass(frozen=True, slots=True)
class Farthest:
    """The lug most likely farthest from the head's mean, and its opposite, which sounds the same.

    ``candidates``: opposite lugs together, the likeliest two first, one of which is the farthest
    with ``probability``, 95 % or more. A head of five lugs has no opposites: one lug each.
    """

    lug: int
    opposite: int
    candidates: tuple[tuple[int, ...], ...]
    probability: float


@dataclass(frozen=True, slots=True)
class Head:
    """A head's lugs together; ``confusion`` says in one line what cannot be told apart.

    ``evenness_cents`` is from the lowest lug to the highest, as expected; ``even`` that it is
    small enough, and surely so; ``worst`` is the lug that ``farthest`` names; ``overtone_hz`` the
    mean of the (1,1) pair, which a muted centre leaves as the lowest that rings;
    ``fundamental_hz`` is (0,1).
    """

    lugs: tuple[LugPitch, ...]
    evenness_cents: float
    fundamental_hz: float
    worst: int
    even: bool
    confusion: str
    farthest: Farthest
    overtone_hz: float = 0.0
