"""All open strings of one strum: which of them sound, and how high each is.

From the peaks of one long spectrum every string gets a series of partials (`peaks.py`); all
partials are fitted together, and every string from all of its own (`model.py`); strings
that do not sound are told from those that do (`evidence.py`), looked for once more among the
peaks no other explains; courses of two are taken apart where they can be (`courses.py`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from station.errors import SignalError
from station.measure.fit import CENTS, apart_cents, partial_frequencies
from station.measure.strum.courses import split
from station.measure.strum.evidence import decided, energies, evidence_for
from station.measure.strum.model import Model, Sound, Voice, again, build, with_voice
from station.measure.strum.peaks import (
    REACH_CENTS,
    Peaks,
    Series,
    assign,
    best_series,
    peaks_of,
    standing,
    unclaimed,
)
from station.measure.strum.types import StringHeard, Target, checked
from station.measure.windows import Floats

LEAST_S = 0.45  # a shorter sound tells nothing
LEAST_STANDING = 3
ELSEWHERE_CENTS = 1.5
LOUDEST_PARTIALS = 6
MULTIPLES = np.arange(2.0, 5.0)  # of another string, at which strings of the usual tunings stand
LEAST_UNSURE_CENTS = 0.1  # by so much a string alone may settle elsewhere than in a strum


def measure_strum(
    x: Floats, rate_hz: float, top_hz: float, targets: Sequence[Target]
) -> tuple[StringHeard, ...]:
    """Every string of the strum `x`, shape (n,), which holds up to `top_hz`; lowest first.

    `x` begins when the last string has been struck, and the strokes' noise is over.
    Raises SignalError for impossible targets, samples of the wrong shape or not finite.
    """
    wanted = checked(targets)
    if x.ndim != 1:
        raise SignalError(f"a strum takes samples of shape (n,), not {x.shape}")
    if not math.isfinite(float(np.dot(x, x))):
        raise SignalError("a sample of the strum is not a finite number")
    sound = Sound(np.asarray(x, np.float64), rate_hz, top_hz)
    reached = [n for n, target in enumerate(wanted) if target.centre_hz < 0.9 * top_hz]
    model = _model(sound, wanted, reached) if sound.seconds >= LEAST_S and reached else None
    if model is None or not model.voices:
        return tuple(_missing(target) for target in wanted)
    return _told(model, wanted)


def _model(sound: Sound, targets: Sequence[Target], reached: list[int]) -> Model | None:
    peaks = peaks_of(sound.x, sound.rate_hz, sound.top_hz)
    if peaks is None or not peaks.hz.size:
        return None
    series = assign(peaks, [targets[n].centre_hz for n in reached], sound.top_hz)
    voices = tuple(Voice(n, each) for n, each in zip(reached, series, strict=True))
    pairs = _second_strings(peaks, targets, voices, sound.top_hz)
    model = decided(again(build(sound, (*voices, *pairs))))
    if not model.voices:
        return None
    tried = {voice.target: voice.series for voice in voices}
    for number in reached:
        if not _voices_of(model, number):
            model = _sought_again(model, peaks, number, targets[number], tried[number])
    for number in reached:
        if targets[number].unison > 1 and _voices_of(model, number) == 1:
            model = _taken_apart(model, number)
    model = decided(again(model))
    return again(model) if model.voices else None


def _second_strings(
    peaks: Peaks, targets: Sequence[Target], voices: Sequence[Voice], top_hz: float
) -> list[Voice]:
    """The second strings of courses, where they have peaks of their own."""
    found: list[Voice] = []
    for voice in voices:
        target = targets[voice.target]
        if target.unison < 2:
            continue
        known = [each.series for each in (*voices, *found)]
        worth = unclaimed(peaks, known, top_hz)
        series = best_series(peaks, target.centre_hz, worth, top_hz)
        if standing(peaks, series, worth, top_hz) >= LEAST_STANDING:
            found.append(Voice(voice.target, series))
    return found


def _voices_of(model: Model, number: int) -> int:
    return sum(voice.target == number for voice in model.voices)


def _series_of(model: Model) -> list[Series]:
    return [voice.series for voice in model.voices]


def _sought_again(model: Model, peaks: Peaks, number: int, target: Target, tried: Series) -> Model:
    """The model with a string that seemed to be missing, if it is found elsewhere.

    Among the peaks no string explains, or right where another string's partials stand.
    """
    top_hz = model.sound.top_hz
    places = [
        best_series(peaks, target.centre_hz, unclaimed(peaks, _series_of(model), top_hz), top_hz)
    ]
    for voice in model.voices:
        hz = partial_frequencies(voice.series.hz, voice.series.stiffness, MULTIPLES)
        near = np.abs(np.log(hz / target.centre_hz)) * CENTS < REACH_CENTS
        places += [Series(float(each), tried.stiffness, 1.0) for each in hz[near]]
    seen = [tried]
    best, found = 0.0, model
    for place in places:
        if any(apart_cents(place.hz, each.hz) < ELSEWHERE_CENTS for each in seen):
            continue
        seen.append(place)
        grown = again(with_voice(model, Voice(number, place)))
        score = evidence_for(grown, len(grown.voices) - 1).score
        if score > best:
            best, found = score, grown
    return found


def _taken_apart(model: Model, number: int) -> Model:
    for place, voice in enumerate(model.voices):
        if voice.target == number:
            return split(model, place) or model
    return model


def _told(model: Model, targets: Sequence[Target]) -> tuple[StringHeard, ...]:
    energy = energies(model)
    loud = [
        float(np.sort(energy[model.of(n, LOUDEST_PARTIALS)])[-2:].mean())
        for n in range(len(model.voices))
    ]
    loudest = max(loud) + 1e-30
    strings: list[StringHeard] = []
    for number, target in enumerate(targets):
        places = [n for n, voice in enumerate(model.voices) if voice.target == number]
        places.sort(key=lambda n: model.voices[n].series.hz)
        if not places:
            strings.append(_missing(target))
        for order, place in enumerate(places):
            level_db = 10 * math.log10((loud[place] + 1e-30) / loudest)
            strings.append(_string(model, place, target, level_db, order, len(places)))
    return tuple(strings)


def _string(
    model: Model, place: int, target: Target, level_db: float, order: int, count: int
) -> StringHeard:
    """One voice of a target that has `count`, the `order`-th from below."""
    voice = model.voices[place]
    fit, hz = voice.fit, voice.series.hz
    # Where its partials cannot be told from others' it is as sure as turns in the sound let it be.
    unsure = CENTS / (4 * model.sound.seconds * hz) if fit is None else fit.uncertainty_cents
    unsure = math.hypot(unsure, LEAST_UNSURE_CENTS)
    alone = count > 1 and len(target.numbers) == count
    numbers, target_hz = target.numbers, target.centre_hz
    if alone:
        by_pitch = sorted(zip(target.hz, target.numbers, strict=True), key=lambda pair: pair[0])
        target_hz, one = by_pitch[order]
        numbers = (one,)
    return StringHeard(
        numbers,
        target.note,
        target_hz,
        hz,
        unsure,
        voice.series.stiffness,
        0 if fit is None else fit.partials,
        level_db,
        1 if count > 1 else target.unison,
        order + 1 if count > 1 and not alone else 0,
    )


def _missing(target: Target) -> StringHeard:
    return StringHeard(target.numbers, target.note, target.centre_hz, None, unison=target.unison)
