"""One mode by itself: the sound in a narrow band, and what is fitted to it.

A Gaussian in the spectrum around a mode leaves that mode's complex amplitude over time; a
Gaussian rings least of all filters of its width (Gabor 1946). After the attack that is
amplitude exp(-a t + i phase). Its **level** is fitted with decay and noise floor together, in
decibels (Xiang 1995, J. Acoust. Soc. Am. 98, 2112: nonlinear regression of a decay in noise);
RT60 = 3 ln(10) / a. Its **phase**: a head's tension rises with the square of its displacement
(Fletcher & Rossing, The Physics of Musical Instruments, on nonlinear membranes), so the pitch
stands off where it settles by d exp(-2 a t), and the phase is a line and d (1 - exp(-2 a t)) / 2 a
together: the line's slope is the settled pitch. So far may a hard stroke glide that a fixed band
loses it; the band then **follows** the glide found so far, for all modes in the same proportion,
for one tension carries them. Two modes close together are in `pairs.py`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from station.measure.windows import Floats, Phasors

RT60_NEPERS = 3 * math.log(10)
CENTS = 1200 / math.log(2)  # of a relative difference, when it is small
EDGE = 2.5  # so many of the filter's own time constants the stroke's beginning rings in it
LAST_EDGE = 0.8  # where the sound was cut off it has died away: less is disturbed
STEPS_A_SIGMA = 10  # samples kept a second and hertz of width: the Gaussian ends by half of it
RANGE_DB = 35.0  # evaluated: as far as ISO 3382-1's T30, which ends 35 dB down
FLOOR_DB = 6.0  # above the noise the phase still counts
PHASE_RAD = 0.05  # what a real mode strays from any model, however little noise there is
LEAST_STEPS = 6
CUT_STEPS, CUT_DB = 3, 12.0  # half of what the Gaussian's own fall is in so many steps
CUT_LATE = 2  # more the phase counts: the answer to a tone that ends is in phase with it
FIT_STEPS, FIT_DONE, FIT_STUCK = 25, 0.9999, 1e3
LEAST_FALL = 1.0  # nepers of power a second: RT60 of 14 s
NEPERS_A_DB = math.log(10) / 10  # of power
STRAY_NEPERS = 0.1  # half a decibel: real modes decay no more smoothly
BANDWIDTH = math.sqrt(math.pi)  # over its width: so many hertz of noise pass
SHARED_STEPS = STEPS_A_SIGMA / BANDWIDTH  # so many neighbours in time are one sample of the noise
CLEAR_DB = 12.0
FARTHEST_DB = 55.0
SETTLED_SHARE = 0.001  # 1.7 cents: nearer than that the glide may be trusted to be what was fitted
STEADY_PAIR_SHARE = 0.003  # two modes together may be looked for a little earlier
STEADY_STEPS = 5
STEADY_SHARE = 0.27  # of the filter's width in a step: noise alone jumps by 0.4 and more
# Of 46 recorded toms' strokes, from the softest to the hardest, half glided less than 12 percent.
GLIDE_MEAN, GLIDE_SHARE = 0.02, 0.03
TINY = 1e-20


class Band(NamedTuple):
    """A mode's complex amplitude `z`, shape (n,), from `start_s` on every `step_s`.

    Time counts from the stroke; `centre_hz` is 0 of its phase; `noise` is the power before the
    stroke. `sigma_hz` is the filter's width.
    """

    z: Phasors
    start_s: float
    step_s: float
    centre_hz: float
    sigma_hz: float
    noise: float

    @property
    def t(self) -> Floats:
        """Times of `z`, shape (n,)."""
        times: Floats = self.start_s + self.step_s * np.arange(self.z.size)
        return times


class Decay(NamedTuple):
    """What was fitted to a band's level: at the stroke, and its fall `a` in nepers a second."""

    level: float  # amplitude at the stroke
    a: float
    sd: float  # of `a`
    floor: float  # power of the noise
    last_s: float  # as far as it was above it
    rough_db: float  # rms deviation from the model

    @property
    def ring_s(self) -> float:
        """RT60."""
        return RT60_NEPERS / self.a


class Glide(NamedTuple):
    """How a stroke's modes glide: `share` of their frequency times `shape`, 1 and less, at `t`."""

    t: Floats
    shape: Floats
    share: float

    def turned(self, hz: float, t: Floats) -> Floats:
        """By what phase a mode of frequency `hz` is ahead at `t`, since the stroke."""
        grid = np.concatenate(([0.0], self.t))
        shape = np.concatenate((self.shape[:1], self.shape))
        area = np.concatenate(([0.0], np.cumsum(np.diff(grid) * (shape[1:] + shape[:-1]) / 2)))
        ahead: Floats = 2 * np.pi * hz * self.share * np.interp(t, grid, area)
        return ahead


NO_GLIDE = Glide(np.zeros(1), np.zeros(1), 0.0)


class Sounding(NamedTuple):
    """A single mode's settled pitch, `glide_hz` more at its loudest.

    It is nearly so from `from_s` on, and was heard until `to_s`.
    """

    hz: float
    sd_hz: float
    glide_hz: float
    from_s: float
    to_s: float


class Ring:
    """A stroke's sound `x`, shape (n,), at `rate_hz`, which begins with sample `onset`."""

    def __init__(self, x: Floats, rate_hz: float, onset: int) -> None:
        self._rate_hz = rate_hz
        self._onset = onset
        self._size = x.size
        self._padded = 1 << (x.size + round(0.2 * rate_hz)).bit_length()
        self._spectrum = np.fft.rfft(x - x.mean(), self._padded)
        self._analytic: Phasors = np.fft.ifft(self._spectrum, self._padded)

    def band(self, hz: float, sigma_hz: float, glide: Glide = NO_GLIDE) -> Band:
        """The complex amplitude near `hz` after the stroke, clear of both its ends.

        The filter follows `glide`, which is taken out of what it gives: `bent` puts it back.
        """
        spectrum = self._spectrum if glide.share == 0 else self._straight(hz, glide)
        bin_hz = self._rate_hz / self._padded
        half = max(8, round(STEPS_A_SIGMA / 2 * sigma_hz / bin_hz))
        middle = round(hz / bin_hz)
        at = np.arange(middle - half, middle + half)
        inside = (at > 0) & (at < spectrum.size)
        gain = np.exp(-0.5 * np.square((at * bin_hz - hz) / sigma_hz))
        taken = np.where(inside, spectrum[np.where(inside, at, 0)], 0) * gain
        # Twice, for the negative frequencies; the middle bin becomes frequency 0.
        z: Phasors = np.fft.ifft(np.fft.ifftshift(taken)) * (4 * half / self._padded)
        step_s = self._padded / self._rate_hz / (2 * half)
        edge_s = EDGE / (2 * np.pi * sigma_hz)
        began_s = self._onset / self._rate_hz
        first = math.ceil((began_s + edge_s) / step_s)
        last = math.floor((self._size / self._rate_hz - edge_s * LAST_EDGE) / step_s)
        before = z[math.ceil(edge_s / step_s) : max(0, math.floor((began_s - edge_s) / step_s))]
        noise = float(np.mean(np.square(np.abs(before)))) if before.size else 0.0
        start_s = first * step_s - began_s
        return Band(
            z[first : max(first, last + 1)], start_s, step_s, middle * bin_hz, sigma_hz, noise
        )

    def _straight(self, hz: float, glide: Glide) -> Phasors:
        """The spectrum without the glide that a mode of frequency `hz` has."""
        t = (np.arange(self._size) - self._onset) / self._rate_hz
        straight = self._analytic[: self._size] * np.exp(-1j * glide.turned(hz, t))
        spectrum: Phasors = np.fft.fft(straight, self._padded)[: self._spectrum.size]
        return spectrum


def decay_of(band: Band) -> Decay | None:
    """The band's decay and the noise below it, fitted together; None where nothing decays."""
    power = np.square(np.abs(band.z)) + TINY
    if power.size < LEAST_STEPS:
        return None
    level: Floats = np.log(power)
    rang = _until_cut_off(power)
    stop = min(rang, last_above(level, float(level[:LEAST_STEPS].max()) - RANGE_DB * NEPERS_A_DB))
    if stop < LEAST_STEPS:
        return None
    # What comes after the mode's pitch begins to jump is noise; before that there is none to see.
    rest = power[_steady(band, rang) : rang]
    quiet = math.log(rest.mean()) if rest.size >= LEAST_STEPS else float(level[:rang].min()) - 3.0
    fitted = _with_floor(band.t[:stop], level[:stop], quiet)
    if fitted is None:
        return None
    (start, slope, ground), sd, rough = fitted
    above = start + slope * band.t[:rang] > ground + FLOOR_DB * NEPERS_A_DB
    last = min(stop, int(np.count_nonzero(above)))
    if last < LEAST_STEPS:
        return None
    last_s = float(band.t[last - 1])
    amplitude = math.exp(start / 2)
    return Decay(amplitude, -slope / 2, sd / 2, math.exp(ground), last_s, rough / NEPERS_A_DB)


def _until_cut_off(power: Floats) -> int:
    """How many steps a mode rang before a hand, a gate or a recording's end cut off its `power`.

    Then a band falls as its own Gaussian lets it, by 5, 8, 11 dB a step; a mode dies away
    as evenly as before. What is left of it then is the filter's answer, and tells no decay.
    """
    level_db = 10 * np.log10(power)
    if level_db.size < LEAST_STEPS + CUT_STEPS:
        return level_db.size
    highest_later = np.maximum.accumulate(level_db[::-1])[::-1]
    falls = level_db[:-CUT_STEPS] - highest_later[CUT_STEPS:]
    steps = np.arange(1, falls.size + 1)
    evenly = (level_db[0] - level_db[:-CUT_STEPS]) * CUT_STEPS / steps
    at = np.flatnonzero((falls > CUT_DB) & (evenly < CUT_DB / 3.0) & (steps > LEAST_STEPS + 1))
    return int(at[0]) - 1 if at.size else level_db.size


def last_above(level: Floats, least: float) -> int:
    """How many steps until the level stays below `least`: the trough of a beat is not the end."""
    return int(np.count_nonzero(np.maximum.accumulate(level[::-1]) >= least))


def _with_floor(
    t: Floats, level: Floats, quiet: float
) -> tuple[tuple[float, float, float], float, float] | None:
    """log(exp(start + slope t) + exp(ground)) fitted to `level`: the three, sd of the slope, rms.

    The ground is at most about `quiet`. Levenberg's method (Marquardt 1963). Where noise rules,
    a level scatters by 5.6 dB (the logarithm of an exponential variate has the standard
    deviation pi / sqrt 6 nepers) and counts less.
    """
    third = max(LEAST_STEPS // 2, level.size // 3)
    slope, start = np.polyfit(t[: 2 * third], level[: 2 * third], 1)
    if slope >= -LEAST_FALL:
        return None
    at: Floats = np.array([start, slope, quiet - 1.0])
    least, most = min(quiet, float(level.min())) - 3.0, quiet + 0.5
    best, fit = at, _trial(t, level, at)
    damping = 1e-2
    for _ in range(FIT_STEPS):
        columns = np.stack((fit.share, fit.share * t, 1 - fit.share), axis=1) * fit.weight[:, None]
        square = columns.T @ columns
        square += np.diag(damping * np.diag(square) + TINY)
        at = best + np.linalg.solve(square, columns.T @ fit.off)
        at[2] = min(max(float(at[2]), least), most)
        tried = _trial(t, level, at)
        if tried.cost < fit.cost:
            done = tried.cost > fit.cost * FIT_DONE
            best, fit, damping = at, tried, damping / 4
        else:
            done, damping = damping > FIT_STUCK, damping * 8
        if done:
            break
    if best[1] >= -LEAST_FALL:
        return None
    spread = float(np.sum(fit.share * np.square(t - t.mean()))) + TINY
    sd = math.sqrt(fit.cost * SHARED_STEPS / spread)
    return (float(best[0]), float(best[1]), float(best[2])), sd, math.sqrt(fit.cost)


class _Trial(NamedTuple):
    """A decay tried: what is off, weighed; the decaying sound's share of the power; mean square."""

    off: Floats
    weight: Floats
    share: Floats
    cost: float


def _trial(t: Floats, level: Floats, at: Floats) -> _Trial:
    decaying, ground = at[0] + at[1] * t, at[2]
    model = np.logaddexp(decaying, ground)
    share = np.exp(decaying - model)
    weight = 1 / np.hypot(STRAY_NEPERS, np.pi / math.sqrt(6) * (1 - share))
    off = (level - model) * weight
    return _Trial(off, weight, share, float(np.dot(off, off) / np.dot(weight, weight)))


def glide_of(band: Band, sounding: Sounding) -> Glide:
    """How the loudest mode's glide bends all the others."""
    power = np.square(np.abs(band.z)) + TINY
    share = max(0.0, sounding.glide_hz / sounding.hz)
    return Glide(band.t, power / power.max(), share)


def bent(band: Band, hz: float, glide: Glide) -> Band:
    """The band with the glide put back that the filter followed."""
    return band._replace(z=band.z * np.exp(1j * glide.turned(hz, band.t)))


def sounding_of(band: Band, glides: bool) -> Sounding:
    """The pitch at which a single mode settles, and its glide if it `glides`.

    What bends the pitch is the power as it was measured: hard strokes die away fast at first.
    """
    power = np.square(np.abs(band.z)) + TINY
    count = _steady(band, _until_cut_off(power))
    t, power = band.t[:count], power[:count]
    phase: Floats = np.unwrap(np.angle(band.z[:count]))
    shape = power / power.max() if glides else np.zeros(count)
    bend = np.cumsum(shape) * band.step_s
    weight = 1 / np.hypot(PHASE_RAD, np.sqrt(max(band.noise, TINY) / (2 * power)))
    fit = _line_and_bend(t, phase, bend, weight, band.centre_hz)
    # Where the pitch is still far off, the model of the glide is least to be trusted.
    near = _first_within(SETTLED_SHARE, fit.glide_hz * shape / band.centre_hz)
    first = min(near, count // 2)
    if first:
        late = slice(first, None)
        bent = 2 * np.pi * fit.glide_hz * bend[late]
        line = _line_and_bend(t[late], phase[late] - bent, 0 * bent, weight[late], band.centre_hz)
        # What glide is left is as unsure as it is large: it goes with the power of all modes, and
        # this is one's. (22 recorded toms, cut off after 0.25 to 0.5 s, were off by so much.)
        left_hz = abs(fit.glide_hz) * float(shape[late].mean())
        fit = line._replace(glide_hz=fit.glide_hz, sd_hz=math.hypot(line.sd_hz, left_hz))
    off = phase - 2 * np.pi * (fit.start + fit.slope_hz * t + fit.glide_hz * bend)
    fit = fit._replace(sd_hz=math.hypot(fit.sd_hz, _wanders_hz(t[first:], off[first:])))
    steady = min(
        _first_within(STEADY_PAIR_SHARE, fit.glide_hz * shape / band.centre_hz), count // 2
    )
    hz = band.centre_hz + fit.slope_hz
    return Sounding(hz, fit.sd_hz, fit.glide_hz, float(t[steady]), float(t[-1]))


def _first_within(share: float, off: Floats) -> int:
    """From which step on `off` stays below `share`."""
    far = np.flatnonzero(np.abs(off) >= share)
    return int(far[-1]) + 1 if far.size else 0


def _wanders_hz(t: Floats, off: Floats) -> float:
    """How far the pitch of each half of a stretch lies from that of the whole."""
    half = t.size // 2
    if half < LEAST_STEPS // 2:
        return 0.0
    early, late = (np.polyfit(t[part], off[part], 1)[0] for part in (np.s_[:half], np.s_[half:]))
    return float(abs(late - early)) / (4 * np.pi)


def _steady(band: Band, rang: int) -> int:
    """How many steps the mode is clear of the noise: its pitch does not jump about.

    `rang` are those before it was cut off.
    """
    power = np.square(np.abs(band.z)) + TINY
    least = max(band.noise * 10 ** (CLEAR_DB / 10), float(power.max()) * 10 ** (-FARTHEST_DB / 10))
    count = max(LEAST_STEPS, min(rang + CUT_LATE, last_above(power, least)))
    turn = np.diff(np.unwrap(np.angle(band.z[:count])))
    jump = np.abs(np.diff(turn)) / (2 * np.pi * band.step_s * band.sigma_hz)
    rough = np.convolve(jump, np.full(STEADY_STEPS, 1 / STEADY_STEPS), "valid") > STEADY_SHARE
    return max(LEAST_STEPS, int(np.argmax(rough)) + 2) if rough.any() else count


class _Bent(NamedTuple):
    start: float
    slope_hz: float
    glide_hz: float
    sd_hz: float


def _line_and_bend(t: Floats, phase: Floats, bend: Floats, weight: Floats, hz: float) -> _Bent:
    """Weighted least squares of a phase by a line and `bend`."""
    columns = 2 * np.pi * np.stack((np.ones_like(t), t, bend), axis=1)
    # A weak pull to a usual glide: short sounds cannot tell one from a higher pitch.
    held = np.vstack((columns * weight[:, None], [0.0, 0.0, 1 / (GLIDE_SHARE * hz)]))
    inverse = np.linalg.pinv(held)
    wanted = np.append(phase * weight, GLIDE_MEAN / GLIDE_SHARE)
    start, slope, glide = (float(each) for each in inverse @ wanted)
    off = phase - columns @ np.array([start, slope, glide])
    scatter = max(1.0, float(np.mean(np.square(off * weight))))
    sd = math.sqrt(scatter * SHARED_STEPS * float(np.square(inverse[1]).sum()))
    return _Bent(start, slope, glide, sd)
