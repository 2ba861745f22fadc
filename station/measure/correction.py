"""What was heard, put right by what the sound card's rate is off."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TypeVar

from station.measure.fixed.types import FixedNote, Reed
from station.measure.types import Gap, Level, Note, Reading

AnyHeard = Reading | Note | Level | Gap | FixedNote
HeardT = TypeVar("HeardT", bound=AnyHeard)


def corrected(heard: HeardT, factor: float, uncertainty_cents: float) -> HeardT:
    """`heard` with every pitch times `factor`, its uncertainty joined in quadrature.

    `factor` is the card's true rate over the nominal one: a card that counts too fast hears
    every pitch too low. A level and a gap stay as they are, and so do times: they count samples.
    """
    if isinstance(heard, FixedNote):
        return replace(
            heard,
            hz=heard.hz * factor,
            uncertainty_cents=math.hypot(heard.uncertainty_cents, uncertainty_cents),
            reeds=tuple(_corrected_reed(reed, factor, uncertainty_cents) for reed in heard.reeds),
            beat_hz=None if heard.beat_hz is None else heard.beat_hz * factor,
        )
    if isinstance(heard, Reading | Note):
        return replace(
            heard,
            hz=heard.hz * factor,
            uncertainty_cents=math.hypot(heard.uncertainty_cents, uncertainty_cents),
        )
    return heard


def _corrected_reed(reed: Reed, factor: float, uncertainty_cents: float) -> Reed:
    return replace(
        reed,
        hz=reed.hz * factor,
        uncertainty_cents=math.hypot(reed.uncertainty_cents, uncertainty_cents),
    )
