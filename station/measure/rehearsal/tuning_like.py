"""Is a note one of a song or one of somebody tuning? From the note and its neighbours.

Who tunes plucks one open string, lets it ring, turns its peg and plucks it again. The weights are
logarithms of odds, set by judgement on what tells the two apart and checked on generated
rehearsals; no source.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from station.measure.rehearsal.played import Struck

LONG_S, SHORT_S = 0.8, 0.55
SOON_S, LATE_S = 0.6, 0.9
NEAR_CENTS = 70.0
SAME_CENTS = 130.0
NEIGHBOURS_S = 4.0
NEIGHBOURS_MOST = 16  # either side: of a fast run the nearest tell all there is
NEIGHBOUR_WEIGHT, NEIGHBOUR_FADE_S = 0.7, 2.0
REST_COUNTS = 3.0  # a second of silence sets two notes so many apart: people change over in rests
TOGETHER_S = 0.06
TOGETHER = -1.5  # for each other line struck with it: those who tune do not keep time
PRIOR = -0.3
HARMONICS = (12.0, 19.02, 24.0)  # semitones: at the 12th, 7th and 5th fret


def _semitones(hz: float) -> float:
    return 12.0 * math.log2(hz)


@lru_cache(maxsize=1024)  # every note of the last half minute is asked for once a second
def _openness(hz: float, opens_hz: tuple[float, ...]) -> float:
    if not opens_hz:
        return 0.0
    up = [_semitones(hz / each) for each in opens_hz]
    if min(abs(each) for each in up) * 100.0 <= NEAR_CENTS:
        return 0.8
    harmonic = min(abs(each - h) for each in up for h in HARMONICS) * 100.0 <= NEAR_CENTS
    return 0.0 if harmonic else -1.2


def note_odds(
    struck: Struck, before: Struck | None, after: Struck | None, opens_hz: Sequence[float]
) -> float:
    """Logarithm of the odds that the note is of somebody tuning; `opens_hz` may be empty."""
    odds = _openness(struck.hz, tuple(opens_hz))
    length_s = struck.last_s - struck.onset_s
    next_s = after.onset_s - struck.onset_s if after is not None else math.inf
    if length_s >= LONG_S:
        odds += 0.8
    elif length_s < SHORT_S and next_s < SOON_S:
        odds -= 1.5
    if next_s < SOON_S:
        odds -= 1.0
    elif next_s >= LATE_S and length_s >= SHORT_S:
        odds += 0.5
    if struck.turned:
        odds += 1.0
    if before is not None and abs(_semitones(struck.hz / before.hz)) * 100.0 < SAME_CENTS:
        odds += 0.5
    return odds


def tuning_shares(
    notes: Sequence[Struck], opens_hz: Sequence[float], others: Sequence[Sequence[float]] = ()
) -> list[float]:
    """For each note of one line, in order, the probability that its player was tuning then.

    Notes before and after, within NEIGHBOURS_S, bear on it, the nearer the more. `others` are the
    times, ascending, at which notes of each other line were struck.
    """
    odds = _odds(notes, opens_hz, others)
    if not odds:
        return []
    place, onset_s = np.arange(len(notes)), np.array([note.onset_s for note in notes])
    last_s = np.array([note.last_s for note in notes])
    rests_s = np.maximum(0.0, onset_s - np.concatenate((onset_s[:1], last_s[:-1])))
    distance_s = onset_s + REST_COUNTS * np.cumsum(rests_s)
    apart_s = np.abs(distance_s[:, None] - distance_s)
    weight = NEIGHBOUR_WEIGHT * np.exp(-apart_s / NEIGHBOUR_FADE_S)
    weight[(apart_s > NEIGHBOURS_S) | (np.abs(place[:, None] - place) > NEIGHBOURS_MOST)] = 0.0
    np.fill_diagonal(weight, 1.0)
    # Notes that belong together bear each other out, but not as independent witnesses do.
    whole = PRIOR + weight @ np.array(odds) / np.sqrt(weight.sum(axis=1))
    return [float(each) for each in 1.0 / (1.0 + np.exp(-np.clip(whole, -30.0, 30.0)))]


def tuning_share(
    notes: Sequence[Struck],
    place: int,
    opens_hz: Sequence[float],
    others: Sequence[Sequence[float]] = (),
) -> float:
    """The same of the note at one place alone; as good as free, however many notes there are."""
    first = max(0, place - NEIGHBOURS_MOST - 1)
    near = notes[first : place + NEIGHBOURS_MOST + 2]
    return tuning_shares(near, opens_hz, others)[place - first]


def _odds(
    notes: Sequence[Struck], opens_hz: Sequence[float], others: Sequence[Sequence[float]]
) -> list[float]:
    return [
        note_odds(
            note,
            notes[i - 1] if i else None,
            notes[i + 1] if i + 1 < len(notes) else None,
            opens_hz,
        )
        + TOGETHER * sum(_struck_near(times, note.onset_s) for times in others)
        for i, note in enumerate(notes)
    ]


def _struck_near(times: Sequence[float], at_s: float) -> bool:
    place = bisect_left(times, at_s - TOGETHER_S)
    return place < len(times) and times[place] <= at_s + TOGETHER_S
