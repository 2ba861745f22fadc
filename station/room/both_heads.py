"""Batter and resonant head of one drum, tapped one after the other with the other damped. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from station.errors import DrumError, NotNowError
from station.measure.drums.plain import HZ_LIMITS, number, short
from station.music.names import note_name
from station.music.pitch import nearest_note
from station.music.two_heads import TwoHeads, two_heads

Which = Literal["batter", "resonant"]
HOW = {
    "batter": "damp the bottom head with a cloth, and tap the top one five times in the middle",
    "resonant": "turn the drum over, damp the top head, and tap the bottom one five times",
}
SNARE_SIDE = "wires off; tap beside the middle, lightly: the snare side is thin"

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class OneHead:
    """What the taps on one head said, the other head damped."""

    fundamental_hz: float
    uncertainty_cents: float


class BothHeads:
    """One head after the other; ``snare``: the resonant one is a snare's thin one."""

    def __init__(self, snare: bool) -> None:
        self.snare = snare
        self.batter: OneHead | None = None
        self.resonant: OneHead | None = None

    @property
    def asked_for(self) -> Which | None:
        """The head to tap now, None when both are known."""
        if self.batter is None:
            return "batter"
        return "resonant" if self.resonant is None else None

    def take(self, one: OneHead) -> None:
        """The head that was asked for has been tapped; raises NotNowError when both have been."""
        if self.asked_for is None:
            raise NotNowError("both heads are known: begin again for another drum")
        if self.asked_for == "batter":
            self.batter = one
        else:
            self.resonant = one

    def back(self) -> None:
        """The head tapped last is tapped anew."""
        if self.resonant is not None:
            self.resonant = None
        else:
            self.batter = None

    def result(self) -> TwoHeads | None:
        """Both against each other, None while one is missing."""
        if self.batter is None or self.resonant is None:
            return None
        return two_heads(self.batter, self.resonant, self.snare)

    def as_json(self, a4_hz: float) -> Data:
        """As the page gets it; notes and cents against the reference."""
        asked = self.asked_for
        how = "" if asked is None else HOW[asked]
        return {
            "asked_for": asked,
            "how": f"{how}; {SNARE_SIDE}" if self.snare and asked == "resonant" else how,
            "snare_side": self.snare,
            "batter": _one(self.batter, a4_hz),
            "resonant": _one(self.resonant, a4_hz),
            "result": result_as_json(self.result()),
        }

    def state(self) -> Data:
        return {
            "snare": self.snare,
            "heads": [
                [short(each.fundamental_hz), short(each.uncertainty_cents)]
                for each in (self.batter, self.resonant)
                if each is not None
            ],
        }

    @classmethod
    def from_state(cls, data: object) -> BothHeads:
        """What `state` told of; raises DrumError."""
        heads = data.get("heads") if isinstance(data, dict) else None
        if not isinstance(data, dict) or not isinstance(heads, list) or len(heads) > 2:
            raise DrumError("two heads that were kept cannot be read")
        made = cls(data.get("snare") is True)
        for each in heads:
            if not isinstance(each, list) or len(each) != 2:
                raise DrumError("one of two heads that were kept cannot be read")
            hz = number(each[0], "a head's pitch", *HZ_LIMITS)
            made.take(OneHead(hz, number(each[1], "a head's uncertainty", 0.0, 1e4)))
        return made


def _one(head: OneHead | None, a4_hz: float) -> Data | None:
    if head is None:
        return None
    nearest = nearest_note(head.fundamental_hz, a4_hz)
    return {
        "hz": round(head.fundamental_hz, 3),
        "uncertainty_cents": round(head.uncertainty_cents, 2),
        "note": note_name(nearest.midi),
        "cents": round(nearest.cents, 2),
    }


def result_as_json(found: TwoHeads | None) -> Data | None:
    """The interval from the batter up to the resonant head, and what the trade says to it."""
    if found is None:
        return None
    return {
        "cents": round(found.cents, 2),
        "semitones": round(found.semitones, 4),
        "uncertainty_cents": round(found.uncertainty_cents, 2),
        "higher": found.higher,
        "beat_hz": round(found.beat_hz, 3),
        "warning": found.warning,
        "advice": list(found.advice),
    }
