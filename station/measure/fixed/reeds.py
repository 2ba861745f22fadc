"""One reed, two, three, or one that sways? The lines within each partial tell.

Two reeds a little apart beat; each of their partials is two lines, k times as far apart
at partial k. A swell pedal, a fan or a hand makes one reed sway: its partials have a line
and two at its sides, as far off at every partial (amplitude modulation; Roederer, The
Physics and Psychophysics of Music). So four models are fitted to the lines of all
partials together, a reed's line standing at the same ratio to the partial in all of them:
one reed, two, three, one that sways. The one whose description is shortest is taken
(minimum description length: Rissanen 1978, "Modeling by shortest data description").
Positions are found by Newton's steps on the least squares of all lines at once
(`spectrum.py`; Golub & Pereyra 1973 for amplitudes solved for within).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, partial_frequencies
from station.measure.fixed.partials import LEAST_OWN, Tone, clear_of
from station.measure.fixed.spectrum import (
    REACH,
    SLOPE_VARIANCE,
    Spectrum,
    limited,
    line_shapes,
    noise_around,
)
from station.measure.windows import TINY_POWER, Floats, Phasors

MOST_PARTIALS = 6
WIDEST_CENTS = 32.0  # reeds tuned further apart sound as two notes (common practice, no source)
SWAY_HZ = 9.0  # tremulants and hands sway 3 to 8 times a second (common practice, no source)
MOST_BINS = 192
PLAIN_SHARE = 0.01  # of the power beside a line: less, and a second reed would be 20 dB below
LEAST_BEAT_HZ = 0.4  # what beats more slowly are a piano's strings of one note
LEAST_EVENNESS = 0.25  # of three reeds: two much closer are one whose level wanders
LEAST_BEATS = 0.8  # of a beat within the sound: less, and what sways may pass for it
LEAST_LEVEL_DB = -10.0  # ranks of reeds are voiced alike (common practice, no source)
LEAST_EXPLAINED = 0.9
EXPLAINED_BY_ONE = 0.97  # what one line leaves of a note moves its place
CENTRE_WORTH = 0.5  # of two unlike lines the mean lies so far from their centre, in spreads
RIDGE = 1e-9  # two lines in one place share what is there
FLOOR_SHARE = 1e-4  # no instrument holds still to better than 40 dB
STARTING_PARTIALS = 2
TELLING_SHARE = 1e-3  # of all power: a partial that loud shows lines 10 dB below its loudest
TRIAL_STEPS = 4
NEWTON_STEPS = 8
ALL_BUT_ALL = 0.004  # left unexplained: no other model is tried
SETTLED_BINS = 3e-3
CLOSE_BINS = 2.0  # lines nearer than that share what the window tells of them
HANN_BANDWIDTH = 1.5  # bins that are worth one independent one (Harris 1978, table I)


class Voice(NamedTuple):
    """One reed found: ratio to the tone's pitch, its relative standard deviation, amplitude."""

    ratio: float
    sd: float
    level: float


class _Bands(NamedTuple):
    """Bins around the partials `numbers`, (p, j); zero, not `inside`, where a band is shorter.

    `offset` is each bin's distance from the partial in bins, `bins_per_ratio` (p,) how
    many bins a ratio of one makes, `noise` (p,) power in a bin.
    """

    numbers: Floats
    heard: Phasors
    parts: Floats  # the same, (p, j, 2) real and imaginary
    inside: NDArray[np.bool_]
    offset: Floats
    bins_per_ratio: Floats
    noise: Floats
    seconds: float

    @property
    def power(self) -> Floats:
        """All power in each band, shape (p,)."""
        total: Floats = np.square(np.abs(self.heard)).sum(axis=1) + TINY_POWER
        return total


class _Fitted(NamedTuple):
    """A model fitted: `places` are ratios less one, and for a sway also its rate in bins."""

    kind: str
    places: Floats
    level: Phasors  # (p, lines)
    left: Floats  # (p,) power nobody explains
    slips: Floats  # (p, lines) by how many bins each partial would stand elsewhere


def _bands(spectrum: Spectrum, tone: Tone, others_hz: Floats) -> _Bands | None:
    size = np.abs(tone.lines.amplitude)
    hz = partial_frequencies(tone.hz, tone.stiffness, tone.numbers)
    half_hz = np.maximum(hz * (WIDEST_CENTS / CENTS), SWAY_HZ) + REACH / spectrum.seconds
    fits = (half_hz < 0.45 * tone.hz) & (2 * half_hz * spectrum.seconds < MOST_BINS)
    fits &= clear_of(hz, others_hz, spectrum.seconds, half_hz)
    fits &= hz + half_hz < spectrum.top_hz - 1
    usable = np.flatnonzero(fits)
    if usable.size == 0:
        return None
    # Higher partials tell reeds apart k times as well, as long as they are heard.
    merit = size[usable] * np.minimum(tone.numbers[usable], 4)
    chosen = np.sort(usable[np.argsort(-merit)[:MOST_PARTIALS]])
    centre = np.rint(hz[chosen] * spectrum.seconds).astype(np.intp)
    half = np.ceil(half_hz[chosen] * spectrum.seconds).astype(np.intp)
    j = np.arange(-int(half.max()), int(half.max()) + 1)
    inside = np.abs(j) <= half[:, None]
    at = np.clip(centre[:, None] + j, 1, spectrum.bins.size - 1)
    heard = np.where(inside, spectrum.bins[at], 0.0)
    middle = hz[chosen] * spectrum.seconds
    return _Bands(
        tone.numbers[chosen],
        heard,
        np.stack((heard.real, heard.imag), axis=2),
        inside,
        centre[:, None] + j - middle[:, None],
        middle,
        noise_around(spectrum, centre),
        spectrum.seconds,
    )


def _beside(tone: Tone, bands: _Bands) -> float:
    """The share of power in the bands that single lines, growing or fading, do not explain."""
    near = np.abs(bands.offset) <= REACH
    power = np.square(np.abs(bands.heard))
    around = np.where(near, power, 0.0).sum(axis=1)
    further = power.sum(axis=1) - around - bands.noise * (bands.inside & ~near).sum(axis=1)
    left = tone.lines.misfit[np.isin(tone.numbers, bands.numbers)] * around
    return float((left + np.maximum(further, 0.0)).sum() / power.sum())


def _lines_at(kind: str, places: Floats, bands: _Bands) -> Floats:
    """Where the model's lines stand, in bins from each partial, shape (p, lines)."""
    per_ratio = bands.bins_per_ratio[:, None]
    if kind == "sway":
        aside = places[1] * np.array([0.0, -1.0, 1.0])
        swaying: Floats = per_ratio * places[0] + aside
        return swaying
    at: Floats = per_ratio * places
    return at


def _shapes(bands: _Bands, at: Floats) -> tuple[Floats, Floats]:
    """g and g' of the lines `at`, (p, lines), in the bands' bins, each (p, lines, j)."""
    g, slope = line_shapes(bands.offset[:, :1] - at, bands.offset.shape[1])
    g *= bands.inside[:, None, :]
    slope *= bands.inside[:, None, :]
    return g, slope


def _amplitudes(bands: _Bands, at: Floats, growth: Floats) -> tuple[Phasors, Floats]:
    """Least squares of the lines `at`, (p, lines), which grow by `growth` (p,).

    Returns their levels and the power that is left, shape (p,).
    """
    g, slope = _shapes(bands, at)
    shapes = g + 1j * growth[:, None, None] * slope
    conjugate = np.conj(shapes)
    gram = conjugate @ np.swapaxes(shapes, 1, 2) + RIDGE * np.eye(at.shape[1])
    level: Phasors = np.linalg.solve(gram, conjugate @ bands.heard[:, :, None])[:, :, 0]
    rest = bands.heard - (level[:, None, :] @ shapes)[:, 0, :]
    left: Floats = np.square(np.abs(rest)).sum(axis=1)
    return level, left


def _slips(bands: _Bands, at: Floats) -> tuple[Phasors, Phasors]:
    """Levels and slopes of the lines `at`, each (p, lines)."""
    shapes = np.concatenate(_shapes(bands, at), axis=1)
    gram = shapes @ np.swapaxes(shapes, 1, 2) + RIDGE * np.eye(shapes.shape[1])
    solved = np.linalg.solve(gram, shapes @ bands.parts)
    both: Phasors = solved[..., 0] + 1j * solved[..., 1]
    lines = at.shape[1]
    return both[:, :lines] + TINY_POWER, both[:, lines:]


def _fit(kind: str, places: Floats, bands: _Bands, steps: int = TRIAL_STEPS) -> _Fitted:
    """Newton's steps from `places` on."""
    weight_of = 1.0 / bands.noise[:, None]
    for _ in range(steps):
        level, slope = _slips(bands, _lines_at(kind, places, bands))
        slip = limited(-np.real(slope / level), 0.7)
        weight = np.square(np.abs(level)) * weight_of
        step = _step(kind, slip, weight, bands)
        places = places + step
        if float(np.abs(step * _unit(kind, bands)).max()) < SETTLED_BINS:
            break
    at = _lines_at(kind, places, bands)
    level, slope = _slips(bands, at)
    size = np.square(np.abs(level))
    growth = np.sum(np.imag(slope / level) * size, axis=1) / size.sum(axis=1)
    slip = -np.real(slope / level)
    level, left = _amplitudes(bands, at, limited(growth, 0.5))
    return _Fitted(kind, places, level, left, slip)


def _unit(kind: str, bands: _Bands) -> Floats:
    widest = float(bands.bins_per_ratio.max())
    return np.array([widest, 1.0]) if kind == "sway" else np.array([widest])


def _step(kind: str, slip: Floats, weight: Floats, bands: _Bands) -> Floats:
    per_ratio = bands.bins_per_ratio[:, None]
    if kind == "sway":
        middle = (weight * per_ratio * slip).sum() / (weight * per_ratio**2).sum()
        sides = slip[:, 1:] - per_ratio * middle
        sign = np.array([-1.0, 1.0])
        aside = (weight[:, 1:] * sign * sides).sum() / weight[:, 1:].sum()
        return np.array([middle, aside])
    step: Floats = (weight * per_ratio * slip).sum(axis=0) / (weight * per_ratio**2).sum(axis=0)
    return step


def _length(fitted: _Fitted, bands: _Bands) -> float:
    """The description length: what is left, and what the model itself takes to say."""
    samples = bands.inside.sum(axis=1) / HANN_BANDWIDTH
    least = np.maximum(FLOOR_SHARE * bands.power, bands.noise * bands.inside.sum(axis=1))
    numbers = 2 * fitted.level.size + fitted.places.size
    told = float((samples * np.log(np.maximum(fitted.left, least))).sum())
    return told + 0.5 * numbers * math.log(2 * float(samples.sum()))


def _peaks_of(bands: _Bands, row: int) -> list[float]:
    """Where the loudest lines of one partial stand, in bins, the loudest first; at most 3."""
    power = np.square(np.abs(bands.heard[row]))
    inner = power[1:-1]
    is_peak = (inner > power[:-2]) & (inner >= power[2:]) & (inner > power.max() * 3e-3)
    at = np.flatnonzero(is_peak) + 1
    order = at[np.argsort(-power[at])]
    return [float(bands.offset[row, i]) for i in order[:3]]


def _telling(bands: _Bands) -> list[int]:
    """The rows to begin with: the loudest partials, and the highest that is loud enough."""
    power = bands.power
    loud = np.flatnonzero(power > TELLING_SHARE * power.sum())
    rows = [int(row) for row in np.argsort(-power)[:STARTING_PARTIALS]]
    return list(dict.fromkeys([*rows, int(loud[-1])]))


def _starts(bands: _Bands) -> list[tuple[str, Floats]]:
    """Models and where their lines may stand, from the lines of the loudest partials."""
    starts: list[tuple[str, Floats]] = []
    for row in _telling(bands):
        per_ratio = float(bands.bins_per_ratio[row])
        found = _peaks_of(bands, int(row))
        limit = WIDEST_CENTS / CENTS * per_ratio
        near = [place for place in found if abs(place) <= limit]
        if len(near) >= 2:
            starts.append(("two", np.array(near[:2]) / per_ratio))
        if len(near) >= 3:
            starts.append(("three", np.array(near[:3]) / per_ratio))
        if len(found) >= 2:
            starts.append(("sway", np.array([found[0] / per_ratio, abs(found[1] - found[0])])))
    widest = float(bands.bins_per_ratio.max())
    starts.append(("two", np.array([-0.8, 0.8]) / widest))
    starts.sort(key=lambda start: ("two", "sway", "three").index(start[0]))
    return _distinct(starts, widest)


def _distinct(starts: list[tuple[str, Floats]], per_ratio: float) -> list[tuple[str, Floats]]:
    """Each start but once: those within a bin of each other end at the same place."""
    kept: list[tuple[str, Floats]] = []
    for kind, places in starts:
        scale = np.array([per_ratio, 1.0]) if kind == "sway" else per_ratio
        bins = np.sort(places * scale)
        if not any(
            kind == other and float(np.abs(bins - np.sort(known * scale)).max()) < 1.0
            for other, known in kept
        ):
            kept.append((kind, places))
    return kept


def find_reeds(spectrum: Spectrum, tone: Tone, others_hz: Floats) -> tuple[str, list[Voice]]:
    """As `_reeds_of`, asked again where that is unclear.

    Two reeds' lines may have passed for a stiff string's; a rank an octave above may stand
    in the even partials, so that only the odd ones tell of the note's own reeds.
    """
    kind, voices = _reeds_of(spectrum, tone, others_hz)
    if kind == "unclear" and tone.stiffness > 0:
        again, found = _reeds_of(spectrum, tone._replace(stiffness=0.0), others_hz)
        if again in ("two", "three"):
            return again, found
    odd = tone.numbers % 2 == 1
    if kind == "rank" and np.count_nonzero(odd) >= LEAST_OWN:
        own = tone._replace(numbers=tone.numbers[odd], lines=tone.lines.of(odd))
        again, found = _reeds_of(spectrum, own, others_hz)
        if again not in ("unclear", "rank"):
            return again, found
    return ("unclear" if kind == "rank" else kind), voices


def _reeds_of(spectrum: Spectrum, tone: Tone, others_hz: Floats) -> tuple[str, list[Voice]]:
    """What sounds the note: "one", "two", "three", "sway", "rank" or "unclear", and its voices.

    The one voice of "sway", of "rank" (lines in the even partials alone) and of
    "unclear" is the middle; "one" has none, or, where one line leaves something, the
    centre of all there is.
    """
    bands = _bands(spectrum, tone, others_hz)
    if bands is None or _beside(tone, bands) < PLAIN_SHARE:
        return "one", []
    one = _fit("one", np.zeros(1), bands)
    best = one
    if float(one.left.sum()) < PLAIN_SHARE * float(bands.power.sum()):
        return "one", []
    for kind, places in _starts(bands):
        fitted = _fit(kind, places, bands)
        if _plausible(fitted, bands) and _length(fitted, bands) < _length(best, bands):
            best = fitted
            if float(best.left.sum()) < ALL_BUT_ALL * float(bands.power.sum()):
                break
    best = _fit(best.kind, best.places, bands, NEWTON_STEPS)
    left = float(np.maximum(best.left - bands.noise * bands.inside.sum(axis=1), 0.0).sum())
    explained = 1 - left / float(bands.power.sum())
    if explained < LEAST_EXPLAINED or not (best.kind == "one" or _plausible(best, bands)):
        return "unclear", [_centre(bands)]
    if not _in_odd_partials(best, bands):
        return "rank", [_centre(bands)]
    if best.kind == "one":
        return "one", [_centre(bands)] if explained < EXPLAINED_BY_ONE else []
    voices = _voices(best, bands)
    if best.kind == "sway":
        return "sway", voices[:1]
    return best.kind, sorted(voices, key=lambda voice: voice.ratio)


def _plausible(fitted: _Fitted, bands: _Bands) -> bool:
    """Whether reeds would beat and be loud enough, and lines stand within what was heard."""
    if fitted.kind == "sway":
        return 1.0 < abs(float(fitted.places[1])) < SWAY_HZ * bands.seconds
    hz = float((bands.bins_per_ratio / bands.numbers).mean()) / bands.seconds
    ratios = np.sort(fitted.places)
    if float(np.abs(ratios).max()) > WIDEST_CENTS / CENTS:
        return False
    level = np.sqrt(np.square(np.abs(fitted.level)).sum(axis=0))
    loud = float(level.min()) > float(level.max()) * 10 ** (LEAST_LEVEL_DB / 20)
    gaps = np.diff(ratios)
    even = float(gaps.min()) > LEAST_EVENNESS * float(gaps.max())
    beat_hz = float(gaps.min()) * hz
    return loud and even and beat_hz > max(LEAST_BEAT_HZ, LEAST_BEATS / bands.seconds)


def _in_odd_partials(fitted: _Fitted, bands: _Bands) -> bool:
    """Whether every line is there in the odd partials: an octave's reed is in none of them."""
    odd = bands.numbers % 2 == 1
    if not 0 < np.count_nonzero(odd) < odd.size:
        return True
    level = np.square(np.abs(fitted.level[odd])).sum(axis=0)
    if fitted.kind == "sway":
        return True
    return bool(level.min() > level.max() * 10 ** (LEAST_LEVEL_DB / 10))


def _centre(bands: _Bands) -> Voice:
    """The centre of all power about the partials, sure to within what it is spread."""
    power = np.maximum(np.square(np.abs(bands.heard)) - bands.noise[:, None], 0.0)
    ratio = np.where(bands.inside, bands.offset / bands.bins_per_ratio[:, None], 0.0)
    total = float(power.sum()) + TINY_POWER
    middle = float((power * ratio).sum()) / total
    spread = math.sqrt(float((power * np.square(ratio - middle)).sum()) / total)
    return Voice(1 + middle, CENTRE_WORTH * spread, math.sqrt(total))


def _voices(fitted: _Fitted, bands: _Bands) -> list[Voice]:
    samples = np.maximum(bands.inside.sum(axis=1) - fitted.level.shape[1], 1)
    noise = np.maximum(bands.noise, fitted.left / samples)[:, None]
    size = np.square(np.abs(fitted.level))
    at = _lines_at(fitted.kind, fitted.places, bands)
    apart = np.full(at.shape, CLOSE_BINS)
    if at.shape[1] > 1:
        gaps = np.abs(at[:, :, None] - at[:, None, :]) + 1e9 * np.eye(at.shape[1])
        apart = np.clip(gaps.min(axis=2), 0.05, CLOSE_BINS)
    variance = SLOPE_VARIANCE * noise / (2 * size) * (CLOSE_BINS / apart) ** 2 + 1e-6
    weight = bands.bins_per_ratio[:, None] ** 2 / variance
    freedom = at.shape[0] - 1
    slips = np.square(fitted.slips) / variance
    spread = np.sqrt((slips.sum(axis=0) + 4.0) / (freedom + 4.0))
    sd = spread / np.sqrt(weight.sum(axis=0))
    level = np.sqrt(size.sum(axis=0))
    count = 1 if fitted.kind == "sway" else at.shape[1]
    return [Voice(1 + float(fitted.places[i]), float(sd[i]), float(level[i])) for i in range(count)]
