"""Is a new sound a stroke on a drum at all, and is it a good one?

What tells a drum from the rest of a rehearsal room: it begins at once and only decays (a bow, a
voice do not); its low modes carry it (a clap, a cymbal, a rim sound above them); they are no
multiples of one frequency (a string's, a voice's are); and they do not ring for ever. The limits
were read off recordings: 78 strokes on toms, 62 on snares, 34 on bass drums and 15 on hand
drums against 36 claps and rim clicks, 156 strokes on cymbals, 70 on bells, blocks and
shakers, and 238 notes of basses, guitars, keys and voices of a free sound font.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from station.measure.drums.bands import CENTS, RT60_NEPERS
from station.measure.drums.modes import is_missing, look_at, partials_of
from station.measure.drums.strokes import Identified, identify
from station.measure.drums.types import Mode, Stroke, StrokeVerdict, Wires
from station.measure.levels import dbfs
from station.measure.windows import Floats

LEAST_FALL_DB = 2.0  # from the first 60 ms to those after 120 ms
LONGEST_RING_S = 6.0
MOST_Q = 260.0
DROWNED_DB = -14.5  # the fundamental against all the rest, what lies high weighed in
RIM_CLICK_DB, RIM_FALL_DB, RIM_CENTS, RIM_BODY_DB = 5.0, 14.0, 25.0, -26.0
RIM_LOUD_DB, RIM_HIGH_DB = 7.0, 4.0  # so clear a click, without wires that go on, is the rim's
SNARE_ABOVE_HZ = 130.0  # common practice, no source
BASS_BELOW_HZ = 45.0  # common practice, no source: of drums only a bass drum is so low
# Cymbals have modes everywhere, some of them low. These limits were read off 156 recorded
# strokes on them and leave one, a hi-hat's foot.
MOST_HISS_DB, LOW_HISS_DB = 8.0, -3.0
LONG_HISS_DB, LONG_FALL_DB = -6.0, 6.0
HIGH_HZ, HIGH_SCORE_DB = 300.0, -9.0
WIRES_DB = -9.0  # of the sound 30 to 80 ms after the stroke; of drums without: -12 and less
WEAK_DBFS = -50.0
WEAK_CLEAR_DB = 15.0
VAGUE_CENTS = 45.0
VAGUE_WIDTH = 0.5  # a dull thud is as wide as its ring is short: of its width at half the power
COMB_FROM_S, COMB_TO_S = 0.03, 0.28
COMB_DB = 32.0
COMB_MOST = 24
COMB_LAST = 16
COMB_TOP_SHARE = 0.3  # of the rate
COMB_LOWEST_HZ, COMB_HIGHEST_HZ = 29.0, 500.0
COMB_HZ, COMB_SHARE = 0.8, 0.0015  # so near to a multiple, in hertz and of it
# Modes near 2 : 3 : 4 : 5 a drum may have, as kettledrums do (Fletcher & Rossing), but not so
# many, nor from 1 on, whatever sounds besides.
COMB_ROW, COMB_FIRST_ROW = 5, 4
COMB_FEW, COMB_EXPLAINED, COMB_COUNT = 3, 0.9, 0.75  # or so few, if they are nearly all there is
SIDE_HZ, SIDE_DB = 14.0, 18.0  # a louder line's own skirt
TINY = 1e-14


class Sound(NamedTuple):
    """A stroke as it was recorded, with a little of what was before it.

    `low`, shape (n,), at `low_rate_hz` for its modes, the stroke at sample `onset`; `wide`, shape
    (m,), at `rate_hz`, the stroke at `wide_onset`. `double`: something was struck again.
    """

    low: Floats
    low_rate_hz: float
    onset: int
    wide: Floats
    rate_hz: float
    wide_onset: int
    clipped: bool
    double: bool


class Looks(NamedTuple):
    """What the sound's course tells, in dB.

    `fall`: how much weaker it is after 120 ms than in the first 60; `high`: what lies high against
    all, when the click is over; `click`: the same at the stroke against all a little later;
    `clear`: of what was before the stroke.
    """

    fall: float
    high: float
    click: float
    clear: float
    total: float  # mean square, 20 to 70 ms after the stroke
    peak: float


def judged(sound: Sound, line: int, at_s: float, final: bool) -> Stroke | None:
    """The stroke that `sound` holds; None where it is no stroke on a drum."""
    low = sound.low, sound.low_rate_hz, sound.onset
    look = look_at(*low)
    partials = partials_of(*low, look)
    found = identify(partials)
    if found is None:
        return None
    looks = _looks(sound)
    if _score(found, looks) < DROWNED_DB:
        # What the wires or another drum add below the fundamental may have passed for it.
        found = identify(partials, boldly=False) or found
    verdict = _verdict(found, looks, sound, final)
    if verdict is None:
        return None
    measured = verdict in ("good", "weak", "clipped")
    if measured and is_missing(look, found.modes, found.fundamental.hz):
        # Another mode would pass for the drum's pitch.
        return _without_pitch(found, looks, sound, line, at_s, final)
    return Stroke(
        line,
        at_s,
        found.fundamental,
        found.overtone,
        found.overtone_pair,
        found.modes,
        found.beat_hz,
        verdict,
        _wires(found, looks),
        sound.clipped,
        dbfs(looks.peak),
        found.sure,
        final,
    )


def _without_pitch(
    found: Identified, looks: Looks, sound: Sound, line: int, at_s: float, final: bool
) -> Stroke:
    """A stroke whose lowest mode was not to be measured: too short, or too little pitch in it."""
    return Stroke(
        line,
        at_s,
        None,
        None,
        None,
        found.modes,
        None,
        "weak",
        _wires(found, looks),
        sound.clipped,
        dbfs(looks.peak),
        False,
        final,
    )


def _looks(sound: Sound) -> Looks:
    at, rate = sound.wide_onset, sound.rate_hz
    before = sound.wide[: max(8, at - round(0.01 * rate))]
    wide = sound.wide - before.mean()
    high = np.diff(wide, 2)

    def power(x: Floats, from_s: float, to_s: float) -> float:
        part = x[at + round(from_s * rate) : at + round(to_s * rate)]
        return float(np.dot(part, part)) / max(1, part.size) + TINY

    total = power(wide, 0.02, 0.07)
    return Looks(
        _db(power(wide, 0.005, 0.06) / power(wide, 0.12, 0.2)),
        _db(power(high, 0.03, 0.08) / power(wide, 0.03, 0.08)),
        _db(power(high, 0.0, 0.02) / total),
        _db(total / (float(np.var(before)) + TINY)),
        total,
        float(np.abs(wide[at:]).max()) if wide.size > at else 0.0,
    )


def _db(ratio: float) -> float:
    return 10 * math.log10(ratio)


def _verdict(found: Identified, looks: Looks, sound: Sound, final: bool) -> StrokeVerdict | None:
    # Two modes that begin against each other swell before they fall; the fit says that both do.
    falls = looks.fall >= LEAST_FALL_DB or found.beat_hz is not None
    if not falls or _rings_too_long(found) or _hisses(found, looks):
        return None
    if _is_harmonic(sound.low, sound.low_rate_hz, sound.onset):
        return None
    if _score(found, looks) < DROWNED_DB:
        vague = found.fundamental.uncertainty_cents > RIM_CENTS or _body(found, looks) < RIM_BODY_DB
        rim = looks.click > RIM_CLICK_DB and looks.fall > RIM_FALL_DB and not vague
        return "rim" if rim else None
    if looks.click > RIM_LOUD_DB and looks.fall > RIM_FALL_DB and looks.high < RIM_HIGH_DB:
        return "rim"
    if sound.clipped:
        return "clipped"
    if sound.double:
        return "double"
    one = found.fundamental
    if (final and _is_vague(one)) or looks.clear < WEAK_CLEAR_DB or dbfs(looks.peak) < WEAK_DBFS:
        return "weak"
    return "good"


def _is_vague(one: Mode) -> bool:
    """Whether a mode has no pitch to speak of.

    What falls as exp(-a t) is a / pi hertz wide at half its power, and RT60 = 3 ln(10) / a.
    """
    if one.ring_s is None:
        return True
    width_cents = CENTS * RT60_NEPERS / (math.pi * one.ring_s * one.hz)
    return one.uncertainty_cents > max(VAGUE_CENTS, VAGUE_WIDTH * width_cents)


def _hisses(found: Identified, looks: Looks) -> bool:
    """Whether what lies high is more, or goes on longer, than a snare's wires: a cymbal's."""
    if looks.high > MOST_HISS_DB or (looks.high > LONG_HISS_DB and looks.fall < LONG_FALL_DB):
        return True
    if found.fundamental.hz < BASS_BELOW_HZ:  # under a clap the floor shakes as low
        return looks.high > WIRES_DB
    if found.fundamental.hz < SNARE_ABOVE_HZ:
        return looks.high > LOW_HISS_DB
    high = found.fundamental.hz > HIGH_HZ and looks.high > LONG_HISS_DB
    return high and _score(found, looks) < HIGH_SCORE_DB


def _body(found: Identified, looks: Looks) -> float:
    """The fundamental against all the sound, in dB."""
    return _db(0.5 * found.level**2 / looks.total)


def _score(found: Identified, looks: Looks) -> float:
    """How far the fundamental carries the sound, in dB.

    A bass drum's fundamental may be weak among its other low modes; a snare's wires and a
    stick's click weigh against a pitch.
    """
    low = 0.4 * min(max(-6.0 - looks.high, 0.0), 20.0)
    return (
        _body(found, looks) + low - 0.25 * max(looks.high + 6.0, 0.0) - 0.25 * max(looks.click, 0.0)
    )


def _rings_too_long(found: Identified) -> bool:
    ring_s = found.fundamental.ring_s
    if ring_s is None:
        return False
    # Q = pi f tau, and RT60 = 3 ln(10) tau.
    q = math.pi * found.fundamental.hz * ring_s / (3 * math.log(10))
    return ring_s > LONGEST_RING_S or q > MOST_Q


def _wires(found: Identified, looks: Looks) -> Wires | None:
    if found.fundamental.hz < SNARE_ABOVE_HZ:
        return None
    return "on" if looks.high > WIRES_DB else "off"


def _is_harmonic(x: Floats, rate_hz: float, onset: int) -> bool:
    """Whether the sound's peaks stand at multiples of one frequency: a string's, a voice's."""
    part = x[onset + round(COMB_FROM_S * rate_hz) : onset + round(COMB_TO_S * rate_hz)]
    if part.size < 2 * COMB_FROM_S * rate_hz:
        return False
    size = 1 << (8 * part.size).bit_length()
    power = np.square(np.abs(np.fft.rfft((part - part.mean()) * np.hanning(part.size), size)))
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    inner = power[1:-1]
    tops = np.flatnonzero((inner > power[:-2]) & (inner >= power[2:])) + 1
    tops = tops[(hz[tops] > COMB_LOWEST_HZ) & (hz[tops] < COMB_TOP_SHARE * rate_hz)]
    if not tops.size:
        return False
    tops = tops[power[tops] > power[tops].max() * 10 ** (-COMB_DB / 10)]
    tops = tops[np.argsort(-power[tops])]
    beside = np.abs(hz[tops][:, None] - hz[tops]) < SIDE_HZ
    below = power[tops][:, None] < power[tops] * 10 ** (-SIDE_DB / 10)
    tops = tops[~(beside & below).any(axis=1)][:COMB_MOST]
    return any(
        _explains(hz[first] / k, hz[tops], power[tops])
        for first in tops[:6]
        for k in range(1, 5)
        if COMB_LOWEST_HZ < hz[first] / k < COMB_HIGHEST_HZ
    )


def _explains(base_hz: float, hz: Floats, power: Floats) -> bool:
    """Whether multiples of `base_hz` stand in a row, or are nearly all there is."""
    k = np.maximum(np.rint(hz / base_hz), 1)
    near = np.abs(hz - k * base_hz) < COMB_HZ + COMB_SHARE * k * base_hz
    base_hz = float((hz * k * power)[near].sum() / (np.square(k) * power)[near].sum())
    near = np.abs(hz - k * base_hz) < COMB_HZ + COMB_SHARE * k * base_hz
    orders = set(k[near].tolist())
    row = set(range(1, COMB_FIRST_ROW + 1))
    if row <= orders or any(set(range(at, at + COMB_ROW)) <= orders for at in range(2, COMB_LAST)):
        return True
    if len(orders) < COMB_FEW or not any(order % 2 for order in orders):
        return False
    beside = np.arange(hz.size) > 0  # the loudest stands first
    explained = float(power[near & beside].sum()) / (float(power[beside].sum()) + TINY)
    return explained > COMB_EXPLAINED and float(near.mean()) > COMB_COUNT
