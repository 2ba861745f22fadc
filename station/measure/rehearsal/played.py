"""The notes of one line as they are struck, and how each one's pitch moves while it sounds.

A listener's note has one settled pitch and does not say how it came there. Its readings do: a
bend or a slide arrives, a vibrato sways, a peg is turned. A pluck's own glide goes flat, within
its first third of a second.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from station.measure.types import Note, Reading

KEPT = 400  # notes of one line
ATTACK_S = 0.06
GLIDE_S = 0.3
GLIDE_CENTS = 12.0  # bass strings glide by 5 to 10 cents (common practice, no source)
RISE_CENTS = 4.0  # a string left alone never rises
FALL_CENTS = 4.0  # nor falls so far after its glide
SURE_CENTS = 2.0
PEG_AFTER_S = 0.5
PEG_CENTS = 1.5


@dataclass(slots=True)
class Struck:
    """One note: what its readings have told so far, and the settled note once it has ended.

    ``rise_cents`` and ``fall_cents`` are the largest excursions of the pitch either way, the
    fall once the pluck's glide is over; ``glide_cents`` the fall until then.
    """

    line: int
    onset_s: float
    last_s: float
    hz: float
    first_hz: float = 0.0
    readings: int = 0
    rise_cents: float = 0.0
    fall_cents: float = 0.0
    glide_cents: float = 0.0
    late_cents: float = 0.0
    loudest_dbfs: float = -150.0
    note: Note | None = None
    _low: float = math.inf
    _high: float = -math.inf
    _late_high: float = -math.inf
    _late_first: float = math.nan

    def hear(self, reading: Reading) -> None:
        """Take one of its readings."""
        self.last_s = max(self.last_s, reading.at_s)
        if reading.uncertainty_cents > SURE_CENTS:
            return
        self.readings += 1
        self.hz = reading.hz
        self.first_hz = self.first_hz or reading.hz
        age_s = reading.at_s - self.onset_s
        cents = 1200.0 * math.log2(reading.hz / self.first_hz)
        if age_s < ATTACK_S:
            return
        self._low, self._high = min(self._low, cents), max(self._high, cents)
        self.rise_cents = max(self.rise_cents, cents - self._low)
        if age_s < GLIDE_S:
            self.glide_cents = max(self.glide_cents, self._high - cents)
            return
        self._late_high = max(self._late_high, cents)
        self.fall_cents = max(self.fall_cents, self._late_high - cents)
        if age_s >= PEG_AFTER_S:
            if math.isnan(self._late_first):
                self._late_first = cents
            self.late_cents = cents - self._late_first

    @property
    def steady(self) -> bool:
        """Whether nothing but a pluck's own glide moved its pitch; False until it has ended."""
        note = self.note
        return (
            note is not None
            and not note.clipped
            and self.readings > 0
            and note.uncertainty_cents <= SURE_CENTS
            and self.rise_cents <= RISE_CENTS
            and self.fall_cents <= FALL_CENTS
            and self.glide_cents <= GLIDE_CENTS
        )

    @property
    def early_cents(self) -> float | None:
        """How much higher than its settled pitch it began; None where either is not known."""
        if self.note is None or not self.first_hz:
            return None
        return 1200.0 * math.log2(self.first_hz / self.note.hz)

    @property
    def turned(self) -> bool:
        """Whether its pitch went, late in the note, one way, as a peg moves it."""
        whole = self.rise_cents + self.fall_cents
        return abs(self.late_cents) >= PEG_CENTS and abs(self.late_cents) > 0.5 * whole


class Strikes:
    """The notes of one line in the order they were struck."""

    def __init__(self) -> None:
        self.notes: deque[Struck] = deque(maxlen=KEPT)

    def hear(self, heard: Reading | Note) -> Struck | None:
        """Take a reading or an ended note; the note it belongs to, None for what cannot be."""
        if not (math.isfinite(heard.hz) and heard.hz > 0 and math.isfinite(heard.onset_s)):
            return None
        struck = self._of(heard)
        if isinstance(heard, Reading):
            struck.hear(heard)
        else:
            struck.note = heard
            struck.last_s = max(struck.last_s, heard.end_s)
            struck.hz = heard.hz
        return struck

    def forget(self) -> None:
        """Samples were lost: what sounds now does not go on from before."""
        self.notes.clear()

    def sounding(self, from_s: float, to_s: float) -> Struck | None:
        """The newest note that sounded between two times."""
        for struck in reversed(self.notes):
            if struck.onset_s < to_s and struck.last_s > from_s:
                return struck
            if struck.onset_s < from_s - 30.0:
                break
        return None

    def _of(self, heard: Reading | Note) -> Struck:
        for struck in reversed(self.notes):
            if struck.onset_s == heard.onset_s:
                return struck
            if struck.onset_s < heard.onset_s:
                break
        new = Struck(heard.line, heard.onset_s, heard.onset_s, heard.hz)
        self.notes.append(new)
        return new
