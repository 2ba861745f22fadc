"""Two modes close together: the same band as two damped exponentials.

Poles by matrix pencil (Hua & Sarkar 1990, IEEE Trans. ASSP 38, 814), levels by least squares,
and how sure the poles are by the same least squares linearised.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from station.measure.drums.bands import (
    BANDWIDTH,
    CLEAR_DB,
    RANGE_DB,
    TINY,
    Band,
    last_above,
)
from station.measure.windows import Floats, Phasors

LEAST_PENCIL = 10
PENCIL_STEP = 2  # every second: the filter has fallen by 27 dB where it folds back


class Pair(NamedTuple):
    """Two damped exponentials, the louder first: frequencies, falls and amplitudes at t = 0.

    `better` is what they leave unexplained over what one alone leaves, `alone`, a share of power;
    `samples` are how many independent ones of the band they were fitted to, `sd_hz` each one's own.
    """

    hz: tuple[float, float]
    a: tuple[float, float]
    level: tuple[float, float]
    sd_hz: tuple[float, float]
    better: float
    alone: float
    heard_s: float
    samples: float


def pair_of(band: Band, first_s: float) -> Pair | None:
    """Two damped exponentials in the band since `first_s`; None where they are not two."""
    power = np.square(np.abs(band.z)) + TINY
    least = max(band.noise * 10 ** (CLEAR_DB / 10), float(power.max()) * 10 ** (-RANGE_DB / 10))
    part = slice(int(np.searchsorted(band.t, first_s)), last_above(power, least))
    z = band.z[part][::PENCIL_STEP]
    if z.size < LEAST_PENCIL:
        return None
    step_s = band.step_s * PENCIL_STEP
    t = float(band.t[part][0]) + step_s * np.arange(z.size)
    rows = np.lib.stride_tricks.sliding_window_view(z, z.size // 2 + 1)
    right = np.linalg.svd(rows, full_matrices=False)[2]
    (alone, _, _), (misfit, logs, level) = (_damped(z, t, right[:many]) for many in (1, 2))
    if not np.all(np.isfinite(logs)) or np.any(logs.real >= 0):
        return None
    first, second = np.argsort(-np.abs(level))
    hz = band.centre_hz + logs.imag / (2 * np.pi)
    heard_s = float(t[-1] - t[0])
    samples = BANDWIDTH * band.sigma_hz * heard_s
    sd_hz = _pair_sd_hz(t, logs, level, misfit * float(np.square(np.abs(z)).sum()), samples)
    return Pair(
        (float(hz[first]), float(hz[second])),
        (float(-logs.real[first]), float(-logs.real[second])),
        (float(abs(level[first])), float(abs(level[second]))),
        (float(sd_hz[first]), float(sd_hz[second])),
        misfit / max(alone, TINY),
        alone,
        heard_s,
        samples,
    )


def _pair_sd_hz(t: Floats, logs: Phasors, level: Phasors, left: float, samples: float) -> Floats:
    """The standard deviations of damped exponentials' frequencies, from the power they leave.

    The linearised least squares of poles and levels (for white noise the Cramer-Rao bound: Hua
    & Sarkar 1990 compare their pencil with it). Each fitted number takes a sample away.
    """
    each = np.exp(np.outer(t, logs))
    slopes = np.concatenate((each * level * t[:, None], each), axis=1)
    free = max(samples - slopes.shape[1], 0.5)
    noise = left / t.size * samples / free  # power of the noise in the band
    spread = np.linalg.pinv(slopes.conj().T @ slopes).diagonal().real[: logs.size]
    shared = t.size / samples  # steps that are one sample
    sd: Floats = np.sqrt(np.maximum(spread, 0.0) * noise * shared / 2) / (2 * np.pi)
    return sd


def _damped(z: Phasors, t: Floats, right: Phasors | Floats) -> tuple[float, Phasors, Phasors]:
    """As many damped exponentials as `right` has rows: misfit, logarithms of poles, levels."""
    basis = right.conj().T
    poles = np.linalg.eigvals(np.linalg.pinv(basis[:-1]) @ basis[1:]).conj()
    logs: Phasors = np.log(poles + TINY) / (t[1] - t[0])
    since = t - t[0]
    table = np.exp(np.minimum(np.outer(since, logs).real, 50) + 1j * np.outer(since, logs).imag)
    level: Phasors = np.linalg.pinv(table) @ z
    rest = z - table @ level
    misfit = float(np.square(np.abs(rest)).sum() / np.square(np.abs(z)).sum())
    return misfit, logs, level * np.exp(-logs.real * t[0])
