"""How rough two sounds are together: beats too fast to count, too slow to be two tones.

R. Plomp and W. J. M. Levelt, "Tonal consonance and critical bandwidth", JASA 38 (1965) 548:
two simple tones are smooth in unison, roughest about a quarter of a critical bandwidth apart,
and smooth again beyond one. As a formula: W. A. Sethares, "Local consonance and the
relationship between timbre and scale", JASA 94 (1993) 1218,

    d = exp(-3.51 s D) - exp(-5.75 s D),   s = 0.24 / (0.0207 f + 18.96),

with D the difference and f the lower frequency, in hertz; the digits are those of the
program he published with it. Of two partials the weaker one tells how strongly they beat
(Sethares, Tuning, Timbre, Spectrum, Scale, 2nd ed. 2005, appendix on the time domain).

Here d is divided by its greatest value, so that 1 is the roughness of two partials of
amplitude 1 at their roughest. Roughness adds up over pairs of partials. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from station.errors import FrequencyError

_SLOW, _FAST = 3.51, 5.75
_SCALE, _PER_HZ, _AT_NOUGHT_HZ = 0.24, 0.0207, 18.96
# Where the derivative of exp(-a x) - exp(-b x) is nought: x = ln(b / a) / (b - a).
_ROUGHEST = math.log(_FAST / _SLOW) / (_FAST - _SLOW)
_PEAK = math.exp(-_SLOW * _ROUGHEST) - math.exp(-_FAST * _ROUGHEST)


@dataclass(frozen=True, slots=True)
class Partial:
    """One partial of a sound: ``amplitude`` is relative, at least nought."""

    hz: float
    amplitude: float


@dataclass(frozen=True, slots=True)
class Pair:
    """Two partials of two sounds that beat: by their places, from 0, in each sound.

    ``beat_hz`` is their difference, ``roughness`` what the pair adds.
    """

    first: int
    second: int
    beat_hz: float
    roughness: float


def pair_roughness(first_hz: float, second_hz: float) -> float:
    """Roughness, 0 to 1, of two simple tones of amplitude 1. Raises FrequencyError."""
    for hz in (first_hz, second_hz):
        if not (math.isfinite(hz) and hz > 0.0):
            raise FrequencyError(f"partial at {hz:g} Hz: it must be a positive, finite number")
    lower_hz = min(first_hz, second_hz)
    x = _SCALE * abs(first_hz - second_hz) / (_PER_HZ * lower_hz + _AT_NOUGHT_HZ)
    return (math.exp(-_SLOW * x) - math.exp(-_FAST * x)) / _PEAK


def roughest_apart_hz(hz: float) -> float:
    """How far above ``hz`` a second simple tone makes the two roughest. Raises FrequencyError."""
    if not (math.isfinite(hz) and hz > 0.0):
        raise FrequencyError(f"partial at {hz:g} Hz: it must be a positive, finite number")
    return _ROUGHEST * (_PER_HZ * hz + _AT_NOUGHT_HZ) / _SCALE


def harmonics(hz: float, amplitudes: Sequence[float]) -> tuple[Partial, ...]:
    """Partials at whole multiples of ``hz``, from the first on."""
    return tuple(Partial(k * hz, each) for k, each in enumerate(amplitudes, start=1))


def roughness(partials: Sequence[Partial]) -> float:
    """Roughness of one sound: the sum over all pairs of its partials. Raises FrequencyError."""
    return math.fsum(
        _weighted(one, other)
        for place, one in enumerate(partials)
        for other in partials[place + 1 :]
    )


def pairs_between(first: Sequence[Partial], second: Sequence[Partial]) -> Iterator[Pair]:
    """Every partial of one sound against every partial of the other. Raises FrequencyError."""
    for i, one in enumerate(first):
        for j, other in enumerate(second):
            yield Pair(i, j, abs(one.hz - other.hz), _weighted(one, other))


def roughness_between(first: Sequence[Partial], second: Sequence[Partial]) -> float:
    """What two sounds add to each other's roughness; what each has by itself is left out.

    Raises FrequencyError.
    """
    return math.fsum(pair.roughness for pair in pairs_between(first, second))


def _weighted(one: Partial, other: Partial) -> float:
    return min(one.amplitude, other.amplitude) * pair_roughness(one.hz, other.hz)
