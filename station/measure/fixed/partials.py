"""One pitch from the lines of a note's partials.

Reeds, pipes and oscillators hold a wave, so their partials are whole multiples
(Fletcher & Rossing, The Physics of Musical Instruments, ch. 13 and 17); struck strings
are stiff and stand at k F sqrt(1 + B k^2) (Fletcher 1964). B is taken for real only
where the lines show it. Partials that another note's partial touches count for
neither of the two, partials that disagree with the others are left out (`fit.solve`).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import (
    CENTS,
    OUTLIER_SIGMAS,
    TRUSTED_PARTIALS,
    Row,
    partial_frequencies,
    solve,
)
from station.measure.fixed.chords import SAME_CENTS, Series
from station.measure.fixed.spectrum import (
    REACH,
    Lines,
    Spectrum,
    measure_lines,
    nearest_peak,
)
from station.measure.windows import Floats

MOST_PARTIALS = 20
FIRST_WITHIN_CENTS = 25.0
LEAST_SNR = 12.0  # power over the noise in a bin: noise alone comes so high once in 10^5 bins
CLEAR_BINS = 3.5  # a line so far away is below 1/20, and a hundredth where it counts
STIFF_SIGMAS = 4.0
LEAST_OWN = 3  # odd partials that must agree, to be believed against the even ones
OWN_WORTH = 0.4
CAMP_CENTS = 10.0  # partials that coincide in a chord are 14 to 16 cents apart

LEAST_SD_HZ_BINS = 2e-4  # of a bin: what leakage from elsewhere leaves of any line's place
UNSTEADY_CENTS = 10.0  # of a line of which nothing is explained
WORTH_DB = 45.0
MISFIT_WORTH = 0.02  # of what one line leaves: bins squared a share of its power moves it


class Tone(NamedTuple):
    """A note measured: `hz` its first partial, one standard deviation, and its partials.

    `numbers` and `lines` are those used; `stiffness` is B.
    """

    hz: float
    uncertainty_cents: float
    stiffness: float
    numbers: Floats
    lines: Lines


def first_partial(series: Series) -> float:
    """The first partial of a series, Hz."""
    return series.base_hz * math.sqrt(1 + series.stiffness)


def expected_hz(series: Series, top_hz: float) -> tuple[Floats, Floats]:
    """The numbers and frequencies of a note's partials below `top_hz`."""
    numbers: Floats = np.arange(1.0, MOST_PARTIALS + 1)
    hz = partial_frequencies(first_partial(series), series.stiffness, numbers)
    inside = hz < top_hz
    return numbers[inside], hz[inside]


def clear_of(
    hz: Floats, others_hz: Floats, seconds: float, within_hz: Floats | float = 0.0
) -> NDArray[np.bool_]:
    """Which of `hz` no partial of another note touches, nor anything `within_hz` of it; (p,)."""
    if others_hz.size == 0:
        return np.ones(hz.size, bool)
    reach = CLEAR_BINS / seconds + hz * (SAME_CENTS / 2 / CENTS) + within_hz
    apart = np.abs(hz[:, None] - others_hz[None, :]).min(axis=1)
    clear: NDArray[np.bool_] = apart > reach
    return clear


def measure_tone(
    spectrum: Spectrum, series: Series, others_hz: Floats, top_hz: float
) -> Tone | None:
    """The note of `series` in `spectrum`; None where no partial stands out."""
    numbers, hz = expected_hz(series, top_hz)
    kept = clear_of(hz, others_hz, spectrum.seconds)
    if not kept.any():
        return None
    numbers, hz = numbers[kept], hz[kept]
    found = place_tone(
        spectrum, numbers, hz, hz * (FIRST_WITHIN_CENTS / CENTS) + 1 / spectrum.seconds
    )
    if found is None:
        return None
    # Again, from where the pitch puts each partial: a stray peak beside a weak one is let go.
    again = partial_frequencies(found.hz, found.stiffness, numbers)
    slack = again * (max(3.0, 3 * found.uncertainty_cents) / CENTS) + 1 / spectrum.seconds
    return place_tone(spectrum, numbers, again, slack)


def place_tone(spectrum: Spectrum, numbers: Floats, hz: Floats, within_hz: Floats) -> Tone | None:
    """The note whose partials `numbers`, shape (p,), lie `within_hz` of `hz`."""
    lines = measure_lines(spectrum, nearest_peak(spectrum, hz, within_hz))
    size = np.square(np.abs(lines.amplitude))
    strong = size > LEAST_SNR * lines.noise
    strong &= size > size.max() * 10 ** (-WORTH_DB / 10)
    strong &= np.abs(lines.hz - hz) < within_hz + REACH / 2 / spectrum.seconds
    if not strong.any():
        return None
    lines = lines.of(strong)
    numbers = numbers[strong]
    # What the model of one line leaves disturbs its place as noise does.
    size = np.square(np.abs(lines.amplitude))
    sd = np.sqrt(
        lines.sd_hz**2 + (LEAST_SD_HZ_BINS**2 + MISFIT_WORTH * lines.misfit) / spectrum.seconds**2
    )
    # What sways does so by as many cents in each partial, however finely its place is known.
    sd = np.hypot(sd, lines.hz * lines.misfit * (UNSTEADY_CENTS / CENTS))
    rows: list[Row] = [
        (float(k), float(f), float(s)) for k, f, s in zip(numbers, lines.hz, sd, strict=True)
    ]
    hz_1, uncertainty, stiffness, agreeing = one_pitch(rows)
    kept = np.isin(numbers, agreeing)
    # Two reeds' lines disagree a little about the pitch: they are the note's own all the same.
    asked = partial_frequencies(hz_1, stiffness, numbers)
    alike = np.abs(lines.hz - asked) < asked * (CAMP_CENTS / CENTS)
    kept |= alike & ((numbers % 2 == 1) | bool((numbers[kept] % 2 == 0).any()))
    return Tone(hz_1, uncertainty, stiffness, numbers[kept], lines.of(kept))


def one_pitch(rows: list[Row]) -> tuple[float, float, float, list[float]]:
    """First partial in Hz, one standard deviation in cents, B, and the partials that agree.

    A rank, or a second note, an octave above moves the even partials, never the odd ones.
    """
    hz, uncertainty, agreeing = harmonic_pitch(rows)
    inharmonicity = 0.0
    stiff = solve(list(rows), 1.0)
    if (
        stiff is not None
        and stiff.inharmonicity > STIFF_SIGMAS * stiff.inharmonicity_sd
        and stiff.uncertainty_cents < uncertainty
    ):
        hz, uncertainty, inharmonicity = stiff.hz, stiff.uncertainty_cents, stiff.inharmonicity
        agreeing = [row[0] for row in rows]
    own = [row for row in rows if row[0] % 2 == 1]
    if LEAST_OWN <= len(own) < len(rows):
        own_hz, own_uncertainty, odd = harmonic_pitch(own)
        if own_uncertainty < OWN_WORTH * uncertainty:
            return own_hz, own_uncertainty, 0.0, odd
    return hz, uncertainty, inharmonicity, agreeing


def harmonic_pitch(rows: list[Row]) -> tuple[float, float, list[float]]:
    """The pitch of whole multiples, its standard deviation in cents, and who agrees with it."""
    kept = _in_one_camp([(f / k, k / sd, k) for k, f, sd in rows])
    while True:
        weight = sum(w * w for _, w, _ in kept)
        mean = sum(w * w * hz for hz, w, _ in kept) / weight
        off = [abs(hz - mean) * w for hz, w, _ in kept]
        usual = max(1.0, 1.5 * sorted(off)[len(off) // 2])
        if len(kept) <= 2 or max(off) <= OUTLIER_SIGMAS * usual:
            break
        del kept[off.index(max(off))]
    freedom = len(kept) - 1
    squares = sum(o * o for o in off)
    spread = math.sqrt((squares + TRUSTED_PARTIALS) / (freedom + TRUSTED_PARTIALS))
    return mean, CENTS * spread / (mean * math.sqrt(weight)), [k for _, _, k in kept]


def _in_one_camp(rows: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Without those farther off than a note's own reeds stand, from where most rows are.

    Another note's loud partials make a camp of their own; a mean would lie between the two
    camps, and nobody would be an outlier there.
    """
    if len(rows) <= 2:
        return rows
    hz, weight = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    far = np.log1p(np.abs(hz[:, None] - hz[None, :]) * weight[None, :]).sum(axis=1)
    near = np.abs(hz - hz[int(far.argmin())]) < hz * (CAMP_CENTS / CENTS)
    return [row for row, is_near in zip(rows, near, strict=True) if is_near]
