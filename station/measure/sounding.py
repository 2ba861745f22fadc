"""What the tracker knows of a note, and what it tells."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from station.measure.bank import PartialBank
from station.measure.decimate import Samples
from station.measure.fit import Fit
from station.measure.turning import Turn

TRACK_READINGS = 1500  # half a minute


@dataclass(slots=True)
class Sounding:
    """The note being followed: sample numbers, the newest fit, its loudest power.

    `kept` are its first seconds, once it has lasted that long: only as much is
    measured as a whole; `kept_fine` the same of a high note at the fine rate.
    `track` are its fits with the samples they end at. A `suspect` began
    where the mains may be; a note that glides there is none. At sample `steady_at`
    its readings last agreed with each other. `turn` is what its peg did by the last of
    them. It was struck `over` another that rings on. A note none of whose readings could be
    `told` is none; the last one was `sure` or not. Between its partials there was a power of
    `quietest` at least; `stiff` is the fit that is surest of its stiffness.
    """

    onset: int
    fit: Fit
    last_good: int
    peak_db: float
    votes: list[float] = field(default_factory=list)
    kept: Samples | None = None
    kept_fine: Samples | None = None
    track: deque[tuple[int, Fit]] = field(default_factory=lambda: deque(maxlen=TRACK_READINGS))
    bank: PartialBank | None = None
    suspect: bool = False
    steady_at: int = 0
    turn: Turn | None = None
    over: bool = False
    told: bool = False
    sure: bool = False
    quietest: float = math.inf
    stiff: Fit | None = None


@dataclass(frozen=True, slots=True)
class Followed:
    """A new fit of the note that sounds and began at sample `onset`.

    But for what a pluck that has just begun may glide, it is unsure by `unsure_cents`.
    """

    fit: Fit
    onset: int
    unsure_cents: float


@dataclass(frozen=True, slots=True)
class Ended:
    """A played note is over."""

    note: Sounding


News = list[Followed | Ended]
