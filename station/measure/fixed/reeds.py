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
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from station.measure.fit import CENTS
from station.measure.fixed.bands import SWAY_HZ, WIDEST_CENTS, Bands, bands_of, beside
from station.measure.fixed.partials import LEAST_OWN, Tone
from station.measure.fixed.spectrum import SLOPE_VARIANCE, Spectrum, limited, line_shapes
from station.measure.fixed.starts import Start, pairs_on_a_grid, starts_of
from station.measure.windows import TINY_POWER, Floats, Phasors

PLAIN_SHARE = 0.01  # of the power beside a line: less, and a second reed would be 20 dB below
LEAST_BEAT_HZ = 0.4  # what beats more slowly are a piano's strings of one note
LEAST_EVENNESS = 0.25  # of three reeds: two much closer are one whose level wanders
LEAST_BEATS = 0.8  # of a beat within the sound: less, and what sways may pass for it
BEATS_OF_STIFF = 1.6  # a piano's strings of one note beat once within a note; reeds more often
CLOSE_BEATS = 0.5
LEAST_LEVEL_DB = -10.0  # ranks of reeds are voiced alike (common practice, no source)
LEAST_EXPLAINED, WELL_EXPLAINED = 0.9, 0.95
HOPELESS = 0.75  # explained before the last steps: they do not add so much
EXPLAINED_BY_ONE = 0.97  # what one line leaves of a note moves its place
CENTRE_WORTH = 0.5  # of two unlike lines the mean lies so far from their centre, in spreads
RIDGE = 1e-9  # two lines in one place share what is there
FLOOR_SHARE = 1e-4  # no instrument holds still to better than 40 dB
TRIAL_STEPS = 4
NEWTON_STEPS = 8
HALVINGS = (1.0, 0.5, 0.25)
ALL_BUT_ALL = 0.004  # left unexplained: no other model is tried
SETTLED_BINS, NEARLY_SETTLED_BINS = 3e-3, 1e-2
CLOSE_BINS = 2.0  # lines nearer than that share what the window tells of them
HANN_BANDWIDTH = 1.5  # bins that are worth one independent one (Harris 1978, table I)


class Voice(NamedTuple):
    """One reed found: ratio to the tone's pitch, its relative standard deviation, amplitude."""

    ratio: float
    sd: float
    level: float


class _Fitted(NamedTuple):
    """A model fitted: `places` are ratios less one, and for a sway also its rate in bins."""

    kind: str
    places: Floats
    level: Phasors  # (p, lines)
    left: Floats  # (p,) power nobody explains
    slips: Floats  # (p, lines) by how many bins each partial would stand elsewhere


def _lines_at(kind: str, places: Floats, bands: Bands) -> Floats:
    """Where the model's lines stand, in bins from each partial, shape (p, lines)."""
    per_ratio = bands.bins_per_ratio[:, None]
    if kind == "sway":
        aside = places[1] * np.array([0.0, -1.0, 1.0])
        swaying: Floats = per_ratio * places[0] + aside
        return swaying
    at: Floats = per_ratio * places
    return at


def _shapes(bands: Bands, at: Floats) -> tuple[Floats, Floats]:
    """g and g' of the lines `at`, (p, lines), in the bands' bins, each (p, lines, j)."""
    g, slope = line_shapes(bands.offset[:, :1] - at, bands.offset.shape[1])
    g *= bands.inside[:, None, :]
    slope *= bands.inside[:, None, :]
    return g, slope


def _amplitudes(bands: Bands, at: Floats, growth: Floats) -> tuple[Phasors, Floats]:
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


def _slips(bands: Bands, at: Floats) -> tuple[Phasors, Phasors]:
    """Levels and slopes of the lines `at`, each (p, lines)."""
    shapes = np.concatenate(_shapes(bands, at), axis=1)
    gram = shapes @ np.swapaxes(shapes, 1, 2) + RIDGE * np.eye(shapes.shape[1])
    solved = np.linalg.solve(gram, shapes @ bands.parts)
    both: Phasors = solved[..., 0] + 1j * solved[..., 1]
    lines = at.shape[1]
    return both[:, :lines] + TINY_POWER, both[:, lines:]


def _fit(kind: str, places: Floats, bands: Bands, steps: int = TRIAL_STEPS) -> _Fitted:
    """Newton's steps from `places` on."""
    for _ in range(steps):
        level, slope = _slips(bands, _lines_at(kind, places, bands))
        slip = limited(-np.real(slope / level), 0.7)
        step = _step(kind, slip, np.square(np.abs(level)) / bands.noise[:, None], bands)
        places = places + step
        if float(np.abs(step * _unit(kind, bands)).max()) < SETTLED_BINS:
            break
    return _fitted(kind, places, bands)


def _fit_carefully(kind: str, places: Floats, bands: Bands) -> _Fitted:
    """The same, each step halved until it explains more: overlapping lines throw whole ones far."""
    best = _fitted(kind, places, bands)
    for _ in range(NEWTON_STEPS):
        weight = np.square(np.abs(best.level)) / bands.noise[:, None]
        step = _step(kind, limited(best.slips, 0.7), weight, bands)
        if float(np.abs(step * _unit(kind, bands)).max()) < NEARLY_SETTLED_BINS:
            break
        for share in HALVINGS:
            tried = _fitted(kind, best.places + share * step, bands)
            if _length(tried, bands) < _length(best, bands):
                best = tried
                break
        else:
            break
    return best


def _fitted(kind: str, places: Floats, bands: Bands) -> _Fitted:
    at = _lines_at(kind, places, bands)
    level, slope = _slips(bands, at)
    size = np.square(np.abs(level))
    growth = np.sum(np.imag(slope / level) * size, axis=1) / size.sum(axis=1)
    slip = -np.real(slope / level)
    level, left = _amplitudes(bands, at, limited(growth, 0.5))
    return _Fitted(kind, places, level, left, slip)


def _unit(kind: str, bands: Bands) -> Floats:
    widest = float(bands.bins_per_ratio.max())
    return np.array([widest, 1.0]) if kind == "sway" else np.array([widest])


def _step(kind: str, slip: Floats, weight: Floats, bands: Bands) -> Floats:
    per_ratio = bands.bins_per_ratio[:, None]
    if kind == "sway":
        middle = (weight * per_ratio * slip).sum() / (weight * per_ratio**2).sum()
        sides = slip[:, 1:] - per_ratio * middle
        sign = np.array([-1.0, 1.0])
        aside = (weight[:, 1:] * sign * sides).sum() / weight[:, 1:].sum()
        return np.array([middle, aside])
    step: Floats = (weight * per_ratio * slip).sum(axis=0) / (weight * per_ratio**2).sum(axis=0)
    return step


def _length(fitted: _Fitted, bands: Bands) -> float:
    """The description length: what is left, and what the model itself takes to say."""
    samples = bands.inside.sum(axis=1) / HANN_BANDWIDTH
    least = np.maximum(FLOOR_SHARE * bands.power, bands.noise * bands.inside.sum(axis=1))
    numbers = 2 * fitted.level.size + fitted.places.size
    told = float((samples * np.log(np.maximum(fitted.left, least))).sum())
    return told + 0.5 * numbers * math.log(2 * float(samples.sum()))


def find_reeds(spectrum: Spectrum, tone: Tone, others_hz: Floats) -> tuple[str, list[Voice]]:
    """As `_reeds_of`, asked again where that is unclear.

    Two reeds' lines may have passed for a stiff string's; a rank an octave above may stand
    in the even partials, so that only the odd ones tell of the note's own reeds.
    """
    kind, voices = _reeds_of(spectrum, tone, others_hz)
    if kind == "unclear" and tone.stiffness > 0:
        again, found = _reeds_of(spectrum, tone._replace(stiffness=0.0), others_hz)
        beats = (found[-1].ratio - found[0].ratio) * tone.hz * spectrum.seconds if found else 0.0
        if again in ("two", "three") and beats > BEATS_OF_STIFF:
            return again, found
    odd = tone.numbers % 2 == 1
    if kind == "rank" and np.count_nonzero(odd) >= LEAST_OWN:
        own = tone._replace(numbers=tone.numbers[odd], lines=tone.lines.of(odd))
        again, found = _reeds_of(spectrum, own, others_hz)
        if again not in ("unclear", "rank"):
            return again, found
    return ("unclear" if kind == "rank" else kind), voices


def _reeds_of(spectrum: Spectrum, tone: Tone, others_hz: Floats) -> tuple[str, list[Voice]]:
    """What sounds the note, and its voices.

    It is "one", "two", "three", "sway", "close", "rank" or "unclear". Of "close" the voices are
    two, too near to each other to be told for reeds. The one voice of "sway", of "rank" (lines in
    the even partials alone) and of "unclear" is the middle; "one" has none, or, where one line
    leaves something, the centre of all there is.
    """
    bands = bands_of(spectrum, tone, others_hz)
    if bands is None or beside(tone, bands) < PLAIN_SHARE:
        return "one", []
    one = _fit("one", np.zeros(1), bands)
    if float(one.left.sum()) < PLAIN_SHARE * float(bands.power.sum()):
        return "one", []
    tried = _tried(starts_of(bands), bands, _fit)
    best = _shortest([one, *(fitted for fitted in tried if _plausible(fitted, bands))], bands)
    if _explained(best, bands) < WELL_EXPLAINED:
        tried += _tried(pairs_on_a_grid(bands), bands, _fit_carefully)
        best = _shortest([best, *(fitted for fitted in tried if _plausible(fitted, bands))], bands)
    if best is not one and _explained(best, bands) > HOPELESS:
        best = _fit_carefully(best.kind, best.places, bands)
    stands = best.kind == "one" or _plausible(best, bands)
    if not stands or best.kind in ("one", "sway"):
        close = _close_pair(tried, best if stands else one, bands)
        if close:
            return "close", close
    explained = _explained(best, bands)
    if explained < LEAST_EXPLAINED or not stands:
        return "unclear", [_centre(bands)]
    if not _in_odd_partials(best, bands):
        return "rank", [_centre(bands)]
    if best.kind == "one":
        return "one", [_centre(bands)] if explained < EXPLAINED_BY_ONE else []
    voices = _voices(best, bands)
    if best.kind == "sway":
        return "sway", voices[:1]
    return best.kind, sorted(voices, key=lambda voice: voice.ratio)


def _tried(
    starts: list[Start], bands: Bands, fit: Callable[[str, Floats, Bands], _Fitted]
) -> list[_Fitted]:
    """The models begun at `starts`, until one explains all but all."""
    tried = []
    for kind, places in starts:
        tried.append(fit(kind, places, bands))
        left = float(tried[-1].left.sum())
        if left < ALL_BUT_ALL * float(bands.power.sum()) and _plausible(tried[-1], bands):
            break
    return tried


def _shortest(models: list[_Fitted], bands: Bands) -> _Fitted:
    return min(models, key=lambda fitted: _length(fitted, bands))


def _explained(fitted: _Fitted, bands: Bands) -> float:
    """The share of the bands' power, noise aside, that a model explains."""
    left = float(np.maximum(fitted.left - bands.noise * bands.inside.sum(axis=1), 0.0).sum())
    return 1 - left / float(bands.power.sum())


def _close_pair(tried: list[_Fitted], best: _Fitted, bands: Bands) -> list[Voice]:
    """Two lines that beat too slowly to be told for reeds, where they explain more than `best`.

    What the ear takes for the pitch lies between them all the same: a sound that is a little
    longer, or higher, is told as two reeds, and must not be told as another pitch.
    """
    pairs = [each for each in tried if each.kind == "two" and _plausible(each, bands, slow=True)]
    if not pairs or _explained(pair := _shortest(pairs, bands), bands) < HOPELESS:
        return []
    pair = _fit_carefully("two", pair.places, bands)
    good = _explained(pair, bands) >= LEAST_EXPLAINED and _plausible(pair, bands, slow=True)
    good = good and _in_odd_partials(pair, bands)
    return _voices(pair, bands) if good and _length(pair, bands) < _length(best, bands) else []


def _plausible(fitted: _Fitted, bands: Bands, slow: bool = False) -> bool:
    """Whether reeds would beat and be loud enough, and lines stand within what was heard.

    Beats that are `slow` need only be long enough for two lines to be two.
    """
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
    least_hz = max(LEAST_BEAT_HZ, LEAST_BEATS / bands.seconds)
    return loud and even and beat_hz > (CLOSE_BEATS / bands.seconds if slow else least_hz)


def _in_odd_partials(fitted: _Fitted, bands: Bands) -> bool:
    """Whether every line is there in the odd partials: an octave's reed is in none of them."""
    odd = bands.numbers % 2 == 1
    if not 0 < np.count_nonzero(odd) < odd.size:
        return True
    level = np.square(np.abs(fitted.level[odd])).sum(axis=0)
    if fitted.kind == "sway":
        return True
    return bool(level.min() > level.max() * 10 ** (LEAST_LEVEL_DB / 10))


def _centre(bands: Bands) -> Voice:
    """The centre of all power about the partials, sure to within what it is spread."""
    power = np.maximum(np.square(np.abs(bands.heard)) - bands.noise[:, None], 0.0)
    ratio = np.where(bands.inside, bands.offset / bands.bins_per_ratio[:, None], 0.0)
    total = float(power.sum()) + TINY_POWER
    middle = float((power * ratio).sum()) / total
    spread = math.sqrt(float((power * np.square(ratio - middle)).sum()) / total)
    return Voice(1 + middle, CENTRE_WORTH * spread, math.sqrt(total))


def _voices(fitted: _Fitted, bands: Bands) -> list[Voice]:
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
