"""How far a pitch on the page may be off, and by whose doing: card, estimator, hearing."""

from __future__ import annotations

import math
from typing import TypedDict

from station.errors import FrequencyError

USUAL_CARD_PPM = 100.0
"""What the crystal of a sound card may be off: High Definition Audio allows its 24 MHz bit clock
23.9976 to 24.0024 MHz (quoted on the alsa-devel list, 17 February 2010)."""


Share = TypedDict("Share", {"what": str, "cents": float | None, "from": str})
"""One share of the error: `cents` is None where it is not known; `from` is one line."""


def cents_of_ppm(ppm: float) -> float:
    """How many cents a frequency is off that is `ppm` parts in a million off."""
    return 1200.0 * math.log2(1.0 + ppm * 1e-6)


def just_noticeable_hz(hz: float) -> float:
    """The difference limen of a pure tone's frequency, in hertz, at 40 dB above threshold.

    Wier, Jesteadt & Green, J. Acoust. Soc. Am. 61, 178 (1977): log10 of it is
    0.026 sqrt(hz) - 0.533. Measured from 200 Hz to 8 kHz. Raises FrequencyError.
    """
    if not (math.isfinite(hz) and hz > 0):
        raise FrequencyError(f"{hz} Hz is no frequency: take a positive number")
    return float(10.0 ** (0.026 * math.sqrt(hz) - 0.533))


def just_noticeable_cents(hz: float) -> float:
    """The same in cents."""
    return 1200.0 * math.log2(1.0 + just_noticeable_hz(hz) / hz)


def error_budget(
    card_cents: float, card_from: str, reading_cents: float | None, a4_hz: float = 440.0
) -> list[Share]:
    """The shares a pitch's error has, as standard uncertainties in cents; hearing's is a limen.

    `card_cents` is what is left of the card's error and `card_from` how that is known;
    `reading_cents` a usual reading's own uncertainty, None while nothing was heard.
    """
    heard = "nothing heard yet" if reading_cents is None else "the usual reading's own uncertainty"
    limen = (
        f"the least difference heard at {a4_hz:g} Hz, pure tones"
        " (Wier, Jesteadt & Green 1977, 40 dB above threshold)"
    )
    return [
        {"what": "card", "cents": card_cents, "from": card_from},
        {"what": "estimator", "cents": reading_cents, "from": heard},
        {"what": "hearing", "cents": just_noticeable_cents(a4_hz), "from": limen},
    ]
