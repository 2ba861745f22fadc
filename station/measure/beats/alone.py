"""Either string of a pair by itself, from the partials near which the other has none.

Open strings a fourth apart share every fourth partial of the one with every third of the
other; the rest tell which string is which, and how far each is from its own place. Strings
touched to sound harmonics that meet, and unisons, share all they have: then this finds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from station.measure.beats.bands import Look, Sound, envelopes
from station.measure.beats.poles import TINY, Envelope, Floats, one_line, one_line_sure
from station.measure.fit import CENTS, Row, partial_frequencies, solve
from station.measure.windows import plain

REACH_CENTS = 90.0  # a string farther off is another note
SCAN_CENTS = 1.5
MOST_PARTIALS = 9
SCANNED = 6
APART_SHARE = 0.05  # while scanning: no other partial so near, for both may be off
LEAST_HZ = 8.5  # afterwards
LEAST_OVER_NOISE = 30.0
LEAST_SHARE = 1e-4  # of the loudest partial, in power
STRONG_SHARE = 1e-2
LONGEST_WINDOW_S, SHORTEST_WINDOW_S = 0.3, 0.1
WINDOW_TURNS = 2.5  # of the distance to the nearest foreign partial
LEAST_WINDOWS = 6
SURE_CENTS = 6.0
SWAY_SHARE = 0.2  # of most partials' power outside one line: no string that is left alone
SWAY_RATE_HZ = 5.5  # of a vibrato (common practice, no source)
LAW_CENTS = 0.02  # no string keeps to its law of partials better


class Alone(NamedTuple):
    """A string: first partial, B, their standard deviations (cents; B), partials that agree.

    `sways`: it is played with vibrato, and `cents_sd` is how wide.
    """

    hz: float
    stiffness: float
    cents_sd: float
    stiffness_sd: float
    partials: int
    sways: bool = False

    def partial(self, k: int) -> tuple[float, float]:
        """Where its partial k stands, Hz, and one standard deviation."""
        hz = float(partial_frequencies(self.hz, self.stiffness, np.array([float(k)]))[0])
        bent = 0.5 * max(0, k * k - 1) * self.stiffness_sd
        return hz, hz * math.hypot(self.cents_sd / CENTS, LAW_CENTS / CENTS, bent)


def alone(
    x: Sound, rate_hz: float, seen: Look, target_hz: float, others_hz: Floats, top_hz: float
) -> Alone | None:
    """The string whose first partial should be `target_hz`, `others_hz` the other's partials."""
    every = np.arange(1, MOST_PARTIALS + 1)
    numbers = every[every * target_hz * 1.06 < top_hz]
    free = [
        int(k) for k in numbers if _apart(k * target_hz, others_hz) > APART_SHARE * k * target_hz
    ]
    if not free:
        return None
    cents = _scan(seen, target_hz, free[:SCANNED])
    if cents is None:
        return None
    return _measured(x, rate_hz, seen, target_hz * 2 ** (cents / 1200), plain(numbers), others_hz)


def _apart(hz: float, others_hz: Floats) -> float:
    return float(np.abs(others_hz - hz).min()) if others_hz.size else math.inf


def _scan(seen: Look, target_hz: float, free: Sequence[int]) -> float | None:
    """By how much the string is off, from the spectrum's peaks at its free partials."""
    loudest = float(seen.power.max())
    best, best_cents = 0.0, None
    tried = np.arange(-REACH_CENTS, REACH_CENTS + SCAN_CENTS, SCAN_CENTS)
    for cents in tried:
        score = 0.0
        for k in free:
            hz = k * target_hz * 2 ** (float(cents) / 1200)
            _, power, over = seen.peak(hz, max(1.0, hz * SCAN_CENTS / CENTS))
            if over > LEAST_OVER_NOISE and power > LEAST_SHARE * loudest:
                score += math.log(over) + 0.5 * math.log(power / (LEAST_SHARE * loudest))
        score *= 1 - 0.3 * (float(cents) / REACH_CENTS) ** 2
        if score > best:
            best, best_cents = score, float(cents)
    return best_cents


def _measured(
    x: Sound, rate_hz: float, seen: Look, hz: float, numbers: Sequence[int], others_hz: Floats
) -> Alone | None:
    loudest = float(seen.power.max())
    kept: list[tuple[int, float, float]] = []
    stretch = 0.0
    for k in numbers:
        near_hz, power, over = seen.peak(k * hz * (1 + stretch * k * k), max(1.5, 0.004 * k * hz))
        apart = _apart(near_hz, others_hz)
        if over < LEAST_OVER_NOISE or power < LEAST_SHARE * loudest or apart < LEAST_HZ:
            continue
        kept.append((k, near_hz, power))
        if k > 2:
            stretch = max(0.0, (near_hz / (k * hz) - 1) / (k * k))
    if not kept or not (len(kept) > 1 or kept[0][2] > STRONG_SHARE * loudest):
        return None
    closest = min(_apart(at_hz, others_hz) for _, at_hz, _ in kept)
    window_s = min(max(WINDOW_TURNS / closest, SHORTEST_WINDOW_S), LONGEST_WINDOW_S)
    centres: Floats = np.array([at_hz for _, at_hz, _ in kept])
    heard = [
        (k, centre, band)
        for (k, centre, _), band in zip(kept, envelopes(x, rate_hz, centres, window_s), strict=True)
        if band.t.size >= LEAST_WINDOWS
    ]
    if not heard:
        return None
    found = solve([_row(*each) for each in heard], 1.0)
    if found is None:
        return None
    sway_cents = _sway_cents(heard)
    cents_sd = max(found.uncertainty_cents, sway_cents)
    if found.uncertainty_cents > SURE_CENTS and not sway_cents:
        return None
    return Alone(
        found.hz,
        found.inharmonicity,
        cents_sd,
        found.inharmonicity_sd,
        found.partials,
        sway_cents > 0,
    )


def _sway_cents(heard: Sequence[tuple[int, float, Envelope]]) -> float:
    """How wide a vibrato is that leaves so much beside the partials' lines; 0 for none.

    A line that sways with index i = deviation / rate keeps about 1 - i^2 / 2 of its power.
    """
    shares = []
    for _, centre, band in heard:
        _, left = one_line(band)
        share = left / (float(np.square(np.abs(band.y)).sum()) + TINY)
        shares.append((share, centre))
    share, centre = sorted(shares)[len(shares) // 2]
    if share < SWAY_SHARE:
        return 0.0
    return CENTS * SWAY_RATE_HZ * math.sqrt(2 * share) / centre


def _row(k: int, centre_hz: float, band: Envelope) -> Row:
    line, sd = one_line_sure(band)
    return float(k), centre_hz + line.imag / (2 * math.pi), sd / (2 * math.pi)
