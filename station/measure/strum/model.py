"""Every string of a strum as a series of partials, fitted to the sound in rounds.

A round fits all partials, each together with those that stand near (`joint.py`), then gives
every string the one pitch and stiffness its partials agree on (`fit.solve`), which says where
the next round looks for them and how sure it may be of that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, Fit, Row, partial_frequencies, solve
from station.measure.strum.joint import (
    REACH_BINS,
    Channels,
    Fitted,
    Lines,
    chosen,
    fit_lines,
    joined,
    listen,
    neighbours,
)
from station.measure.strum.peaks import Series
from station.measure.windows import Floats

MOST_PARTIALS = 32
OWN_PARTIALS = 12  # of every string; more of low ones, as far as those of high ones need them
REACHED = 6.5  # times the highest string's pitch
MEASURED_PARTIALS = 14  # that count for a string's pitch
PERIODS = 12.0  # of the lowest string, that a window is long
SHORTEST_WINDOW_S, LONGEST_WINDOW_S = 0.15, 0.3
LONGEST_WINDOW_SHARE = 0.25  # of the sound
LINE_CENTS = 0.35  # a real string's partials stand so far from where theory puts them
ROW_CENTS = 0.05
MOST_UNSURE_CENTS = 8.0
FIRST_DECAY = 2.0
THERE_SNR = 9.0
LEAST_UNSURE_CENTS = 0.05
STRAY_HZ = 1.5  # a partial so far from its window's frequency needs another window


@dataclass(frozen=True)
class Voice:
    """One string: which target it stands for, its series, and the fit the series is from."""

    target: int
    series: Series
    fit: Fit | None = None


@dataclass(frozen=True)
class Sound:
    """The part of a strum that is measured: `x`, shape (n,), its rate, and up to where it holds."""

    x: Floats
    rate_hz: float
    top_hz: float

    @property
    def seconds(self) -> float:
        """How long it is."""
        return self.x.size / self.rate_hz


@dataclass(frozen=True)
class Model:
    """Voices with their partials: `lines` as expected, `channels` what was heard there, `fitted`.

    `lines.string` numbers the voices; `weight` (n,) is how loud each channel is.
    """

    sound: Sound
    voices: tuple[Voice, ...]
    lines: Lines
    channels: Channels
    fitted: Fitted

    @property
    def weight(self) -> Floats:
        """How loud it is at each line, shape (n,)."""
        loud: Floats = np.abs(self.channels.z).mean(axis=1)
        return loud

    @property
    def near(self) -> NDArray[np.intp]:
        """Each line's neighbours, see `joint.neighbours`."""
        return neighbours(self.lines.hz, self.weight, REACH_BINS / self.channels.window_s)

    def of(self, voice: int, most: int = MOST_PARTIALS) -> NDArray[np.intp]:
        """The lines of a voice up to its partial number `most`."""
        return np.flatnonzero((self.lines.string == voice) & (self.lines.number <= most))


def window_s(sound: Sound, lowest_hz: float) -> float:
    """How long a window is."""
    wanted = min(LONGEST_WINDOW_S, max(SHORTEST_WINDOW_S, PERIODS / lowest_hz))
    return min(wanted, LONGEST_WINDOW_SHARE * sound.seconds)


def build(sound: Sound, voices: tuple[Voice, ...]) -> Model:
    """A model of `voices`, after one round."""
    lines = _lines(sound, voices)
    length_s = window_s(sound, min(voice.series.hz for voice in voices))
    channels = listen(sound.x, sound.rate_hz, lines.hz, length_s)
    near = neighbours(lines.hz, np.abs(channels.z).mean(axis=1), REACH_BINS / channels.window_s)
    fitted = fit_lines(channels, lines, near)
    return _solved(Model(sound, voices, lines, channels, fitted))


def again(model: Model, rounds: int = 1) -> Model:
    """The same after some more rounds."""
    for _ in range(rounds):
        lines = _expected(model)
        model = _retuned(replace(model, lines=lines))
        fitted = fit_lines(model.channels, model.lines, model.near)
        model = _solved(replace(model, fitted=fitted))
    return model


def without(model: Model, gone: set[int]) -> Model:
    """The same without some voices, not fitted anew."""
    kept = [number for number in range(len(model.voices)) if number not in gone]
    rows = np.flatnonzero(np.isin(model.lines.string, kept))
    renumbered = np.searchsorted(kept, model.lines.string[rows])
    lines = chosen(model.lines, rows)._replace(string=renumbered)
    return Model(
        model.sound,
        tuple(model.voices[number] for number in kept),
        lines,
        model.channels.of(rows),
        chosen(model.fitted, rows),
    )


def with_voice(model: Model, voice: Voice) -> Model:
    """The same with another voice, after one round."""
    lines = _lines(model.sound, (voice,))
    lines = lines._replace(string=np.full(lines.number.size, len(model.voices)))
    sound, channels = model.sound, model.channels
    more = listen(sound.x, sound.rate_hz, lines.hz, channels.window_s)
    lines = joined(_expected(model), lines)
    channels = channels._replace(
        hz=np.concatenate((channels.hz, more.hz)), z=np.concatenate((channels.z, more.z))
    )
    grown = replace(model, voices=(*model.voices, voice), lines=lines, channels=channels)
    fitted = fit_lines(channels, lines, grown.near)
    return _solved(replace(grown, fitted=fitted))


def _lines(sound: Sound, voices: tuple[Voice, ...]) -> Lines:
    reached = REACHED * max(voice.series.hz for voice in voices)
    parts = []
    for number, voice in enumerate(voices):
        k: Floats = np.arange(1.0, MOST_PARTIALS + 1)
        hz = partial_frequencies(voice.series.hz, voice.series.stiffness, k)
        held = (hz < sound.top_hz) & ((k <= OWN_PARTIALS) | (hz < reached))
        held[0] = True
        k, hz = k[held], hz[held]
        decay = np.full(k.size, FIRST_DECAY)
        parts.append(Lines(np.full(k.size, number), k, hz, _unsure(voice, hz), decay))
    return Lines(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _unsure(voice: Voice, hz: Floats) -> Floats:
    """How far each partial may be from its place, one standard deviation in Hz."""
    cents = math.hypot(LINE_CENTS, min(voice.series.cents_sd, MOST_UNSURE_CENTS))
    unsure: Floats = hz * (cents / CENTS)
    return unsure


def _expected(model: Model) -> Lines:
    """Where the voices put their partials now."""
    lines, fitted = model.lines, model.fitted
    hz, sd, decay = lines.hz.copy(), lines.sd_hz.copy(), fitted.decay.copy()
    for number, voice in enumerate(model.voices):
        own = model.of(number)
        hz[own] = partial_frequencies(voice.series.hz, voice.series.stiffness, lines.number[own])
        sd[own] = _unsure(voice, hz[own])
        clear = fitted.power[own] > THERE_SNR * fitted.power_sd[own]
        usual = float(np.median(fitted.decay[own][clear])) if clear.any() else FIRST_DECAY
        decay[own] = np.where(clear, fitted.decay[own], usual)
    return lines._replace(hz=hz, sd_hz=sd, decay=decay)


def _retuned(model: Model) -> Model:
    """The same with new windows for the partials that have left theirs."""
    stray = np.flatnonzero(np.abs(model.lines.hz - model.channels.hz) > STRAY_HZ)
    if not stray.size:
        return model
    sound, channels = model.sound, model.channels
    heard = listen(sound.x, sound.rate_hz, model.lines.hz[stray], channels.window_s)
    hz, z = channels.hz.copy(), channels.z.copy()
    hz[stray], z[stray] = heard.hz, heard.z
    return replace(model, channels=channels._replace(hz=hz, z=z))


def _solved(model: Model) -> Model:
    voices = tuple(
        replace(voice, fit=fit, series=_series(voice, fit))
        for voice, fit in ((each, _fit_of(model, n)) for n, each in enumerate(model.voices))
    )
    return replace(model, voices=voices)


def _series(voice: Voice, fit: Fit | None) -> Series:
    if fit is None:
        return voice.series
    return Series(fit.hz, fit.inharmonicity, max(LEAST_UNSURE_CENTS, 2 * fit.uncertainty_cents))


def _fit_of(model: Model, voice: int) -> Fit | None:
    """The one pitch a voice's partials agree on; None where none says anything."""
    own = model.of(voice, MEASURED_PARTIALS)
    fitted = model.fitted
    told = np.isfinite(fitted.sd_hz[own])
    told &= fitted.power[own] > THERE_SNR * fitted.power_sd[own]
    own = own[told]
    rows: list[Row] = [
        (float(k), float(hz), math.hypot(float(sd), float(hz) * ROW_CENTS / CENTS))
        for k, hz, sd in zip(
            model.lines.number[own], fitted.hz[own], fitted.sd_hz[own], strict=True
        )
    ]
    return solve(rows, 1.0) if rows else None
