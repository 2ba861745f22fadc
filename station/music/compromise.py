"""One reference for several instruments of fixed pitch that disagree.

Each instrument stands at its own A4. Two rules, both exact, in cents (the frequency follows
as A4 = 440 * 2**(c / 1200)):

- *worst*: the largest deviation is as small as it can be. That is the middle between the
  highest and the lowest: whichever way one moves, one of the two gets farther away.
- *mean*: the weighted sum of squared deviations is as small as it can be. That is the weighted
  mean (Gauss: set the derivative of sum w (c_i - c)**2 to nought).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from station.errors import UsageError
from station.music._text import shown
from station.music.pitch import A4_STANDARD_HZ, cents_between, check_a4, shift_cents

Rule = Literal["worst", "mean"]
RULES: tuple[Rule, ...] = get_args(Rule)


@dataclass(frozen=True, slots=True)
class Share:
    """What one instrument gives: ``cents`` it is off (positive: sharp of the compromise).

    ``beats_hz`` is how many times a second its held A4 beats against the compromise.
    """

    a4_hz: float
    cents: float
    beats_hz: float


@dataclass(frozen=True, slots=True)
class Compromise:
    """A reference between several: ``worst_cents`` is how far the farthest instrument is off."""

    rule: Rule
    a4_hz: float
    worst_cents: float
    shares: tuple[Share, ...]


def compromise(
    a4s_hz: Sequence[float], rule: Rule = "worst", weights: Sequence[float] | None = None
) -> Compromise:
    """The reference that suits all of ``a4s_hz`` best by a rule; shares in the same order.

    ``weights`` count for the rule "mean" alone: how many players an instrument speaks for, or
    how sure it is; all alike without them. Raises ReferenceRangeError for an A4 outside 390 to
    470 Hz, UsageError for an unknown rule, no instrument, or weights that do not fit.
    """
    if rule not in RULES:
        raise UsageError(f"rule {shown(rule)} is not known: choose worst or mean")
    if not len(a4s_hz):
        raise UsageError("a compromise of no instruments: measure at least one")
    checked = [check_a4(each) for each in a4s_hz]
    shares = _weights(weights, len(checked))
    places = [cents_between(each, A4_STANDARD_HZ) for each in checked]
    if rule == "worst":
        middle = (min(places) + max(places)) / 2.0
    else:
        middle = sum(w * place for w, place in zip(shares, places, strict=True)) / sum(shares)
    return _against(shift_cents(A4_STANDARD_HZ, middle), checked, rule)


def deviations(a4s_hz: Sequence[float], reference_hz: float) -> tuple[Share, ...]:
    """What each instrument would be off from a reference. Raises ReferenceRangeError."""
    middle_hz = check_a4(reference_hz)
    return tuple(
        Share(each, cents_between(each, middle_hz), abs(each - middle_hz))
        for each in (check_a4(a4_hz) for a4_hz in a4s_hz)
    )


def _against(reference_hz: float, a4s_hz: Sequence[float], rule: Rule) -> Compromise:
    # Between two references in range lies one in range; only its last digit may stick out.
    middle_hz = min(max(reference_hz, min(a4s_hz)), max(a4s_hz))
    shares = deviations(a4s_hz, middle_hz)
    return Compromise(rule, middle_hz, max(abs(each.cents) for each in shares), shares)


def _weights(weights: Sequence[float] | None, count: int) -> list[float]:
    if weights is None:
        return [1.0] * count
    if len(weights) != count:
        raise UsageError(f"{len(weights)} weights for {count} instruments: give each its own")
    for each in weights:
        if not math.isfinite(each) or each <= 0.0:
            raise UsageError(f"weight {each:g}: it must be positive and finite")
    return [float(each) for each in weights]
