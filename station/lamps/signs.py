"""The lamps' two signs about the reference: it is being measured, and it is agreed. Pure.

**Measuring**: two lamps equally far above and below the white one stand like
brackets: A4 is somewhere between them. They close in as its uncertainty
falls: farthest while nothing has been heard, next to the white lamp when it is
known to a cent, and the white lamp alone when that is enough. They
breathe while the station waits for a sound and stand still while it hears one.

**Agreed**: light spreads from the white lamp to both ends and draws back, once
in three seconds, and the band lamp swells with it.

Brightness is from 0 to 1, columns are bottom to top. Both signs are far slower
than the three flashes a second of WCAG 2.3.1; `column.settled` guards what is
shown besides.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from station.lamps.column import BREATH_S, LAMPS, MIDDLE, pulse

FARTHEST = 3.0
NEXT = 1.0
FAR_CENTS = 8.0  # about what one note of an instrument leaves open: our choice
NEAR_CENTS = 1.0
SPAN_PER_S = 1.5  # so that the brackets are seen to move

BLOOM_S = 3.0


def span(instrument: Mapping[str, Any] | None) -> float:
    """How many lamps from the white one the brackets belong, 0 to 3.

    `instrument` is what the room knows of the one being measured:
    ``uncertainty_cents`` and ``enough``, or None while nothing has been heard.
    """
    if instrument is None:
        return FARTHEST
    if instrument["enough"]:
        return 0.0
    uncertainty_cents = instrument["uncertainty_cents"]
    if not uncertainty_cents > NEAR_CENTS:
        return NEXT
    share = math.log(uncertainty_cents / NEAR_CENTS) / math.log(FAR_CENTS / NEAR_CENTS)
    return NEXT + (FARTHEST - NEXT) * min(1.0, share)


def next_span(shown: float, wanted: float, passed_s: float) -> float:
    """The span ``passed_s`` further on the way from `shown` to `wanted`."""
    most = SPAN_PER_S * max(0.0, passed_s)
    return shown + min(most, max(-most, wanted - shown))


def brackets(span_lamps: float, waited_s: float) -> tuple[float, ...]:
    """The column with brackets so far apart, after so long a wait for a sound (0: it sounds).

    Between two lamps both have their share of the light.
    """
    light = pulse(waited_s / BREATH_S % 1.0)
    heights = (span_lamps, -span_lamps)
    return tuple(
        light * max(max(0.0, 1.0 - abs(lamp - MIDDLE - height)) for height in heights)
        for lamp in range(LAMPS)
    )


def bloom(age_s: float) -> tuple[tuple[float, ...], float] | None:
    """The column and the band lamp so long after the band agreed; None when it is over."""
    if not 0.0 <= age_s < BLOOM_S:
        return None
    share = 0.5 - 0.5 * math.cos(math.tau * age_s / BLOOM_S)
    reach = (MIDDLE + 1) * share
    lights = (min(1.0, max(0.0, reach - abs(lamp - MIDDLE))) for lamp in range(LAMPS))
    return tuple(lights), share
