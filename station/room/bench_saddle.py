"""Where one string's saddle belongs, from the notes a player plays on it in turn. Pure.

Against the open string the pitch tells which note is which. Against the 12th harmonic, which is
the pressed note's own pitch, they are taken in turn, the harmonic first.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from station.errors import IntonationError, NotNowError
from station.measure.types import Note
from station.music.catalogue import OpenString
from station.music.intonation import ENOUGH_TAKES, FAR_CENTS, Against, Sounded, saddle
from station.music.pitch import cents_between

TAKES_MAX = 8
OCTAVE_CENTS = 1200.0
SURE_CENTS = 2.0
CAUTION = (
    "Before the saddle is moved: slacken the string, keep your eyes away from it, follow the"
    " maker's advice. In doubt a repairer decides, and neck relief is a repairer's, too."
)
"""Common practice, no source."""

Data = dict[str, Any]


@dataclass(slots=True)
class SaddleNotes:
    """The notes of one string: open ones or harmonics (``right``), and those pressed."""

    string: OpenString
    against: Against
    right: list[Sounded] = field(default_factory=list)
    pressed: list[Sounded] = field(default_factory=list)
    order: list[bool] = field(default_factory=list)  # True for a pressed note

    def hear(self, note: Note, target_hz: float) -> bool:
        """Take a note, if it is one of this string's open and 12th-fret notes and sure enough."""
        if note.clipped or note.uncertainty_cents > SURE_CENTS:
            return False
        cents = cents_between(note.hz, target_hz)
        octave = abs(cents - OCTAVE_CENTS) <= 2 * FAR_CENTS
        if self.against == "open" and abs(cents) <= 2 * FAR_CENTS:
            return self._take(note, pressed=False)
        if not octave:
            return False
        return self._take(note, pressed=self.against == "open" or self.awaits_pressed)

    def _take(self, note: Note, pressed: bool) -> bool:
        into = self.pressed if pressed else self.right
        if len(into) >= TAKES_MAX:
            return False
        into.append(Sounded(note.hz, note.uncertainty_cents, note.inharmonicity))
        self.order.append(pressed)
        return True

    @property
    def awaits_pressed(self) -> bool:
        """Whether the next note should be the pressed one."""
        if self.against == "harmonic":
            return len(self.right) > len(self.pressed)
        return bool(self.right)

    def drop_last(self) -> None:
        """The last note was none of these; raises NotNowError where there is none."""
        if not self.order:
            raise NotNowError("no note has been taken yet")
        (self.pressed if self.order.pop() else self.right).pop()

    def as_json(self, scale_mm: float | None) -> Data:
        """The notes and what they say; ``problem`` where they say nothing that can be."""
        told: Data = {
            "string": self.string.number,
            "note": self.string.note,
            "against": self.against,
            "right": len(self.right),
            "pressed": len(self.pressed),
            "next": "pressed" if self.awaits_pressed else self.against,
            "wanted": ENOUGH_TAKES,
            "cents": None,
            "uncertainty_cents": None,
            "mm": None,
            "uncertainty_mm": None,
            "direction": None,
            "enough": False,
            "beyond": False,
            "scale_mm": scale_mm,
            "problem": None,
            "caution": CAUTION,
        }
        if not self.right or not self.pressed:
            return told
        try:
            said = saddle(self.right, self.pressed, self.against, scale_mm)
        except IntonationError as error:
            return {**told, "problem": str(error)}
        return {
            **told,
            "cents": round(said.cents, 2),
            "uncertainty_cents": round(said.uncertainty_cents, 2),
            "mm": None if said.mm is None else round(said.mm, 2),
            "uncertainty_mm": None
            if said.mm_uncertainty is None
            else round(said.mm_uncertainty, 2),
            "direction": said.direction,
            "enough": said.enough,
            "beyond": said.beyond,
        }
