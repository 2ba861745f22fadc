"""A pair heard: the beat of its lowest meeting partials, from all that tells of it.

The partials that meet are m p of the first string and m q of the second, m = 1, 2, 3 ...
They beat m times as fast as the lowest, but for what stiffness adds: with B1 and B2,
m beat + c (m^3 - m), c = (p f / 2) (p^2 B1 - q^2 B2), from k f sqrt(1 + B k^2) to first order.
Besides, each string's own partials tell where its meeting ones are (`alone.py`). All is
joined by weighted least squares; what disagrees with the lowest band is left out, for that is
the beat that is heard.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product
from typing import NamedTuple

import numpy as np

from station.measure.beats.alone import MOST_PARTIALS, Alone, alone
from station.measure.beats.bands import Look, Sound, envelopes, look
from station.measure.beats.meeting import Meeting, meeting
from station.measure.beats.poles import Floats
from station.measure.fit import CENTS, apart_cents
from station.music.pairs import StringPair

MOST_BANDS = 4
LEAST_S = 0.45  # of sound, for anything to be told
SEARCH_CENTS, SEARCH_HZ = 90.0, 8.0
UPPER_HZ, UPPER_SHARE = 8.0, 0.006  # a stiff pair's upper meetings stand higher by so much
CENTRE_HZ = 16.0  # the fastest beat
NEIGHBOUR_SHARE = 0.45  # of the distance to the next partial
LEAST_OVER_NOISE = 12.0
LEAST_SHARE = 1e-5  # of the loudest partial's power
WINDOW_TURNS, SHORTEST_WINDOW_S, LONGEST_WINDOW_S = 4.0, 0.06, 0.13
CLEAR = 8.0  # which line is which: twice the log-likelihood of the better over the worse
DISAGREE = 3.5  # standard deviations
USUAL_STIFFNESS = 1e-4
HELD_CENTS = 2.0  # how near its place a string is that is said to be in
LINE_CENTS = 0.02  # how well one line of two is known at best
PLAIN_TURNS, PLAIN_HZ = 1.5, 3e-3
NEAR_CENTS = 10.0
STRAY_CENTS = 0.5  # lines farther from where either string's own partials put them are not theirs
STILL_CENTS, STILL_HZ = 0.01, 1.5e-3  # no string keeps its pitch better
HEARD_TURNS = 1.0
WANDERS_CENTS = 0.4
SURE_TIMES = 2.0
BOUND_TIMES = 2.0


Own = tuple[Alone | None, Alone | None]


class Band(NamedTuple):
    """Meeting number `m` (1 for the lowest) and its lines beside the carrier `centre_hz`."""

    m: int
    centre_hz: float
    found: Meeting


class Heard(NamedTuple):
    """A pair heard; times in seconds after the beginning of the sound.

    As `BeatReading`; `missing` is the side (0 or 1) that is not heard though its own partials
    would show; `phase_turns` is the beat's at `phase_at_s`.
    """

    beat_hz: float
    sd_hz: float
    resolved: bool
    bound_hz: float | None
    signed_hz: float | None
    line_hz: tuple[float, float]
    own: Own
    depth: float
    phase_turns: float | None
    phase_at_s: float
    bands: int
    missing: int | None = None


def hear_pair(
    x: Sound,
    rate_hz: float,
    pair: StringPair,
    a4_hz: float,
    top_hz: float,
    hold: int | None = None,
    most_bands: int = MOST_BANDS,
    own: Own | None = None,
) -> Heard | None:
    """The pair in the sound `x`, shape (n,), from when both ring; None where nothing is told.

    `top_hz`: how high the sound may be trusted. `hold`: the side that is said to be in its place.
    `most_bands`: how many meetings may be listened to. `own`: what was heard of each string by
    itself a moment ago, so as not to listen again.
    """
    if x.size < LEAST_S * rate_hz:
        return None
    seen = look(x, rate_hz)
    targets = pair.first.target_hz(a4_hz), pair.second.target_hz(a4_hz)
    if own is None:
        own = _each_alone(x, rate_hz, seen, targets, top_hz)
    window_s = min(max(WINDOW_TURNS / min(targets), SHORTEST_WINDOW_S), LONGEST_WINDOW_S)
    centres = _centres(seen, pair, targets, own, top_hz)[:most_bands]
    if not centres:
        return None
    bands = _bands(x, rate_hz, centres, window_s)
    if not bands:
        return None
    known = _known(own, targets, hold)
    heard = _joined(bands, pair, known, own)
    return _in_time(heard, bands, window_s, x.size / rate_hz)


def _bands(
    x: Sound, rate_hz: float, centres: Sequence[tuple[int, float]], window_s: float
) -> list[Band]:
    """The meetings, from the lowest; where that is sure, the others have nothing to add."""
    placed: Floats = np.array([hz for _, hz in centres])
    bands: list[Band] = []
    for (m, hz), band in zip(centres, envelopes(x, rate_hz, placed, window_s), strict=True):
        found = meeting(band)
        if found is None:
            continue
        bands.append(Band(m, hz, found))
        if m == 1 and found.resolved and found.turns > PLAIN_TURNS and found.sd_hz < PLAIN_HZ:
            break
    return bands


def _each_alone(
    x: Sound, rate_hz: float, seen: Look, targets: tuple[float, float], top_hz: float
) -> Own:
    numbers = np.arange(1, 2 * MOST_PARTIALS + 1)

    def find(side: int, other_hz: float) -> Alone | None:
        return alone(x, rate_hz, seen, targets[side], numbers * other_hz, top_hz)

    # Once one is known, its partials stand where they stand, not where they should.
    first = find(0, targets[1])
    second = find(1, targets[0] if first is None else first.hz)
    if second is not None and apart_cents(second.hz, targets[1]) > NEAR_CENTS:
        first = find(0, second.hz)
    return first, second


def _centres(
    seen: Look,
    pair: StringPair,
    targets: tuple[float, float],
    own: Own,
    top_hz: float,
) -> list[tuple[int, float]]:
    """Where the meetings are looked for: their numbers, and the middle of what is there."""
    p, q = pair.partials
    meant = 0.5 * (p * targets[0] + q * targets[1])
    within = min(meant * SEARCH_CENTS / CENTS + SEARCH_HZ, NEIGHBOUR_SHARE * min(targets))
    wide = min(CENTRE_HZ, NEIGHBOUR_SHARE * min(targets))
    loudest = float(seen.power.max())
    lowest = meant
    found: list[tuple[int, float]] = []
    for m in range(1, MOST_BANDS + 1):
        placed = [s.partial(m * k)[0] for s, k in zip(own, (p, q), strict=True) if s is not None]
        at = sum(placed) / len(placed) if placed else m * lowest
        if at + wide > top_hz:
            break
        reach = wide if placed else within if m == 1 else min(UPPER_HZ + UPPER_SHARE * at, wide)
        hz, power, over = seen.peak(at, reach)
        if over < LEAST_OVER_NOISE or power < LEAST_SHARE * loudest:
            if m == 1 and not placed:
                return []
            continue
        centre = at if len(placed) == 2 else seen.centre(hz, wide)
        if m == 1:
            lowest = centre
        found.append((m, centre))
    return found


def _known(own: Own, targets: tuple[float, float], hold: int | None) -> Own:
    """What is known of each string: heard by itself, or said to be in its place."""
    sides = list(own)
    if hold is not None and sides[hold] is None:
        sides[hold] = Alone(targets[hold], 0.0, HELD_CENTS, USUAL_STIFFNESS, 0)
    return sides[0], sides[1]


def _sign(band: Band, p: int, q: int, known: Own) -> int | None:
    """+1 if the first string's line is the upper one, -1 if the lower; None if it may be either."""
    if not band.found.resolved:
        return None
    middle, half = band.centre_hz + band.found.middle_hz, band.found.split_hz / 2
    sd = math.hypot(band.found.sd_hz, middle * LINE_CENTS / CENTS)
    costs = {1: 0.0, -1: 0.0}
    for string, k, side in zip(known, (p, q), (1, -1), strict=True):
        if string is None:
            continue
        at, at_sd = string.partial(k * band.m)
        for sign in costs:
            costs[sign] += ((middle + sign * side * half - at) / math.hypot(sd, at_sd)) ** 2
    if abs(costs[1] - costs[-1]) < CLEAR:
        return None
    return 1 if costs[1] < costs[-1] else -1


def _is_theirs(band: Band, p: int, q: int, own: tuple[Alone, Alone]) -> bool:
    """Whether a band's lines stand where both strings' own partials put them.

    A vibrato puts lines at both sides of each partial, which are nobody's.
    """
    if any(string.sways for string in own):
        return False
    places = [string.partial(k * band.m) for string, k in zip(own, (p, q), strict=True)]
    if not band.found.resolved:
        apart, sd = abs(places[0][0] - places[1][0]), math.hypot(places[0][1], places[1][1])
        return apart < band.found.bound_hz + DISAGREE * sd
    middle, half = band.centre_hz + band.found.middle_hz, band.found.split_hz / 2
    stray = middle * STRAY_CENTS / CENTS + DISAGREE * max(sd for _, sd in places)
    lines = (middle + half, middle - half)
    return any(
        all(abs(line - at) < stray for line, (at, _) in zip(order, places, strict=True))
        for order in (lines, lines[::-1])
    )


class _Term(NamedTuple):
    """One word on the lowest beat: m beat + c (m^3 - m) = value, with its standard deviation."""

    m: int
    value: float
    sd: float
    stays: bool = False


def _joined(
    bands: Sequence[Band],
    pair: StringPair,
    known: Own,
    own: Own,
) -> Heard:
    p, q = pair.partials
    lowest = bands[0]
    first, second = own
    foretold = None
    if first is not None and second is not None:
        (one, one_sd), (other, other_sd) = first.partial(p), second.partial(q)
        foretold = _Term(1, one - other, math.hypot(one_sd, other_sd))
        bands = [band for band in bands if _is_theirs(band, p, q, (first, second))]
    curve = _stiffness_term(pair, own, lowest)
    signs = [_sign(band, p, q, known) for band in bands]
    signed = foretold is not None or any(sign is not None for sign in signs)
    beat, sd = _beat(bands, signs, foretold, curve)
    if foretold is not None and abs(beat - foretold.value) > DISAGREE * foretold.sd:
        sd = max(sd, abs(beat - foretold.value) / 2)  # one of the two is wrong
    if foretold is not None and any(s is not None and s.cents_sd > WANDERS_CENTS for s in own):
        sd = max(sd, foretold.sd / 2)  # no meeting partial keeps stiller than the others do
    sd = math.hypot(sd, STILL_CENTS / CENTS * lowest.centre_hz / lowest.m, STILL_HZ)
    resolved = abs(beat) > SURE_TIMES * sd
    middle = (lowest.centre_hz + lowest.found.middle_hz) / lowest.m
    half = abs(beat) / 2 if resolved else 0.0
    missing = None
    if (first is None) != (second is None) and not any(b.found.resolved for b in bands):
        missing = _missing(first, pair)
    told_by_one = resolved and lowest in bands and lowest.m == 1 and lowest.found.resolved
    return Heard(
        abs(beat),
        sd,
        resolved,
        None if resolved else abs(beat) + BOUND_TIMES * sd,
        beat if signed else None,
        (middle - half, middle + half),
        own,
        lowest.found.depth if told_by_one else 0.0,
        0.0 if told_by_one else None,
        0.0,
        sum(band.found.resolved for band in bands),
        missing,
    )


def _missing(first: Alone | None, pair: StringPair) -> int | None:
    """The side that is not heard; None where its own partials could not show."""
    side, k = (1, pair.partials[1]) if first is not None else (0, pair.partials[0])
    return side if k > 1 and pair.way == "open" else None


def _stiffness_term(pair: StringPair, own: Own, band: Band) -> tuple[float, float]:
    """c of the upper meetings and its standard deviation, from B where it is known."""
    half = band.centre_hz / band.m / 2
    value = variance = 0.0
    for string, k, side in zip(own, pair.partials, (1, -1), strict=True):
        b, sd = (USUAL_STIFFNESS, USUAL_STIFFNESS) if string is None else string[1:4:2]
        value += side * half * k * k * b
        variance += (half * k * k * sd) ** 2
    return value, math.sqrt(variance)


def _beat(
    bands: Sequence[Band],
    signs: Sequence[int | None],
    foretold: _Term | None,
    curve: tuple[float, float],
) -> tuple[float, float]:
    """The lowest beat, signed as far as `signs` say, and its standard deviation."""
    open_signs = [
        1 if s is None and b.found.resolved else 0 for s, b in zip(signs, bands, strict=True)
    ]
    choices = [
        (1, -1) if is_open else ((s or 1),) for is_open, s in zip(open_signs, signs, strict=True)
    ]
    # The likeliest of an unresolved beat is worth having where no sign could contradict it.
    guessed = foretold is None and all(s is None for s in signs)
    if guessed:
        choices[0] = (1,)  # no sign at all: the lowest counts as positive
    best: tuple[float, float, float] | None = None
    for chosen in product(*choices):
        terms = [
            _Term(
                b.m,
                sign * b.found.split_hz if b.found.resolved or guessed else 0.0,
                _sd_of(b),
                b.m == 1 and b.found.turns > HEARD_TURNS,
            )
            for b, sign in zip(bands, chosen, strict=True)
        ]
        if foretold is not None:
            terms.append(foretold)
        solved = _solve(terms, curve)
        if best is None or solved[2] < best[2]:
            best = solved
    return (best[0], best[1]) if best is not None else (0.0, math.inf)


def _sd_of(band: Band) -> float:
    """One standard deviation of a band's split; of an unresolved one half its bound."""
    if not band.found.resolved:
        return max(band.found.bound_hz / 2, 1e-3)
    return math.hypot(band.found.sd_hz, band.m * 1e-4)


def _solve(terms: Sequence[_Term], curve: tuple[float, float]) -> tuple[float, float, float]:
    """The beat, its standard deviation and the squares left; terms that disagree leave."""
    kept = list(terms)
    shed = 0.0
    while True:
        rows = np.array([[t.m / t.sd, (t.m**3 - t.m) / t.sd] for t in kept] + [[0, 1 / curve[1]]])
        values = np.array([t.value / t.sd for t in kept] + [curve[0] / curve[1]])
        found = np.linalg.lstsq(rows, values, rcond=None)[0]
        off = np.abs(rows @ found - values)[: len(kept)]
        worst = int(off.argmax())
        if len(kept) <= 1 or off[worst] <= DISAGREE:
            break
        # The lowest band stays if its beat was heard to go round: it is the one that is meant.
        ranked = [int(i) for i in np.argsort(-off) if not kept[i].stays]
        if not ranked:
            break
        shed += DISAGREE**2
        del kept[ranked[0]]
    squares = float(np.square(rows @ found - values).sum())
    spread = math.sqrt(max(1.0, squares / max(1, len(kept))))
    covariance = np.linalg.inv(rows.T @ rows + 1e-12 * np.eye(2))
    return float(found[0]), spread * math.sqrt(float(covariance[0, 0])), squares + shed


def _in_time(heard: Heard, bands: Sequence[Band], window_s: float, length_s: float) -> Heard:
    """With the phase of the beat at the end of the sound."""
    if heard.phase_turns is None:
        return heard
    up, down = bands[0].found.levels
    turns = (np.angle(up) - np.angle(down)) / (2 * math.pi)
    turns += bands[0].found.split_hz * (length_s - window_s / 2)
    return heard._replace(phase_turns=float(turns % 1.0), phase_at_s=length_s)
