"""The modes of one stroke: where its spectrum has peaks, and what each of them is.

A peak is looked for in the stroke's first third of a second, under half a Hann window, which
begins at its top as the sound does. A head hit hard glides, and is then several peaks
close together; two heads nearly matched are two; the (1,1) pair of an uneven head is
two as well. So peaks are gathered into groups, and each group is measured in one band
(`bands.py`) as one gliding mode and as two steady ones; the pair has to explain it much better.

A snare's wires rattle through all of this. Their noise has no peaks but by chance: its spectrum
near a mode is what most of the bins there have, for the modes fill few. A peak no
higher than chance makes them is dropped, and no mode is told surer than its own decay
in so much noise allows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from station.measure.drums.bands import (
    CENTS,
    LEAST_STEPS,
    NO_GLIDE,
    RT60_NEPERS,
    Band,
    Glide,
    Ring,
    bent,
    decay_of,
    glide_of,
    sounding_of,
)
from station.measure.drums.pairs import Pair, pair_of
from station.measure.drums.types import Mode
from station.measure.fixed.spectrum import Bins
from station.measure.windows import Floats

LOWEST_HZ = 25.0
HIGHEST_HZ = 1300.0
TOP_SHARE = 0.33  # of the rate: the decimator's pass band
LOOK_S = 0.33
SKIP_S = 0.012  # the stick's click
PEAK_DB = 42.0  # below the loudest there is nothing worth a mode
MOST_GROUPS = 10
LEAST_GROUP_SHARE, GROUP_SHARE = (
    0.05,
    0.14,
)  # peaks so near are one group: so far a head hit hard glides
NEAR_SHARE = 0.85
GLIDE_TIMES = 1.5
FOLLOWED = 3  # times: the first brings it near, the others agree within a cent
MOST_GLIDE = 0.25  # of the frequency is followed: tension then is higher by a half and more
HEARD_SHARE = 0.8  # so much of what was heard before has to be heard along the glide
WIDTH_SHARE = 0.085  # of its frequency: a band's width where nothing else is near
NARROWEST_HZ, USUAL_HZ, WIDEST_HZ = 3.5, 6.0, 30.0  # a narrow band is slow to answer
BESIDE_DB = 14.0  # a neighbour so much weaker disturbs nothing
NEIGHBOUR_WIDTHS = 2.8  # a neighbour so many widths away is 34 dB down
PAIR_BETTER = 0.2  # of what one mode leaves
PAIR_LEAST = 0.02  # so much has to be left by one mode for two to be asked for
PAIR_WITHIN_DB = 16.0
PAIR_TURNS = 1.0  # of a beat have to be heard
PAIR_SAMPLES = 6.0  # of its band: of fewer two modes explain any noise
PAIR_RINGS = 2.5  # their rings may differ by this factor
LEVEL_AT_S = 0.03  # after the stroke levels are told: the click is over
ROUGHEST_DB = 4.5  # a mode's level strays no more from a straight decay
VAGUEST_CENTS = 70.0
RING_SURE = 0.25  # a ring less sure than this share is not told
WIRES_ABOVE_HZ = 130.0  # common practice, no source: lower drums have none
WIRES_NEAR = 1.8  # times a mode's frequency, and as far below, their noise is looked at
WIRES_QUANTILE = 0.3  # of the bins there: modes fill fewer than the rest
# Of noise, bins are exponentially distributed; a dozen in reach, one in a thousand exceeds this.
WIRES_CHANCE = 10.0  # times their mean
PUSHED = 2.0  # times what noise alone would do: of 35 recorded strokes half are off by 0.8 of it
LEAST_SD = 1e-4  # no head keeps its pitch better: a sixth of a cent


class Group(NamedTuple):
    """Peaks that may be one mode: their middle, the loudest one's power, and that over the noise's
    (infinite where no wires can be)."""

    hz: float
    power: float
    clear: float


class Look(NamedTuple):
    """A stroke's spectrum: frequencies, powers, and powers under a whole Hann window, in which
    modes have no skirts that reach far: what lies between them is noise."""

    hz: Floats
    power: Floats
    smooth: Floats


class Partial(NamedTuple):
    """A measured mode or pair: modes from the louder, amplitudes beside; the pair's beat.

    `ring_s` is the louder's ring however unsure, which its mode tells only if it is sure.
    """

    modes: tuple[Mode, ...]
    level: float
    glide_hz: float
    beat_hz: float | None
    rough_db: float
    ring_s: float


def partials_of(x: Floats, rate_hz: float, onset: int, look: Look) -> list[Partial]:
    """The modes of the stroke that begins at sample `onset` of `x`, shape (n,), from the lowest.

    `look` is its spectrum (`look_at`).
    """
    ring = Ring(x, rate_hz, onset)
    peaks = _peaks(look.hz, look.power)
    if not peaks.size:
        return []
    # All modes glide alike, for one tension carries them: the loudest tells how far.
    wide = _groups(look, peaks, 1, GROUP_SHARE)
    loud, glide, lower = _loudest(ring, wide[0])
    share = min(max(LEAST_GROUP_SHARE, GLIDE_TIMES * glide.share), GROUP_SHARE)
    groups = _groups(look, peaks, MOST_GROUPS, share)
    others = [
        each
        for each in groups
        if abs(each.hz / wide[0].hz - 1) > share and each.clear > WIRES_CHANCE
    ]
    found = [
        _measure(ring.band(lower * at_hz, sigma_hz, glide), lower * at_hz, clear, False)
        for at_hz, sigma_hz, clear in _bands(others, [*wide, *others])
    ]
    return _distinct([each for each in (loud, *found) if each is not None])


def is_missing(look: Look, told: Sequence[Mode], low_hz: float) -> bool:
    """Whether a peak of `look` below `low_hz`, louder than all near the modes `told`, is none.

    So it is when a sound was cut off before the mode it stands for told anything, or dies away as
    no mode does; whatever else was measured then is not the drum's pitch.
    """
    peaks = _peaks(look.hz, look.power)
    if not peaks.size:
        return False
    (loudest,) = _groups(look, peaks, 1, GROUP_SHARE)
    if not LOWEST_HZ < loudest.hz < low_hz or loudest.clear <= WIRES_CHANCE:
        return False
    # A head hit hard settles as far below its peak as a glide is followed.
    return not any(1 - MOST_GLIDE < mode.hz / loudest.hz < 1 + GROUP_SHARE for mode in told)


def _loudest(ring: Ring, group: Group) -> tuple[Partial | None, Glide, float]:
    """The loudest group's mode or pair, how it glides, how far below its peak it settles.

    A head hit hard settles outside the band its loud beginning is in; so the band is laid along
    the glide that was found, and the glide measured again.
    """
    ((hz, sigma_hz, clear),) = _bands([group], [])
    band = ring.band(hz, sigma_hz)
    if band.z.size < LEAST_STEPS:  # cut off before so low a mode tells anything
        return None, NO_GLIDE, 1.0
    one = sounding_of(band, glides=True)
    glide, lower = NO_GLIDE, 1.0
    for _ in range(FOLLOWED):
        if one.glide_hz <= 0 or abs(one.hz - hz) > GROUP_SHARE * hz:
            break
        newer = glide_of(band, one)
        share = min(newer.share, MOST_GLIDE)
        # The mean of two: too much glide taken out makes the beginning louder, and it less.
        newer = newer._replace(share=0.5 * (glide.share + share) if glide.share else share)
        followed = bent(ring.band(one.hz, sigma_hz, newer), one.hz, newer)
        again = sounding_of(followed, glides=True)
        if again.to_s < HEARD_SHARE * one.to_s:  # it leads astray
            break
        glide, lower, band, one = newer, one.hz / hz, followed, again
    partial = _measure(band, lower * hz, clear, True)
    if partial is None or partial.glide_hz <= 0:
        return partial, NO_GLIDE, 1.0
    return partial, glide, lower


def _bands(groups: list[Group], beside: list[Group]) -> list[tuple[float, float, float]]:
    """Where to listen to each of the groups, how widely, for others stand beside it; how clear."""
    bands = []
    for hz, power, clear in groups:
        loud = power * 10 ** (-BESIDE_DB / 10)
        apart = [abs(other - hz) for other, size, _ in beside if size > loud and other != hz]
        nearest = min(apart, default=math.inf)
        sigma = min(max(USUAL_HZ, WIDTH_SHARE * hz), WIDEST_HZ, nearest / NEIGHBOUR_WIDTHS)
        bands.append((hz, max(NARROWEST_HZ, sigma), clear))
    return bands


def look_at(x: Floats, rate_hz: float, onset: int) -> Look:
    """The spectrum of the stroke that begins at sample `onset` of `x`, shape (n,)."""
    first = onset + round(SKIP_S * rate_hz)
    part = x[first : first + round(LOOK_S * rate_hz)]
    if part.size < 16:
        return Look(np.zeros(0), np.zeros(0), np.zeros(0))
    part = part - part.mean()
    size = 1 << (4 * part.size).bit_length()
    fall = 0.5 + 0.5 * np.cos(np.pi * np.arange(part.size) / part.size)
    kept = slice(0, int(min(HIGHEST_HZ, TOP_SHARE * rate_hz) * size / rate_hz))
    power, smooth = (
        np.square(np.abs(np.fft.rfft(part * each, size)))[kept]
        for each in (fall, np.hanning(part.size))
    )
    return Look(np.fft.rfftfreq(size, 1 / rate_hz)[kept], power, smooth)


def _peaks(hz: Floats, power: Floats) -> Bins:
    """The bins of the spectrum's peaks, the loudest first."""
    if power.size < 3:
        return np.zeros(0, np.intp)
    inner = power[1:-1]
    peak = (inner > power[:-2]) & (inner >= power[2:]) & (hz[1:-1] >= LOWEST_HZ)
    at: Bins = np.flatnonzero(peak) + 1
    if at.size:
        at = at[power[at] >= power[at].max() * 10 ** (-PEAK_DB / 10)]
    return at[np.argsort(-power[at])]


def _groups(look: Look, peaks: Bins, most: int, share: float) -> list[Group]:
    """The `most` loudest groups of peaks, from the lowest."""
    hz, power, _ = look
    groups: list[Group] = []
    left = peaks
    while left.size and len(groups) < most:
        top = left[0]
        near = np.abs(hz[left] - hz[top]) < share * hz[top]
        loud = left[near & (power[left] > 0.1 * power[top])]
        middle = float((hz[loud] * power[loud]).sum() / power[loud].sum())
        near |= np.abs(hz[left] / middle - 1) < NEAR_SHARE * share
        groups.append(Group(middle, float(power[top]), _clear(look, middle, share)))
        left = left[~near]
    return sorted(groups)


def _clear(look: Look, at_hz: float, share: float) -> float:
    """How many times the noise about them the peaks near `at_hz` have."""
    if at_hz < WIRES_ABOVE_HZ:
        return math.inf
    near = look.smooth[(look.hz > at_hz / WIRES_NEAR) & (look.hz < at_hz * WIRES_NEAR)]
    peak = look.smooth[np.abs(look.hz - at_hz) < share * at_hz].max()
    mean = float(np.quantile(near, WIRES_QUANTILE)) / -math.log(1 - WIRES_QUANTILE)
    return float(peak) / mean if mean > 0 else math.inf


def _in_noise_hz(a: float, clear: float) -> float:
    """The least standard deviation of a mode's frequency, its fall `a` in nepers a second.

    Cramer-Rao for A exp(-a t + i w t) in white noise: var(w) = 2 a^2 noise / energy, and energy
    over noise is what a matched window has, whose peak is `clear` times the noise. The wires
    do not only sound beside the head, they push it, and what they push now rings on.
    """
    return PUSHED * a / (2 * math.pi) * math.sqrt(2 / clear)


def _measure(band: Band, hz: float, clear: float, glides: bool) -> Partial | None:
    """The mode or pair in the band laid around `hz`, which may still glide by itself."""
    decay = decay_of(band)
    if decay is None:
        return None
    sigma_hz = band.sigma_hz
    one = sounding_of(band, glides)
    if not abs(one.hz - hz) < 2.5 * sigma_hz:
        return None
    pair = pair_of(band, one.from_s)
    if pair is not None and _are_two(pair, sigma_hz, hz):
        level = tuple(_level(each, a) for each, a in zip(pair.level, pair.a, strict=True))
        modes = tuple(
            Mode(
                each,
                CENTS * math.hypot(sd_hz, LEAST_SD * each, _in_noise_hz(a, clear)) / each,
                20 * math.log10(size / level[0]),
                RT60_NEPERS / a,
            )
            for each, sd_hz, a, size in zip(pair.hz, pair.sd_hz, pair.a, level, strict=True)
        )
        beat_hz = abs(pair.hz[0] - pair.hz[1])
        return Partial(modes, level[0], 0.0, beat_hz, decay.rough_db, RT60_NEPERS / pair.a[0])
    noise_hz = _in_noise_hz(decay.a, clear)
    cents = CENTS * math.hypot(one.sd_hz, LEAST_SD * one.hz, noise_hz) / one.hz
    # The loudest is kept however vague: without it another mode would pass for the drum's pitch.
    if decay.rough_db > ROUGHEST_DB or (cents > VAGUEST_CENTS and not glides):
        return None
    ring_s = decay.ring_s if decay.sd < RING_SURE * decay.a else None
    mode = Mode(one.hz, cents, 0.0, ring_s)
    level_now = _level(decay.level, decay.a)
    return Partial((mode,), level_now, one.glide_hz, None, decay.rough_db, decay.ring_s)


def _level(amplitude: float, a: float) -> float:
    return amplitude * math.exp(-a * LEVEL_AT_S)


def _are_two(pair: Pair, sigma_hz: float, hz: float) -> bool:
    """Whether a band holds two modes rather than one that glides or decays unevenly."""
    beat = abs(pair.hz[0] - pair.hz[1])
    inside = all(abs(each - hz) < 2.5 * sigma_hz for each in pair.hz)
    alike = max(pair.a) < PAIR_RINGS * min(pair.a)
    loud = pair.level[1] > pair.level[0] * 10 ** (-PAIR_WITHIN_DB / 20)
    better = pair.better < PAIR_BETTER and pair.alone > PAIR_LEAST
    enough = pair.samples > PAIR_SAMPLES
    return inside and alike and loud and better and enough and beat * pair.heard_s > PAIR_TURNS


def _distinct(found: list[Partial]) -> list[Partial]:
    """Without those that are another group's mode heard again."""
    kept: list[Partial] = []
    for partial in sorted(found, key=lambda each: -each.level):
        hz = partial.modes[0].hz
        if all(abs(mode.hz - hz) > 0.03 * hz for other in kept for mode in other.modes):
            kept.append(partial)
    return sorted(kept, key=lambda each: each.modes[0].hz)
