"""What a player has to do: tighten, slacken, or nothing more.

One set of words serves a string and a drum key alike: a flat pitch wants
tightening, a sharp one slackening.
"""

from __future__ import annotations

import math
from typing import Literal

from station.errors import FrequencyError

Verdict = Literal["tighten", "slacken", "in"]

IN_CENTS = 2.0
LEAVE_CENTS = 3.0


def verdict(
    cents: float,
    in_cents: float = IN_CENTS,
    was_in: bool = False,
    leave_cents: float = LEAVE_CENTS,
) -> Verdict:
    """The word for a pitch ``cents`` away from its target (positive: sharp).

    Within ``in_cents`` either way it is in, the limit included. A string that
    ``was_in`` stays in until it is more than ``leave_cents`` away, so that a
    pitch at the edge does not flicker between two words; a ``leave_cents``
    tighter than ``in_cents`` has no effect. Raises FrequencyError when
    ``cents`` is not a number.
    """
    if math.isnan(cents):
        raise FrequencyError("a pitch nan cents from its target has no verdict: give a number")
    limit_cents = max(in_cents, leave_cents) if was_in else in_cents
    if abs(cents) <= limit_cents:
        return "in"
    return "tighten" if cents < 0.0 else "slacken"
