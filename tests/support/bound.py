"""The Cramer-Rao bound of a stiff string's pitch: no unbiased estimate can do better.

Fisher information of the samples' model, every partial with an unknown
amplitude, phase and decay, pitch and inharmonicity shared (Kay, Fundamentals of
Statistical Signal Processing: Estimation Theory, section 3.9), for white noise.
"""

from __future__ import annotations

import numpy as np

from tests.support.strings import StiffString


def pitch_bound_cents(
    string: StiffString, rate_hz: int, length_s: float, noise_power: float, seed: int
) -> float:
    """The bound's standard deviation in cents for the first `length_s` of `string`.

    `seed` is the one its sound was made with: it gives the phases.
    """
    rng = np.random.default_rng(seed)
    b = string.inharmonicity
    every = _enough(string, rate_hz)
    # Each sample that is counted stands for `every`, about whose middle it lies.
    t = (np.arange(round(rate_hz * length_s) // every) * every + (every - 1) / 2) / rate_hz
    columns, by_pitch, by_stiffness = [], np.zeros(t.size), np.zeros(t.size)
    for k in range(1, string.partials + 1):
        stretch = np.sqrt((1 + b * k**2) / (1 + b))
        f = string.hz * k * stretch
        phase = rng.uniform(0, 2 * np.pi)
        if f > 0.45 * rate_hz:
            continue
        decay = np.exp(-t * np.sqrt(k) / string.ring_s)
        cosine = decay * np.cos(2 * np.pi * f * t + phase)
        sine = string.level / k * decay * np.sin(2 * np.pi * f * t + phase)
        columns += [cosine, -sine, -t * string.level / k * cosine]
        by_frequency = -sine * 2 * np.pi * t
        by_pitch += by_frequency * k * stretch
        slope = 0.5 / stretch * (k**2 - 1) / (1 + b) ** 2
        by_stiffness += by_frequency * string.hz * k * slope
    jacobian = np.column_stack([by_pitch, by_stiffness * 1e-4, *columns])
    covariance = np.linalg.inv(jacobian.T @ jacobian * every / noise_power)
    return float(1200 / np.log(2) * np.sqrt(covariance[0, 0]) / string.hz)


def _enough(string: StiffString, rate_hz: int) -> int:
    """Of how many samples one is enough: products of partials must stay below that rate.

    The information is a sum over samples: of a low string's slow partials every tenth tells as
    much, to a thousandth, as all.
    """
    last = string.partials
    stretch = np.sqrt((1 + string.inharmonicity * last**2) / (1 + string.inharmonicity))
    return max(1, int(0.8 * rate_hz / (2 * string.hz * last * stretch)))
