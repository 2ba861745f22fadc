"""Two lines that beat where nobody said which strings sound; and which pair it may be."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from station.measure.beats.bands import Look, Sound, envelopes, look
from station.measure.beats.joining import LEAST_S, Heard
from station.measure.beats.meeting import meeting
from station.measure.beats.poles import Floats
from station.measure.fit import CENTS
from station.music.pairs import Side, StringPair

LOWEST_HZ = 30.0
LOUDEST_PEAKS = 6
PEAK_APART_HZ = 20.0
WINDOW_S = 0.1
LEAST_OVER_NOISE = 30.0
RANGE_DB = 45.0
SAME_CENTS = 60.0
LINES_A_SIDE = 6
EXPECTED = 3  # the lowest lines of a string that sounds are there
MISSING_DB = 30.0
ALIKE = 0.97  # a pair that explains so much of what the best one does may as well be it


class Peak(NamedTuple):
    """A line of a spectrum: where, and how many dB it stands above what counts."""

    hz: float
    level_db: float


def peaks_of(seen: Look, top_hz: float, apart_hz: float) -> list[Peak]:
    """The lines of a spectrum, the loudest first, none nearer to a louder one than `apart_hz`."""
    first, last = int(LOWEST_HZ / seen.bin_hz), int(top_hz / seen.bin_hz)
    power: Floats = seen.power[first:last]
    if power.size < 3:
        return []
    inner = power[1:-1]
    at = np.flatnonzero((inner > power[:-2]) & (inner >= power[2:])) + 1
    floor = seen.floor[first:last][at]
    least = power.max() * 10 ** (-RANGE_DB / 10)
    at = at[(power[at] > LEAST_OVER_NOISE * floor) & (power[at] > least)]
    found: list[Peak] = []
    for bin_at in at[np.argsort(-power[at])]:
        hz = (first + int(bin_at)) * seen.bin_hz
        if all(abs(hz - other.hz) > apart_hz for other in found):
            found.append(Peak(hz, 10 * math.log10(float(power[bin_at]) / least)))
    return found


def hear_lines(x: Sound, rate_hz: float, top_hz: float) -> Heard | None:
    """The strongest two lines so near each other that they beat; None where nothing sounds."""
    if x.size < LEAST_S * rate_hz:
        return None
    peaks = peaks_of(look(x, rate_hz), top_hz, PEAK_APART_HZ)[:LOUDEST_PEAKS]
    if not peaks:
        return None
    centres: Floats = np.array([peak.hz for peak in peaks])
    best: tuple[float, Heard] | None = None
    for centre, band in zip(centres, envelopes(x, rate_hz, centres, WINDOW_S), strict=True):
        found = meeting(band)
        if found is None:
            continue
        weaker = min(abs(level) for level in found.levels)
        worth = weaker if found.resolved else 0.0
        if best is not None and worth <= best[0]:
            continue
        middle, half = float(centre) + found.middle_hz, found.split_hz / 2
        up, down = found.levels
        turns = (np.angle(up) - np.angle(down)) / (2 * math.pi)
        turns += found.split_hz * (x.size / rate_hz - WINDOW_S / 2)
        heard = Heard(
            found.split_hz,
            found.sd_hz,
            found.resolved,
            None if found.resolved else found.bound_hz,
            None,
            (middle - half, middle + half) if found.resolved else (middle, middle),
            (None, None),
            found.depth if found.resolved else 0.0,
            float(turns % 1.0) if found.resolved else None,
            x.size / rate_hz,
            int(found.resolved),
        )
        best = worth, heard
    return None if best is None else best[1]


def likeliest(
    x: Sound, rate_hz: float, pairs: Sequence[StringPair], a4_hz: float, top_hz: float
) -> list[StringPair]:
    """Of `pairs` those that explain the lines of `x` best; more than one where it cannot be told.

    Every line that a pair's strings would have counts by how far it stands out; the lowest ones
    of either string that are not there count against it. Empty for silence.
    """
    seen = look(x, rate_hz)
    apart_hz = max(4.0, 4 * seen.bin_hz)
    peaks = peaks_of(seen, top_hz, apart_hz)
    scored = [(_explains(pair, peaks, a4_hz, top_hz), pair) for pair in pairs]
    best = max((score for score, _ in scored), default=0.0)
    if best <= 0:
        return []
    found = [(score, pair) for score, pair in scored if score >= ALIKE * best]
    return [pair for _, pair in sorted(found, key=lambda each: -each[0])]


def _explains(pair: StringPair, peaks: Sequence[Peak], a4_hz: float, top_hz: float) -> float:
    explained: set[int] = set()
    missing = 0
    for side in (pair.first, pair.second):
        for place, hz in enumerate(_lines(side, a4_hz, top_hz)):
            near = [
                i
                for i, peak in enumerate(peaks)
                if abs(math.log(peak.hz / hz)) * CENTS < SAME_CENTS
            ]
            explained.update(near)
            missing += not near and place < EXPECTED
    return sum(peaks[i].level_db for i in explained) - MISSING_DB * missing


def _lines(side: Side, a4_hz: float, top_hz: float) -> list[float]:
    hz = side.target_hz(a4_hz) * side.harmonic
    return [k * hz for k in range(1, LINES_A_SIDE + 1) if k * hz * 1.04 < top_hz]
