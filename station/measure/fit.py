"""One pitch from all partials of a sounding string.

The partials of a stiff string stand at f_k = k F sqrt(1 + B k^2) (Fletcher
1964; Fletcher & Rossing, The Physics of Musical Instruments, ch. 2). The
pitch we tune is the first partial, F sqrt(1 + B).

Each partial is listened to through a Hann window some periods of the
fundamental long, so that its neighbours fall on zeros of the window's
transform (Harris 1978). The window steps along the sound; a partial's
frequency is the slope of its phase, by least squares weighted with its power
(the maximum-likelihood slope at high signal-to-noise ratio: Tretter 1985,
for a decaying partial with the decay as weight). What is heard half-way
between two partials is noise and gives each slope its variance. Then
(f_k / k)^2 = F^2 + F^2 B k^2, weighted, with partials that disagree left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.hypothesis import most_stretched

Floats = NDArray[np.floating[Any]]
Phasors = NDArray[np.complex128]

MOST_PARTIALS = 20
TOP_SHARE = 0.34  # of the sample rate: the decimator's pass band
LEAST_PERIODS = 4.5  # shorter sounds give no fit
LEAST_SNR = 10.0  # power over the noise beside it, below which a partial is left out
HANN_NOISE_BANDWIDTH = 1.5  # in bins (Harris 1978, table I)
OUTLIER_SIGMAS = 4.0
SMALLEST_SIGMA = 5e-8  # relative: a ten-thousandth of a cent, for what no model holds
LONGEST_WINDOW_S = 0.15
ROUNDS = 6
GUESS_CENTS = 8.0
GUESS_STIFFNESS = 2e-4
LOBE_SHARE = 0.6  # of a bin: within it the window hears the partial and its phase cannot slip
LOST_CENTS = 90.0
SETTLED_CENTS = 2.0
CENTS = 1200 / math.log(2)


@dataclass(frozen=True, slots=True)
class Fit:
    """`hz` is the first partial.

    `uncertainty_cents` is one standard deviation. `tonal` is the power of the
    partials over that power plus the power heard half-way between them.
    """

    hz: float
    inharmonicity: float
    uncertainty_cents: float
    partials: int
    tonal: float


@lru_cache(maxsize=64)
def hann(size: int) -> Floats:
    """A Hann window of `size` samples that sums to 1."""
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(size) + 0.5) / size)
    scaled: Floats = window / window.sum()
    return scaled


def partial_frequencies(hz: float, inharmonicity: float, numbers: Floats) -> Floats:
    """Frequencies of partials `numbers` of a string whose first partial is `hz`."""
    stretch = np.sqrt((1 + inharmonicity * numbers**2) / (1 + inharmonicity))
    frequencies: Floats = hz * numbers * stretch
    return frequencies


def window_size(samples: float, rate_hz: float, hz: float, longest_s: float) -> int:
    """An even number of periods, so half-way points are zeros too; a third of the sound or so."""
    period = rate_hz / hz
    longest = max(longest_s * hz, 6.0)
    periods = max(4, int(min(samples / period / 3, longest)) // 2 * 2)
    return round(periods * period)


def listen_to_partials(
    x: Floats, rate_hz: float, frequencies_hz: Floats, size: int, step: int
) -> Phasors:
    """Complex amplitude of each frequency in each window: shape (windows, frequencies).

    Phases are relative to a carrier that runs through the whole of `x`.
    """
    frames = np.lib.stride_tricks.sliding_window_view(x, size)[::step] * (2 * hann(size))
    angle: Floats = 2 * np.pi * frequencies_hz / rate_hz
    carrier = carriers(angle, size)
    # One product of real matrices: a complex one is several times as slow without a tuned BLAS.
    heard = (frames @ carrier.view(np.float64)).view(np.complex128)
    starts = np.arange(frames.shape[0]) * step
    relative: Phasors = heard * np.exp(-1j * starts[:, None] * angle[None, :])
    return relative


def carriers(angle: Floats, size: int) -> Phasors:
    """exp(-i angle n) for n < size, built from two short tables."""
    inner = 64
    outer = -(-size // inner)
    fine = np.exp(-1j * np.arange(inner)[:, None] * angle)
    coarse = np.exp(-1j * inner * np.arange(outer)[:, None] * angle)
    table: Phasors = (coarse[:, None, :] * fine[None, :, :]).reshape(-1, angle.size)
    return table[:size]


def fit_segment(
    x: Floats,
    rate_hz: float,
    hz: float,
    inharmonicity: float = 0.0,
    guess_cents: float = GUESS_CENTS,
    guess_stiffness: float = GUESS_STIFFNESS,
    most_partials: int = MOST_PARTIALS,
    longest_window_s: float = LONGEST_WINDOW_S,
) -> Fit | None:
    """The pitch of `x`, shape (n,), known to lie within `guess_cents` of `hz`.

    `guess_stiffness` is how far `inharmonicity` may be off; windows are at most
    `longest_window_s` (or six periods) long: pitch must hardly move within one,
    the less the higher the partial. A guess that may be
    off is tried on the lower partials first, where it is off by less, then on
    more as it gets better. None where nothing can be told.
    """
    first_hz = hz
    for _ in range(ROUNDS):
        if x.size * hz / rate_hz < LEAST_PERIODS:
            return None
        every = partial_numbers(rate_hz, hz, inharmonicity)[:most_partials]
        longest = CENTS * LOBE_SHARE * rate_hz / (hz * guess_cents)  # for the first partial
        full = window_size(x.size, rate_hz, hz, longest_window_s)
        size = window_size(min(x.size - 8, 3 * longest), rate_hz, hz, longest_window_s)
        # B wrong by b puts partial k wrong by k^3 b F / 2.
        stiffest = (2 * LOBE_SHARE * rate_hz / (size * hz * guess_stiffness)) ** (1 / 3)
        numbers = every[: max(1, int(min(longest / size, stiffest)))]
        if numbers.size == 0:
            return None
        fit = _fit_once(x, rate_hz, hz, inharmonicity, numbers, min(size, x.size - 8))
        if fit is None or abs(math.log(fit.hz / first_hz)) * CENTS > LOST_CENTS:
            return None
        moved_cents = abs(math.log(fit.hz / hz)) * CENTS
        if numbers.size == every.size and size >= full and moved_cents < SETTLED_CENTS:
            return fit
        hz, inharmonicity = fit.hz, fit.inharmonicity
        guess_cents = min(max(3 * fit.uncertainty_cents, 0.05), guess_cents / 2)
        guess_stiffness /= 10 if fit.partials > 2 else 2
    return fit


def _fit_once(
    x: Floats, rate_hz: float, hz: float, inharmonicity: float, numbers: Floats, size: int
) -> Fit | None:
    step = max(1, min(size // 4, (x.size - size) // 3))
    frequencies = with_halves(hz, inharmonicity, numbers)
    heard = listen_to_partials(x - x.mean(), rate_hz, frequencies, size, step)
    return fit_heard(heard, numbers, frequencies, step / rate_hz, size / rate_hz)


def with_halves(hz: float, inharmonicity: float, numbers: Floats) -> Floats:
    """Frequencies of the partials, then of the points half-way between and around them."""
    halves = np.concatenate((numbers - 0.5, numbers[-1:] + 0.5))
    return partial_frequencies(hz, inharmonicity, np.concatenate((numbers, halves)))


def noise_beside(beside: Floats) -> Floats:
    """The noise at each partial, as power, from that heard half-way to its neighbours."""
    noise: Floats = np.maximum(0.5 * (beside[1:] + beside[:-1]), 1e-24)
    return noise


def fit_heard(
    heard: Phasors, numbers: Floats, frequencies: Floats, step_s: float, window_s: float
) -> Fit | None:
    """The pitch from what windows, `step_s` apart, heard at `with_halves` of `numbers`."""
    mean_power = (heard.real**2 + heard.imag**2).mean(axis=0)
    power, beside = mean_power[: numbers.size], mean_power[numbers.size :]
    noise = noise_beside(beside)
    strong = power > LEAST_SNR * noise
    if not strong.any():
        return None
    z = heard[:, : numbers.size][:, strong]
    slope, variance = _phase_slopes(z, noise[strong], step_s, window_s)
    solved = _solve(numbers[strong], frequencies[: numbers.size][strong] + slope, variance)
    if solved is None:
        return None
    total, between = float(power.sum()), float(beside.sum())
    first, stiffness, sigma, used = solved
    return Fit(first, stiffness, sigma, used, total / max(total + between, 1e-30))


def partial_numbers(rate_hz: float, hz: float, inharmonicity: float) -> Floats:
    """The numbers of the partials that lie within the pass band."""
    numbers: Floats = np.arange(1.0, MOST_PARTIALS + 1)
    return numbers[partial_frequencies(hz, inharmonicity, numbers + 0.5) < TOP_SHARE * rate_hz]


def _phase_slopes(
    z: Phasors, noise: Floats, step_s: float, window_s: float
) -> tuple[Floats, Floats]:
    """Frequency offset of each partial in Hz and its variance."""
    phase = np.zeros(z.shape)
    np.cumsum(np.angle(z[1:] * np.conj(z[:-1])), axis=0, out=phase[1:])
    time = np.arange(z.shape[0]) * step_s
    weight = z.real**2 + z.imag**2
    total = weight.sum(axis=0)
    centre = time @ weight / total
    spread = time**2 @ weight - centre**2 * total
    weighted = weight * phase
    slope = (time @ weighted - centre * weighted.sum(axis=0)) / spread
    # Overlapping windows share their noise: a window is worth step / (length / bandwidth).
    worth = min(1.0, step_s * HANN_NOISE_BANDWIDTH / window_s)
    variance = noise / (2 * worth * spread)
    return slope / (2 * np.pi), variance / (2 * np.pi) ** 2


def _solve(k: Floats, f: Floats, variance: Floats) -> tuple[float, float, float, int] | None:
    """First partial, inharmonicity, uncertainty in cents, partials used.

    Weighted least squares of (f/k)^2 on k^2, with what is known of strings
    beforehand: B is near zero to within `most_stretched`. Partials further
    than OUTLIER_SIGMAS from the fit, by the spread of the others, leave one by one.
    """
    ratio = f / k
    scale = float(ratio[k.size // 2])
    sigma = 2 * np.maximum(np.sqrt(variance) / (k * scale), SMALLEST_SIGMA)  # of (f / k)^2
    y = (ratio / scale) ** 2 - 1
    x = k * k
    weight: Floats = 1 / sigma**2
    prior = (2 / float(most_stretched(scale))) ** 2
    while True:
        level, curve, variance_of_sum = _line(x, y, weight, prior)
        residual = np.abs(y - level - curve * x) / sigma
        used = weight > 0
        count = int(np.count_nonzero(used))
        inside = np.sort(residual[used])
        if count <= 2:
            break
        limit = OUTLIER_SIGMAS * max(1.0, 1.5 * float(inside[count // 2]))
        if inside[-1] <= limit:
            break
        weight[np.argmax(np.where(used, residual, 0.0))] = 0.0
    if level <= -0.5:
        return None
    square = 1 + level + curve  # F^2 (1 + B) in units of scale^2
    sd = math.sqrt(variance_of_sum) * max(1.0, _spread(inside))
    hz = scale * math.sqrt(square)
    return hz, max(0.0, curve / (1 + level)), CENTS * sd / (2 * square), count


def _spread(residual: Floats) -> float:
    """Root of chi-squared per degree of freedom: how far the partials really disagree."""
    freedom = residual.size - 2
    return math.sqrt(float(residual @ residual) / freedom) if freedom > 0 else 1.0


def _line(x: Floats, y: Floats, weight: Floats, prior: float) -> tuple[float, float, float]:
    """Weighted straight line y = level + curve x, `prior` the weight of curve = 0.

    Returns level, curve and the variance of level + curve.
    """
    weighted = weight * x
    a, b, d = float(weight.sum()), float(weighted.sum()), float(weighted @ x) + prior
    p, q = float(weight @ y), float(weighted @ y)
    determinant = a * d - b * b
    level, curve = (d * p - b * q) / determinant, (a * q - b * p) / determinant
    return level, curve, (d - 2 * b + a) / determinant
