"""What the lamps show, as brightness from 0 (dark) to 1 (full). Pure.

The column stands upright, amber below, white in the middle, blue above: the
lit lamp is as high as the pitch is. Which one is lit goes by cents from the
target, each step about three times the one before: within 2 cents the white
one, then up to 6, up to 20, and beyond. Near a step two neighbours share the
light, so that a pitch on the edge does not make them flicker.

**The light beats**: away from the target the lit lamp swells and fades as the
string and its target would beat against each other, slower as they approach,
and stands still when in. Up to 2 beats a second it keeps the true rate. Above
that it is slowed, always rising with the true rate and never reaching 3 a
second: flashes between about 3 and 30 a second at full contrast can set off
seizures, and WCAG success criterion 2.3.1 allows at most three in any one
second. Lamps this small lie far below its area threshold (0.006 steradian),
but a dark stage and a lamp at eye level are no place to rely on that.
``settled`` guards the same limit whatever it is fed: full brightness takes a
sixth of a second to come and as long to go, so three full flashes fill a
second.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

IN_CENTS = 2.0
NEAR_CENTS = 6.0
FAR_CENTS = 20.0
SHARED_BY = 1.1  # two neighbours share the light within this factor of a step

LAMPS = 7
MIDDLE = 3
DARK = (0.0,) * LAMPS

TRUE_TO_HZ = 2.0
NEVER_HZ = 3.0
FADED = 0.1  # the light never goes out within a pulse: the eye keeps its place
SLEW_PER_S = 6.0

BREATH_S = 4.0
BREATH_TOP = 0.6  # of full brightness, when all but one string are in
BREATH_LEAST = 0.15


def pulse_hz(beats_hz: float) -> float:
    """How often the light swells in a second, for a true beat rate in hertz.

    The same up to 2 Hz; above, 3 - 1 / (beats - 1), which goes on from there
    with the same slope and stays under 3 Hz. A rate that is not a finite
    positive number is answered with stillness or the cap.
    """
    beats_hz = abs(beats_hz)
    if math.isnan(beats_hz):
        return 0.0
    if beats_hz <= TRUE_TO_HZ:
        return beats_hz
    return min(NEVER_HZ - 1.0 / (beats_hz - 1.0), math.nextafter(NEVER_HZ, 0.0))


def next_phase(phase: float, beats_hz: float, passed_s: float) -> float:
    """The point in the pulse, 0 to 1, ``passed_s`` later at this beat rate.

    Carrying the phase on keeps the pulse smooth while the rate changes;
    multiplying a long time by a changed rate would make it jump.
    """
    return (phase + pulse_hz(beats_hz) * passed_s) % 1.0


def pulse(phase: float) -> float:
    """Brightness at a point of the pulse: full at 0, faded at one half, straight between."""
    away = abs((phase + 0.5) % 1.0 - 0.5) * 2.0  # 0 at full light, 1 half a pulse away
    return 1.0 - (1.0 - FADED) * away


def column_at(
    string_cents: float | None,
    phase: float,
    verdict: str | None = None,
    in_cents: float = IN_CENTS,
) -> tuple[float, ...]:
    """The column at a point of the pulse; bottom to top.

    ``verdict`` is the room's word for the same pitch: with it lamps and page
    say the same at the edge of in. Without one ``in_cents`` decides. No
    cents, no light.
    """
    if string_cents is None or not math.isfinite(string_cents):
        return DARK
    is_in = verdict == "in" if verdict else abs(string_cents) <= in_cents
    if is_in:
        return tuple(1.0 if lamp == MIDDLE else 0.0 for lamp in range(LAMPS))
    height = _steps_away(abs(string_cents)) * math.copysign(1.0, string_cents)
    light = pulse(phase)
    shares = (max(0.0, 1.0 - abs(lamp - MIDDLE - height)) for lamp in range(LAMPS))
    return tuple(light * share for share in shares)


def band_light(heard_in: int, total: int, t_s: float) -> float:
    """The band lamp: full and still when every string is in, and only then.

    Before that it breathes once in four seconds, brighter the more strings
    are in, never up to full.
    """
    if total > 0 and heard_in >= total:
        return 1.0
    share = heard_in / total if total > 0 else 0.0
    top = BREATH_LEAST + (BREATH_TOP - BREATH_LEAST) * share
    return top * pulse(t_s / BREATH_S % 1.0)


def settled(shown: Sequence[float], wanted: Sequence[float], passed_s: float) -> tuple[float, ...]:
    """The brightness ``passed_s`` further on the way to ``wanted``, no lamp too fast."""
    most = SLEW_PER_S * max(0.0, passed_s)
    return tuple(
        now + min(most, max(-most, goal - now)) for now, goal in zip(shown, wanted, strict=True)
    )


def _steps_away(distance_cents: float) -> float:
    """How many lamps from the middle, 1 to 3, with a short slope at each step."""
    return 1.0 + _crossed(distance_cents, NEAR_CENTS) + _crossed(distance_cents, FAR_CENTS)


def _crossed(distance_cents: float, step_cents: float) -> float:
    """0 below a step, 1 above it, between the two where neighbours share the light."""
    below = math.log(max(distance_cents, 1e-9) / step_cents) / math.log(SHARED_BY)
    return min(1.0, max(0.0, (below + 1.0) / 2.0))
