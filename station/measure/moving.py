"""The pitch now, of a note whose pitch is moving.

A reading listens back for a tenth of a second and more; what it says holds for
the middle of that. While a peg is turned, the pitch goes in a straight line:
then it is drawn on to the present. Where it moves otherwise, as after a pluck,
the reading is less sure by what it may have moved since; a vibrato reads its
centre, and until that is known it is unsure by half of how far it swings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import islice

import numpy as np

from station.measure.fit import CENTS, Fit, apart_cents, width_cents

LEAST_READINGS = 4  # a line, and what lies beside it
LINE_READINGS = 6  # a shorter piece of any curve looks straight
MOST_READINGS = 15  # 0.3 s: one sway of 4 Hz and a little
# A line through a whole sway is not much longer than what lies beside it, one through half of it
# is: what goes as steeply as only a quick hand turns a peg must go on for as long as a sway of
# 4 Hz lasts, the slowest vibrato there usually is (common practice, no source).
STEEP_CENTS = 1.2  # from reading to reading, 60 cents a second
STEEP_READINGS = 13
STRAIGHT = 4.0  # a line is so many times longer than what lies beside it
CLEAR_SIGMAS = 3.0
SWAY_READINGS = 40  # 0.8 s
LEAST_SWAY_CENTS = 1.0
LEAST_SWING_CENTS = 2 * math.sqrt(2) * LEAST_SWAY_CENTS  # crest to trough of the least sway
SWUNG_SHARE = 0.5  # of its width: so far to either side of its centre a sway goes
CROSSINGS = 5  # of the centre, by two and a half sways
SWAY_SHARE = 0.5  # of its spread: so far to either side a sway goes
CENTRE_SHARE = 0.03  # of a sway's spread: how far off its centre may be
ON_ITS_WAY_CENTS = 0.2  # in half a reading: 3 cents a second on most strings
TURNED_SHARE = 0.2  # how far off the line's continuation may be
# Bass strings glide by 5 to 10 cents in their first third of a second (common practice, no
# source); a tenth of a second of that, until the readings themselves tell.
UNKNOWN_CENTS = 0.5
NEW_SIGMAS = 6.0  # of a few readings, which share most of their noise, more is asked


def pitch_now(track: Sequence[tuple[int, Fit]], length: int) -> Fit:
    """The newest fit of `track`, brought from the middle of its `length` samples to their end.

    `track`: the sample each fit ends at, and the fit, the newest last.
    """
    newest = track[-1][1]
    if len(track) < LEAST_READINGS:
        return less_sure(newest, UNKNOWN_CENTS)
    within = _within(track, length)
    if len(within) < LEAST_READINGS:
        return less_sure(newest, UNKNOWN_CENTS)
    moved_cents = width_cents([fit.hz for _, fit in within])
    if moved_cents < CLEAR_SIGMAS * newest.uncertainty_cents:
        return newest
    late = _since_newest(within)
    swaying = _centre_of_sway(track) if moved_cents > LEAST_SWAY_CENTS else None
    if swaying is not None:
        return swaying
    swings_cents = swing_cents(track)
    if swings_cents > 0.0:
        return less_sure(newest, SWUNG_SHARE * swings_cents)
    slope, straight = _course(late, newest.uncertainty_cents)
    if straight and abs(slope) * -late[-1][0] > STEEP_CENTS * (len(late) - 1):
        longer = _since_newest(list(islice(reversed(track), STEEP_READINGS)))
        straight = len(longer) == STEEP_READINGS and _goes(longer, newest.uncertainty_cents)[1]
    since = slope * length / 2
    newest = newest._replace(moving=abs(since) > ON_ITS_WAY_CENTS)
    if straight:
        drawn_on = newest._replace(hz=newest.hz * math.exp(since / CENTS))
        return less_sure(drawn_on, TURNED_SHARE * since)
    if abs(since) > CLEAR_SIGMAS * newest.uncertainty_cents:
        return less_sure(newest, since)
    return newest


def _within(track: Sequence[tuple[int, Fit]], length: int) -> list[tuple[int, Fit]]:
    """The last MOST_READINGS, newest first, as far as `length` samples back."""
    first = track[-1][0] - length
    return [each for each in islice(reversed(track), MOST_READINGS) if each[0] >= first]


def _is_clear(fit: Fit) -> bool:
    """Whether it shows a swing: under drums a reading may be vague."""
    return CLEAR_SIGMAS * fit.uncertainty_cents <= LEAST_SWING_CENTS


def swing_cents(track: Sequence[tuple[int, Fit]]) -> float:
    """How widely the pitch has begun to swing; 0 if it does not go one way and come clearly back.

    What has swung for so long that its centre would be known is no vibrato: 0, too.
    """
    late = list(islice(reversed(track), SWAY_READINGS))
    if len(late) == SWAY_READINGS and _back_and_forth(late[-MOST_READINGS:]) > 0.0:
        return 0.0
    return _back_and_forth(late[:MOST_READINGS])


def _back_and_forth(readings: list[tuple[int, Fit]]) -> float:
    """How far the highest is from the lowest; 0 unless they go one way and come clearly back."""
    hz = [fit.hz for _, fit in readings if _is_clear(fit)]
    if width_cents(hz) <= LEAST_SWING_CENTS:
        return 0.0
    for turn in (max(hz), min(hz)):
        place = hz.index(turn)
        came, left = (_farthest(turn, side) for side in (hz[place + 1 :], hz[:place]))
        if min(came, left) > LEAST_SWING_CENTS:
            return width_cents(hz)
    return 0.0


def _farthest(turn: float, hz: list[float]) -> float:
    return max((apart_cents(each, turn) for each in hz), default=0.0)


def _since_newest(readings: list[tuple[int, Fit]]) -> list[tuple[int, float]]:
    """When and how high `readings` are from the first of them, the newest: samples and cents."""
    newest_at, newest = readings[0]
    return [(end - newest_at, CENTS * math.log(fit.hz / newest.hz)) for end, fit in readings]


def _course(late: list[tuple[int, float]], unsure_cents: float) -> tuple[float, bool]:
    """The slope of `late`, newest first, in cents a sample, and whether they go in a line.

    A turn of the peg that has just begun is a line in the newest of them alone.
    """
    slope, straight = _goes(late, CLEAR_SIGMAS * unsure_cents)
    if straight:
        return slope, True
    newest_slope, straight = _goes(late[:LINE_READINGS], NEW_SIGMAS * unsure_cents)
    return (newest_slope, True) if straight else (slope, False)


def _goes(points: list[tuple[int, float]], least_cents: float) -> tuple[float, bool]:
    """The slope of `points`, in cents a sample, and whether they are a line of `least_cents`."""
    slope, beside = _line(points)
    whole = abs(slope) * (points[0][0] - points[-1][0])
    straight = whole > STRAIGHT * beside + least_cents
    return slope, straight and len(points) >= LINE_READINGS


def _centre_of_sway(track: Sequence[tuple[int, Fit]]) -> Fit | None:
    """The middle of a vibrato that has gone on for four sways or so; None where it is none."""
    if len(track) < SWAY_READINGS:
        return None
    newest = track[-1][1]
    late = [fit.hz for _, fit in islice(reversed(track), SWAY_READINGS)]
    cents = CENTS * np.log(np.array(late) / newest.hz)
    # Weighted towards the middle, so that a sway cut off at either end does not count.
    centre = float(cents @ _TAPER)
    spread = float(cents.std())
    # A pitch that held still and then goes crosses its centre by noise alone: that is no sway.
    aside = (cents - centre)[np.abs(cents - centre) > SWAY_SHARE * spread]
    crossings = np.count_nonzero(np.diff(aside > 0))
    if spread < max(LEAST_SWAY_CENTS, 3 * newest.uncertainty_cents) or crossings < CROSSINGS:
        return None
    return newest._replace(
        hz=newest.hz * math.exp(centre / CENTS),
        uncertainty_cents=math.hypot(newest.uncertainty_cents, CENTRE_SHARE * spread),
        swaying=True,
    )


_TAPER = np.hanning(SWAY_READINGS + 2)[1:-1]
_TAPER = _TAPER / _TAPER.sum()


def less_sure(fit: Fit, by_cents: float) -> Fit:
    """`fit`, unsure by so much more, as standard deviations add."""
    return fit._replace(uncertainty_cents=math.hypot(fit.uncertainty_cents, by_cents))


def _line(points: list[tuple[int, float]]) -> tuple[float, float]:
    """Slope of the least-squares line, in cents a sample, and the rms of what lies beside it."""
    count = len(points)
    mean_x = sum(x for x, _ in points) / count
    mean_y = sum(y for _, y in points) / count
    square = sum((x - mean_x) ** 2 for x, _ in points)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / square
    left = sum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in points)
    return slope, math.sqrt(left / count)
