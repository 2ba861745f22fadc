"""What the tracker knows of a note, and what it tells."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from station.measure.bank import PartialBank
from station.measure.decimate import Samples
from station.measure.fit import Fit, apart_cents
from station.measure.moving import ahead_of, caught_up, pitch_now

TRACK_READINGS = 1500  # half a minute
STIRRED_READINGS = 4  # 60 ms


@dataclass(slots=True)
class Sounding:
    """The note being followed: sample numbers, the newest fit, its loudest power.

    `kept` are its first seconds, once it has lasted that long: only as much is
    measured as a whole; `kept_fine` the same of a high note at the fine rate.
    `track` are its fits with the samples they end at. A `suspect` began
    where the mains may be; a note that glides there is none. At sample `steady_at`
    its readings last agreed with each other. The newest part of the last one was
    `ahead_cents` from the whole of it. It was struck `over` another that rings on. A note none of
    whose readings could be `told` is none; the last one was `sure` or not. Between its partials
    there was a power of `quietest` at least.
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
    ahead_cents: float = 0.0
    over: bool = False
    told: bool = False
    sure: bool = False
    quietest: float = math.inf

    def now(self, length: int, usual: int) -> Fit:
        """The pitch now, when the newest fit is of `length` samples.

        Of one of more than the `usual` many the newest part tells sooner that the pitch moves.
        """
        fit = pitch_now(self.track, length)
        before, self.ahead_cents = self.ahead_cents, 0.0
        if self.bank is None or length <= usual or not self._stirs():
            return fit
        newest = self.bank.newest(self.fit)
        if newest is None:
            return fit
        self.ahead_cents = ahead_of(self.fit, newest[0])
        if self.ahead_cents * before <= 0:  # twice in a row, or it may be a drum
            return fit
        return caught_up(fit, self.fit, *newest)

    def _stirs(self) -> bool:
        """Whether the last readings differ at all: those of a string at rest share their noise."""
        if len(self.track) < STIRRED_READINGS:
            return False
        before = self.track[-STIRRED_READINGS][1]
        return apart_cents(before.hz, self.fit.hz) > self.fit.uncertainty_cents


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
