"""How fast the sound card really counts, held against a clock that is right.

A card's crystal may be off by a hundred parts in a million (ppm), and every
pitch heard through it is off by as much: 100 ppm are 0.17 cents. Known are the
number of each block's last frame and when the block had arrived. A block may
arrive late but never early, so the earliest arrivals tell most: of each
`SPAN_S` only the earliest is kept. What they gain on the nominal rate, plotted
over time, is a line whose slope is the card's error.

- The window is the last `WINDOW_S`, no more: a card that warms up changes its
  rate, and what it did half an hour ago says nothing of now. An exponential
  forgetting would keep a little of that for ever; a longer window gains nothing,
  for after ten minutes it is the clock, not the arrivals, that sets the limit.
- Where frames were lost, the frame numbers go on by a guess; a restarted input
  has another latency. What follows then stands on an offset of its own, but on
  the same slope: it is the same crystal. (If somebody plugs in another card of
  the same name, the window has forgotten the first after `WINDOW_S`.) A latency
  that jumps without a word, as a sound server's may, is found and treated alike.
- The latency also wanders, so neighbouring arrivals are late together; taken for
  independent they would promise far too much. How much they go together is
  unknown: the line is fitted for every strength and length of that in a grid, and
  each fit counts by its restricted likelihood (Patterson & Thompson, Biometrika
  58, 1971, for the likelihood; the weighted mean over the grid is a flat prior's
  posterior mean). What the fits differ by is part of the uncertainty.
- A timer that wakes the sender on a grid of its own hides what happens between
  two wakings: see `_hidden_s`.

Beyond `MAX_PPM` it is no crystal: frames get lost, or the device runs at
another rate than it says. That is said and nothing estimated.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.errors import SignalError
from station.measure.windows import plain

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SPAN_S = 10.0
"""Some four hundred blocks: the earliest is within a hundredth of the usual jitter."""
WINDOW_S = 1200.0
MAX_PPM = 1000.0
"""Ten times a bad crystal's error. Our choice."""
LEAST_SPANS = 6
LEAST_FREEDOM = 4
SETTLING_S = 2.0
"""What a stream says of its latency while it starts is not what it says later (measured)."""
STEP_S = 0.002
STEP_SIGMAS = 8.0
STEP_SIDE = 3
"""A latency has jumped when three spans before and three after differ by so much."""
STRAY_SIGMAS = 6.0
STRAY_S = 0.0003
VALLEY_PART = 16
VALLEY_DEPTH = 5.0
"""A sixteenth of the blocks in turn five times as far apart: by chance four times happens
(uniform and exponential lateness, simulated)."""
CLOCK_STEP_S = 1e-7
"""No arrival is known better: it takes about as long to read the clock."""

WANDERS_S = (15.0, 60.0, 240.0, 960.0)
SWAYS_S = (40.0, 120.0, 360.0)
UNRELATED = (0.0, 0.02, 0.1, 0.4, 1.0)
"""The grid: how long a latency that wanders by chance goes one way, or one that sways
smoothly; and which part of the scatter does neither."""


@dataclass(frozen=True, slots=True)
class CardRate:
    """What the card's rate was found to be.

    ``ppm`` is how much faster than nominal it counts, ``uncertainty_ppm`` one
    standard deviation, as far as arrivals tell: the clock's own error is not in it.
    ``heard_s`` is how long the window is. With a ``fault``, one line, the figures are
    those of no crystal and must not be applied.
    """

    ppm: float
    uncertainty_ppm: float
    heard_s: float
    fault: str | None = None


class _Spans(NamedTuple):
    """The earliest arrivals: which stretch each belongs to, when, how late, what they hide."""

    stretch: Ints
    at_s: Floats
    late_s: Floats
    hidden_s: Floats

    def pick(self, which: NDArray[np.bool_]) -> _Spans:
        return _Spans(
            self.stretch[which], self.at_s[which], self.late_s[which], self.hidden_s[which]
        )


class _Span(NamedTuple):
    """One span: its stretch, the arrivals that may be its earliest, and what they hide."""

    stretch: int
    hull: Floats
    hidden_s: float

    def earliest(self, slope: float) -> tuple[float, float, float, float]:
        """Stretch, time, lateness and what is hidden, earliest where the card gains `slope`."""
        at_s, late_s = self.hull
        first = int((late_s - slope * at_s).argmin())
        return self.stretch, float(at_s[first]), float(late_s[first]), self.hidden_s


Arrivals = tuple[_Span, ...]


class CardRateMeter:
    """Estimates the true rate of a card that says it runs at `rate_hz`.

    Not safe to be used by two threads at once. Raises SignalError for an impossible rate.
    """

    def __init__(self, rate_hz: float, span_s: float = SPAN_S) -> None:
        if not (np.isfinite(rate_hz) and rate_hz > 0):
            raise SignalError(f"a rate of {rate_hz} Hz: take a positive number")
        self._rate_hz = rate_hz
        self._span_s = span_s
        self.begin_anew()

    def begin_anew(self) -> None:
        """Forget everything heard: the clock it was held against was wrong."""
        self._kept: deque[_Span] = deque()
        self._start: tuple[int, float] | None = None
        self._stretch = 0
        self._settled_s = SETTLING_S
        self._span: list[tuple[float, float]] = []

    def hear(self, stop_frame: int, arrived_s: float, *, unbroken: bool = True) -> None:
        """A block that ends before frame `stop_frame` had arrived at `arrived_s`.

        `arrived_s` is in seconds of the clock to be held against. `unbroken` is
        whether its first frame follows the block before.
        """
        if not math.isfinite(arrived_s):
            return
        if self._start is None:
            self._start = (stop_frame, arrived_s)
        first_frame, began_s = self._start
        at_s = (stop_frame - first_frame) / self._rate_hz
        late_s = arrived_s - began_s - at_s
        if not unbroken:
            self._stretch += 1
            self._settled_s = at_s + SETTLING_S
            self._span = []  # a part of a span is not early enough to stand for one
        elif self._span and at_s - self._span[0][0] >= self._span_s:
            self._close_span()
        if at_s >= self._settled_s:
            self._span.append((at_s, late_s))
        while self._kept and at_s - self._kept[0].hull[0, 0] > WINDOW_S:
            self._kept.popleft()

    def _close_span(self) -> None:
        span = np.array(self._span).T
        self._kept.append(_Span(self._stretch, _lower_hull(span), _hidden_s(span[1])))
        self._span = []

    def arrivals(self) -> Arrivals:
        """What `card_rate` needs: a copy, taken in no time."""
        return tuple(self._kept)

    def estimate(self) -> CardRate | None:
        """The card's rate over the window; None while too little was heard."""
        return card_rate(self.arrivals())


def card_rate(arrivals: Arrivals) -> CardRate | None:
    """The card's rate, from what a meter kept; None while that is too little.

    Takes some hundredths of a second of one x86 core: not for the thread that hears.
    """
    if len(arrivals) < LEAST_SPANS:
        return None
    spans = _earliest(arrivals)
    heard_s = float(np.ptp(spans.at_s))
    spans, stepped_s = _parted_at_steps(spans)
    spans = _without_single_ones(_without_stray_ones(spans))
    if spans.at_s.size - np.unique(spans.stretch).size - 1 < LEAST_FREEDOM:
        return None
    slope, deviation = _line(spans)
    hidden_s = _usually_hidden_s(spans)
    # Once it has come round several times, only its last, unfinished part is hidden.
    hidden_s /= max(1.0, abs(slope) * heard_s / max(hidden_s, CLOCK_STEP_S))
    # What jumped may be the card's doing or not: limits of a rectangular distribution
    # (JCGM 100:2008, 4.3.7). What arrivals hide is taken whole: a valley is not all of it.
    unknown = (hidden_s + stepped_s / np.sqrt(3.0)) / heard_s
    # A card that counts faster by d needs 1 / (1 + d) of the time for a frame.
    ppm = -1e6 * slope / (1.0 + slope)
    uncertainty = 1e6 * float(np.hypot(deviation, unknown))
    return CardRate(ppm, uncertainty, heard_s, _fault(ppm, uncertainty))


def _earliest(arrivals: Arrivals) -> _Spans:
    # Which arrival was a span's earliest depends a little on the slope that is sought.
    slope = 0.0
    for _ in range(3):
        columns = np.array([span.earliest(slope) for span in arrivals]).T
        spans = _Spans(columns[0].astype(np.int64), *columns[1:])
        slope = _rough_slope(spans)
    return spans


def _lower_hull(points: Floats) -> Floats:
    """The corners of the lower convex hull: the earliest arrival for every slope is one.

    `points` has times and latenesses, shape (2, n), in order of time. A corner lies below the
    chord between any two points on either side of it: what does not is left out, until all do.
    """
    while True:
        run_s, rise_s = np.diff(points)
        whole_run_s, whole_rise_s = points[:, 2:] - points[:, :-2]
        below = np.ones(points.shape[1], np.bool_)
        below[1:-1] = rise_s[:-1] * whole_run_s < whole_rise_s * run_s[:-1]
        if below.all():
            return points
        points = points[:, below]


def _hidden_s(late_s: Floats) -> float:
    """How far the card may run on unseen, in seconds: 0 where lateness is of every size.

    Woken by a timer, a sound server passes on what is there: the same few latenesses
    again and again, whatever the card does, until a block just misses a waking. Then
    the smallest jumps by the distance to the next. That is a valley in the latenesses'
    density: so many in turn lie far apart there, and close together on either side.
    """
    early = np.sort(late_s)[: late_s.size * 3 // 4]
    turn = early.size // VALLEY_PART
    if turn < 2:
        return 0.0
    apart = early[turn:] - early[:-turn]
    below = np.minimum.accumulate(apart)
    above = np.minimum.accumulate(apart[::-1])[::-1]
    valleys = apart > VALLEY_DEPTH * np.maximum(below, above)
    return float(apart[valleys].max(initial=0.0))


def _usually_hidden_s(spans: _Spans) -> float:
    # Blurred by lateness, a valley is not seen in every span.
    return float(np.quantile(spans.hidden_s, 0.75))


def _fault(ppm: float, uncertainty_ppm: float) -> str | None:
    if abs(ppm) - 3.0 * uncertainty_ppm <= MAX_PPM:
        return None
    way = "slow" if ppm < 0 else "fast"
    return (
        f"the card seems {abs(ppm):.0f} ppm {way}, and no crystal is off by {MAX_PPM:g}:"
        " frames get lost unnoticed, or the device runs at another rate"
    )


def _rough_slope(spans: _Spans) -> float:
    """The median slope over a quarter of the window: neither jumps nor late spans move it much."""
    for apart in (len(spans.at_s) // 4, 1):
        within = spans.stretch[apart:] == spans.stretch[:-apart]
        if within.any():
            rises = spans.late_s[apart:] - spans.late_s[:-apart]
            return float(np.median((rises / (spans.at_s[apart:] - spans.at_s[:-apart]))[within]))
    return 0.0


def _stretches(spans: _Spans) -> Iterator[slice]:
    """Where each stretch lies; stretches come one after another."""
    edges = np.flatnonzero(np.diff(spans.stretch)) + 1
    starts = [0, *plain(edges)]
    yield from (
        slice(first, stop)
        for first, stop in zip(starts, [*starts[1:], len(spans.at_s)], strict=True)
    )


def _parted_at_steps(spans: _Spans) -> tuple[_Spans, float]:
    """The same with stretches parted where the latency jumped, and the jumps' sum in seconds."""
    level = spans.late_s - _rough_slope(spans) * spans.at_s
    within = np.diff(spans.stretch) == 0
    scale = 1.4826 * np.median(np.abs(np.diff(level)[within])) if within.any() else 0.0
    limit_s = max(STEP_S, STEP_SIGMAS * float(scale), 1.5 * _usually_hidden_s(spans))
    begins = np.zeros(level.size, dtype=np.int64)
    stepped_s = 0.0
    for part in _stretches(spans):
        for place, step_s in _steps(level[part], limit_s):
            begins[part.start + place] = 1
            stepped_s += step_s
    stretch = spans.stretch * level.size + np.cumsum(begins)
    return spans._replace(stretch=stretch), abs(stepped_s)


def _steps(level: Floats, limit_s: float) -> Iterator[tuple[int, float]]:
    """Where `level` jumps by more than the limit and stays: the first index after, and how far."""
    if level.size < 2 * STEP_SIDE:
        return
    medians = np.median(np.lib.stride_tricks.sliding_window_view(level, STEP_SIDE), axis=1)
    jump = medians[STEP_SIDE:] - medians[:-STEP_SIDE]
    while np.abs(jump).max() > limit_s:
        place = int(np.abs(jump).argmax())
        # Medians of three jump one index early or late as well: the values tell which.
        near = np.arange(place, min(place + STEP_SIDE, jump.size)) + STEP_SIDE - 1
        yield int(near[np.abs(level[near] - level[near - 1]).argmax()]), float(jump[place])
        jump[max(0, place - STEP_SIDE) : place + STEP_SIDE + 1] = 0.0


def _without_stray_ones(spans: _Spans) -> _Spans:
    """Without spans in which every block was late, as when the machine was busy."""
    level = spans.late_s - _rough_slope(spans) * spans.at_s
    for part in _stretches(spans):
        level[part] -= np.median(level[part])
    early = -level[level < 0.0]  # lateness has no part in these
    scale = 1.4826 * float(np.median(early)) if early.size else 0.0
    return spans.pick(np.abs(level) <= max(STRAY_S, STRAY_SIGMAS * scale))


def _without_single_ones(spans: _Spans) -> _Spans:
    """Without stretches of one span: they tell no slope."""
    _, which, count = np.unique(spans.stretch, return_inverse=True, return_counts=True)
    return spans.pick(count[which] > 1)


def _line(spans: _Spans) -> tuple[float, float]:
    """Slope of lateness over time with its standard deviation, over the grid's fits."""
    names, which = np.unique(spans.stretch, return_inverse=True)
    offsets = (which[:, None] == np.arange(names.size)).astype(float)
    columns = np.column_stack([offsets, spans.at_s - spans.at_s.mean(), spans.late_s])
    related = which[:, None] == which
    lag_s = np.abs(spans.at_s[:, None] - spans.at_s)
    shapes = [np.exp(-lag_s / each) for each in WANDERS_S]
    # Matern's covariance of order 3/2: as smooth as its slope is continuous
    # (Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006, eq. 4.17).
    lags = [np.sqrt(3.0) * lag_s / each for each in SWAYS_S]
    shapes += [(1.0 + each) * np.exp(-each) for each in lags]
    fits = []
    for shape in shapes:
        values, vectors = np.linalg.eigh(np.where(related, shape, 0.0))
        turned = vectors.T @ columns
        fits += [_fit(turned, (1.0 - u) * values + u) for u in UNRELATED]
    slopes, variances, likelihoods = np.array(fits).T
    weights = np.exp(likelihoods - likelihoods.max())
    weights /= weights.sum()
    slope = float(weights @ slopes)
    return slope, float(np.sqrt(weights @ (variances + (slopes - slope) ** 2)))


def _fit(turned: Floats, variances: Floats) -> tuple[float, float, float]:
    """Slope, its variance and the logarithm of the restricted likelihood.

    `turned` has the offsets' columns, then time, then lateness, turned so that the noise
    of its rows is independent, with `variances` but for one common factor.
    """
    white = turned / np.sqrt(np.maximum(variances, 1e-6))[:, None]
    q, r = np.linalg.qr(white[:, :-1])
    late = white[:, -1]
    along = q.T @ late
    freedom = late.size - r.shape[0]
    rest = float(np.sum((late - q @ along) ** 2)) + late.size * CLOCK_STEP_S**2
    diagonal = np.abs(np.diag(r))
    log_likelihood = (
        -0.5 * float(np.sum(np.log(np.maximum(variances, 1e-6))))
        - float(np.sum(np.log(diagonal)))
        - 0.5 * freedom * np.log(rest)
    )
    # The variance is estimated too: Student's t has freedom / (freedom - 2) of its variance.
    variance = rest / (freedom - 2) / diagonal[-1] ** 2
    return float(along[-1] / r[-1, -1]), variance, log_likelihood
