"""Batter and resonant head against each other, in the trade's terms. No rule: what there is.

The top (batter) head is tuned for feel, the bottom (resonant) head for tone; more drummers have
the bottom a little higher than the top; a snare's bottom head is thin and usually higher still.
Near the same pitch the two pull at each other through the air between them: they ring longest
and clearest when truly alike, and beat when nearly so. All of it common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

from station.music.pitch import cents_between

NEARLY_CENTS = 60.0  # heads nearer than that fight (common practice, no source)
ALIKE_CENTS = 5.0  # closer than that, hands and ears do not tell (common practice, no source)
FAR_CENTS = 900.0  # more than a sixth apart neither rings long (common practice, no source)

Higher = Literal["batter", "resonant", "neither"]


class HeadTap(Protocol):
    """What taps on one head said, the other head damped: `station.measure.drums.types.Tap`."""

    @property
    def fundamental_hz(self) -> float: ...

    @property
    def uncertainty_cents(self) -> float: ...


@dataclass(frozen=True, slots=True)
class TwoHeads:
    """The interval from the batter up to the resonant head: negative when the batter is higher.

    ``beat_hz`` is how often they would beat if nothing coupled them; ``warning`` is None
    unless they are nearly equal.
    """

    batter_hz: float
    resonant_hz: float
    cents: float
    semitones: float
    uncertainty_cents: float
    higher: Higher
    beat_hz: float
    warning: str | None
    advice: tuple[str, ...]


def two_heads(batter: HeadTap, resonant: HeadTap, snare: bool = False) -> TwoHeads:
    """Each head tapped with the other damped; raises FrequencyError for an impossible pitch."""
    cents = cents_between(resonant.fundamental_hz, batter.fundamental_hz)
    unsure = math.hypot(batter.uncertainty_cents, resonant.uncertainty_cents)
    higher = _higher(cents, unsure)
    beat_hz = abs(resonant.fundamental_hz - batter.fundamental_hz)
    return TwoHeads(
        batter_hz=batter.fundamental_hz,
        resonant_hz=resonant.fundamental_hz,
        cents=cents,
        semitones=cents / 100.0,
        uncertainty_cents=unsure,
        higher=higher,
        beat_hz=beat_hz,
        warning=_warning(cents, beat_hz, higher),
        advice=_advice(cents, higher, snare),
    )


def _higher(cents: float, unsure: float) -> Higher:
    if abs(cents) <= max(ALIKE_CENTS, 2.0 * unsure):
        return "neither"
    return "resonant" if cents > 0.0 else "batter"


def _warning(cents: float, beat_hz: float, higher: Higher) -> str | None:
    if higher == "neither":
        return "the heads cannot be told apart: whatever difference there is, they beat slowly"
    if abs(cents) < NEARLY_CENTS:
        return f"nearly equal heads fight: they beat, about {beat_hz:.1f} times a second"
    return None


def _advice(cents: float, higher: Higher, snare: bool) -> tuple[str, ...]:
    says = ["top for feel, bottom for tone: leave the top where it plays well, move the bottom"]
    if snare:
        says.append("a snare's bottom head is thin and usually the higher one; tighten it gently")
        if higher == "batter":
            says.append("here the top is higher: the wires may answer late")
    elif higher == "resonant":
        says.append("the bottom is higher, as more drummers have it: the tone is clear, and bends")
    elif higher == "batter":
        says.append("the top is higher: a lower, drier tone; more drummers have the bottom higher")
    else:
        says.append("alike: the longest ring; a little higher at the bottom shortens it")
    if abs(cents) > FAR_CENTS:
        says.append("far apart: the heads hold each other back and the ring is short")
    return (*says, "no rule: what you like is right")
