"""Decaying partials that stand close together, fitted together.

Each partial is heard through a Hann window that steps along the strum. A filter makes of a
decaying sinusoid the same decaying sinusoid, so what window after window hears is a sum of
a few of them, z(t) = sum of a exp((2 pi i (f - f_c) - d) t), f_c the window's own frequency: the
partial it was tuned to and those of other strings that stand near. Amplitudes a by linear
least squares, frequencies f and decays d by Gauss-Newton on all three (variable projection:
Golub & Pereyra 1973; for damped sinusoids Kumaresan & Tufts 1982). What is known beforehand,
where the strings' own series put each partial and how sure, counts as measured once
(a Gaussian prior; Tarantola, Inverse Problem Theory, ch. 3): so partials that cannot be told
apart stay where the other partials of their strings put them, and what the sound itself
says of each is the posterior's information less the prior's.

All windows are fitted at once in arrays; c counts the windows' frequencies, p the partials
near one (the first is the one it is tuned to), w the windows' places.
"""

from __future__ import annotations

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from station.measure.windows import Floats, Phasors, Windows

STEPS_A_WINDOW = 6
NOISE_BANDWIDTH = 1.5  # of a Hann window, in bins (Harris 1978, table I)
REACH_BINS = 4.0  # partials further away lie under the window's side lobes
MOST_NEAR = 4
ROUNDS = 4
DECAY_SPREAD = 0.7  # of the logarithm of a decay, beforehand
LEAST_DECAY, MOST_DECAY = 0.05, 60.0  # 1/s
LONGEST_STEP = 0.15  # in turns over the whole sound
LEAST_MISFIT = 1e-8  # share of power: what rounding leaves
SMALL = 1e-9
LEAST_FREEDOM = 4.0
SHARED = 1e-4  # of a wave's power: what keeps the amplitudes of near twins small


class Channels(NamedTuple):
    """What windows tuned to `hz` (c,) heard at times `t` (w,) after the first: `z` (c, w).

    Phases count against a steady sinusoid of the channel's frequency. `worth` is how much
    independent noise a window has, against the next.
    """

    hz: Floats
    t: Floats
    z: Phasors
    window_s: float
    worth: float

    def of(self, rows: NDArray[np.intp]) -> Channels:
        """Some of them, `rows` their numbers."""
        return self._replace(hz=self.hz[rows], z=self.z[rows])


class Lines(NamedTuple):
    """Partials: which string (n,), which number (n,), expected `hz`, its standard deviation,
    expected decay in 1/s, all (n,).
    """

    string: NDArray[np.intp]
    number: Floats
    hz: Floats
    sd_hz: Floats
    decay: Floats


class Fitted(NamedTuple):
    """The same partials as heard, all (n,).

    `hz` and `sd_hz` are what the sound alone says (sd inf where it says nothing), `decay` in
    1/s, `power` of the partial at the beginning, `power_sd` one standard deviation of its
    amplitude, squared; `misfit` the share of the window's power no partial explains;
    `left` that power itself.
    """

    hz: Floats
    sd_hz: Floats
    decay: Floats
    power: Floats
    power_sd: Floats
    misfit: Floats
    left: Floats


T = TypeVar("T", Lines, Fitted)


def chosen(table: T, rows: NDArray[np.intp]) -> T:
    """Some rows of `Lines` or `Fitted`."""
    return table._replace(**{name: column[rows] for name, column in table._asdict().items()})


def joined(first: T, second: T) -> T:
    """Two tables as one."""
    columns = second._asdict()
    return first._replace(
        **{name: np.concatenate((had, columns[name])) for name, had in first._asdict().items()}
    )


def listen(x: Floats, rate_hz: float, hz: Floats, window_s: float) -> Channels:
    """`x`, shape (n,), through windows tuned to `hz`, shape (c,)."""
    size = round(window_s * rate_hz)
    step = max(1, size // STEPS_A_WINDOW)
    windows = Windows(hz, rate_hz, size)
    heard = windows.hear(np.ascontiguousarray(x, np.float32), step).T
    t = np.arange(heard.shape[1]) * (step / rate_hz)
    z: Phasors = heard * np.exp(-2j * np.pi * hz[:, None] * t)
    worth = min(1.0, NOISE_BANDWIDTH * step / size)
    return Channels(hz, t, z, size / rate_hz, worth)


def neighbours(hz: Floats, weight: Floats, reach_hz: float) -> NDArray[np.intp]:
    """For each partial, itself and up to MOST_NEAR - 1 others within reach, (n, p), -1 for none.

    The most disturbing ones: by their expected strength and how near they stand.
    """
    away = np.abs(hz[:, None] - hz[None, :])
    bins = away / reach_hz * REACH_BINS
    disturbing = np.where(away < reach_hz, weight[None, :] / (1 + bins**3), -1.0)
    np.fill_diagonal(disturbing, np.inf)
    order = np.argsort(-disturbing, axis=1)[:, :MOST_NEAR]
    held = np.take_along_axis(disturbing, order, axis=1) > 0
    found: NDArray[np.intp] = np.where(held, order, -1)
    return found


def fit_lines(
    channels: Channels,
    lines: Lines,
    near: NDArray[np.intp],
    rows: NDArray[np.intp] | slice = slice(None),
) -> Fitted:
    """The partials `rows` of `lines`, each in the channel tuned to it, with its neighbours `near`.

    `channels` and `near` have a row for each of them.
    """
    t = channels.t - channels.t[0]
    held = near >= 0
    at = np.where(held, near, 0)
    centre = channels.hz[:, None]
    expected = lines.hz[at] - centre
    prior_sd = np.where(held, lines.sd_hz[at], 1e-6)
    log_decay = np.log(lines.decay[at])
    expected_log = log_decay.copy()
    hz = expected.copy()
    for _ in range(ROUNDS):
        wave, amplitude, rest = _amplitudes(channels.z, t, hz, log_decay, held)
        matrix, slope, noise = _normal(channels, t, wave, amplitude, rest, log_decay, held)
        step = _step(matrix, slope, noise, expected - hz, prior_sd, expected_log - log_decay)
        p = near.shape[1]
        limit = LONGEST_STEP / max(t[-1], SMALL)
        hz = hz + np.clip(step[:, 2 * p : 3 * p], -limit, limit) * held
        log_decay = log_decay + np.clip(step[:, 3 * p :], -0.5, 0.5) * held
        log_decay = np.clip(log_decay, np.log(LEAST_DECAY), np.log(MOST_DECAY))
    wave, amplitude, rest = _amplitudes(channels.z, t, hz, log_decay, held)
    matrix, slope, noise = _normal(channels, t, wave, amplitude, rest, log_decay, held)
    return _told(channels, lines.hz[rows], hz, prior_sd, log_decay, amplitude, matrix, noise, rest)


def _amplitudes(
    z: Phasors, t: Floats, hz: Floats, log_decay: Floats, held: NDArray[np.bool_]
) -> tuple[Phasors, Phasors, Phasors]:
    """Waves (c, p, w), amplitudes (c, p) and what they leave (c, w)."""
    rate = 2j * np.pi * hz - np.exp(log_decay)
    wave: Phasors = np.exp(rate[:, :, None] * t) * held[:, :, None]
    gram: Phasors = wave.conj() @ wave.transpose(0, 2, 1)
    right = (wave.conj() @ z[:, :, None])[:, :, 0]
    p = hz.shape[1]
    # Near twins share their amplitude instead of standing against each other.
    ridge = SHARED * np.abs(gram[:, 0, 0])[:, None] + np.where(held, SMALL, 1.0)
    gram = gram + np.eye(p) * ridge[:, None, :]
    amplitude: Phasors = np.linalg.solve(gram, right[:, :, None])[:, :, 0] * held
    rest: Phasors = z - (amplitude[:, None, :] @ wave)[:, 0, :]
    return wave, amplitude, rest


def _normal(
    channels: Channels,
    t: Floats,
    wave: Phasors,
    amplitude: Phasors,
    rest: Phasors,
    log_decay: Floats,
    held: NDArray[np.bool_],
) -> tuple[Floats, Floats, Floats]:
    """Normal matrix (c, 4p, 4p), right side (c, 4p) and noise in a window's real part (c,)."""
    late = t * wave
    back = wave.conj().transpose(0, 2, 1)
    # Every derivative is a wave, or a wave times t, times a number: three tables hold all products.
    none, once, twice = wave @ back, late @ back, late @ late.conj().transpose(0, 2, 1)
    table = np.block([[none, once.conj().transpose(0, 2, 1)], [once, twice]])
    p = held.shape[1]
    at = np.concatenate((np.arange(p), np.arange(p), p + np.arange(p), p + np.arange(p)))
    one = np.ones_like(amplitude)
    factor = np.concatenate(
        (one, 1j * one, 2j * np.pi * amplitude, -np.exp(log_decay) * amplitude), axis=1
    )
    products = table[:, at][:, :, at] * factor[:, :, None] * factor.conj()[:, None, :]
    matrix: Floats = products.real
    projected = np.concatenate((wave, late), axis=1).conj() @ rest[:, :, None]
    slope: Floats = (factor.conj() * projected[:, at, 0]).real
    freedom = 2 * t.size * channels.worth - 4 * held.sum(axis=1)
    squares = np.square(np.abs(rest)).sum(axis=1) * channels.worth
    floor = LEAST_MISFIT * np.square(np.abs(channels.z)).mean(axis=1)
    noise: Floats = squares / np.maximum(freedom, LEAST_FREEDOM) + floor + 1e-24
    return matrix * channels.worth, slope * channels.worth, noise


def _step(
    matrix: Floats,
    slope: Floats,
    noise: Floats,
    off_hz: Floats,
    prior_sd: Floats,
    off_decay: Floats,
) -> Floats:
    """One Gauss-Newton step (c, 4p): what the sound says and what was known beforehand."""
    c, p = off_hz.shape
    known = np.zeros((c, 4 * p))
    known[:, 2 * p : 3 * p] = 1 / np.square(prior_sd)
    known[:, 3 * p :] = 1 / DECAY_SPREAD**2
    pulled = np.zeros((c, 4 * p))
    pulled[:, 2 * p : 3 * p] = off_hz / np.square(prior_sd)
    pulled[:, 3 * p :] = off_decay / DECAY_SPREAD**2
    return _solved(matrix / noise[:, None, None], slope / noise[:, None] + pulled, known)[0]


def _solved(matrix: Floats, right: Floats, known: Floats) -> tuple[Floats, Floats]:
    """Solution (c, q) and the inverse (c, q, q), scaled so that amplitudes of any size do."""
    q = right.shape[1]
    whole = matrix + np.eye(q) * known[:, None, :]
    size = np.sqrt(np.maximum(np.einsum("cqq->cq", whole), 1e-30))
    scaled = whole / (size[:, :, None] * size[:, None, :]) + np.eye(q) * 1e-10
    inverse: Floats = np.linalg.inv(scaled) / (size[:, :, None] * size[:, None, :])
    return (inverse @ right[:, :, None])[:, :, 0], inverse


def _told(
    channels: Channels,
    expected: Floats,
    hz: Floats,
    prior_sd: Floats,
    log_decay: Floats,
    amplitude: Phasors,
    matrix: Floats,
    noise: Floats,
    rest: Phasors,
) -> Fitted:
    c, p = hz.shape
    known = np.zeros((c, 4 * p))
    known[:, 2 * p : 3 * p] = 1 / np.square(prior_sd)
    known[:, 3 * p :] = 1 / DECAY_SPREAD**2
    _, spread = _solved(matrix / noise[:, None, None], np.zeros((c, 4 * p)), known)
    variance = spread[:, 2 * p, 2 * p]
    before = np.square(prior_sd[:, 0])
    information = np.maximum(1 / variance - 1 / before, 0.0)
    told = information > 1e-6 / before
    safe = np.where(told, information, 1.0)
    own = hz[:, 0] + channels.hz
    alone = expected + (own - expected) / variance / safe
    own_power = np.square(np.abs(amplitude[:, 0]))
    # Of an amplitude's two directions, the surer one tells whether it is there at all.
    amplitude_variance = np.minimum(spread[:, 0, 0], spread[:, p, p]) + np.maximum(
        spread[:, 0, 0], spread[:, p, p]
    )
    whole = np.square(np.abs(channels.z)).mean(axis=1)
    left = np.square(np.abs(rest)).mean(axis=1)
    return Fitted(
        np.where(told, alone, expected),
        np.where(told, np.sqrt(1 / safe), np.inf),
        np.exp(log_decay[:, 0]),
        own_power,
        amplitude_variance,
        left / np.maximum(whole, 1e-30),
        left,
    )
