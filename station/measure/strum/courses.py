"""Two strings of one course: one pitch, or two near each other?

Each partial of a pair is two decaying sinusoids, the same few cents apart at every partial. A
second string is looked for a little above and below the first; it is there if all partials
are explained much better with it, and not just by a string that beats with itself, as
its two directions of swing make it do, within a cent.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from station.measure.fit import CENTS, apart_cents
from station.measure.strum.evidence import energies
from station.measure.strum.joint import (
    REACH_BINS,
    Lines,
    chosen,
    fit_lines,
    joined,
    neighbours,
)
from station.measure.strum.model import Model, Voice, again, with_voice
from station.measure.strum.peaks import Series

TRIED_CENTS = (1.2, 1.8, 2.7, 4.0, 6.0)
TRIED_UNSURE = 0.25  # of how far away it is tried
LEAST_CENTS = 1.0
LEAST_GAIN_DB = 10.0  # in what is left, the median of the partials
LEAST_LEVEL_DB = -20.0
LOOKED_AT = 8


class _Tried(NamedTuple):
    series: Series
    gain_db: float


def split(model: Model, voice: int) -> Model | None:
    """The model with the second string of a voice's course; None where they are one pitch."""
    first = model.voices[voice].series
    tried: list[_Tried] = []
    for cents in TRIED_CENTS:
        for side in (-cents, cents):
            near = Series(first.hz * math.exp(side / CENTS), first.stiffness, TRIED_UNSURE * cents)
            tried.append(_try(model, voice, near))
    best = max(tried, key=lambda each: each.gain_db)
    if best.gain_db < LEAST_GAIN_DB:
        return None
    target = model.voices[voice].target
    both = again(with_voice(model, Voice(target, best.series)))
    pair = (both.voices[voice], both.voices[-1])
    if any(each.fit is None for each in pair):
        return None
    if apart_cents(pair[0].series.hz, pair[1].series.hz) < LEAST_CENTS:
        return None
    return both if _level_db(both, voice) >= LEAST_LEVEL_DB else None


def _level_db(model: Model, voice: int) -> float:
    """The new voice's level against the one it was found beside, whichever is the louder."""
    energy = energies(model)
    levels = [
        float(np.sort(energy[model.of(each, LOOKED_AT)])[-3:].mean())
        for each in (voice, len(model.voices) - 1)
    ]
    return 10 * math.log10((min(levels) + 1e-14) / (max(levels) + 1e-14))


def _try(model: Model, voice: int, series: Series) -> _Tried:
    """How much less is left of the voice's partials with another string at `series`."""
    own = model.of(voice, LOOKED_AT)
    first = model.voices[voice].series
    if apart_cents(series.hz, first.hz) < LEAST_CENTS:
        return _Tried(series, 0.0)
    second = chosen(model.lines, own)
    ratio = series.hz / first.hz
    unsure = second.hz * (math.hypot(series.cents_sd, 0.3) / CENTS)
    second = second._replace(
        hz=second.hz * ratio,
        sd_hz=unsure,
        string=np.full(own.size, len(model.voices)),
    )
    lines: Lines = joined(model.lines, second)
    weight = np.concatenate((model.weight, model.weight[own]))
    near = neighbours(lines.hz, weight, REACH_BINS / model.channels.window_s)[own]
    left = fit_lines(model.channels.of(own), lines, near, own).left
    strong = model.fitted.power[own] > 9 * model.fitted.power_sd[own]
    if not strong.any():
        strong[:] = True
    gain = 10 * np.log10((model.fitted.left[own][strong] + 1e-30) / (left[strong] + 1e-30))
    return _Tried(series, float(np.median(gain)))
