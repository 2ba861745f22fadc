"""One line while a band plays: how far each quarter second is one of playing, or of tuning.

A note tells it best. What sounds without one goes on from what was before, if it is a string that
rings or a chord struck as loud as the player's notes; else it may be talk.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from station.measure.levels import INTERVAL_S
from station.measure.rehearsal.loudness import Loudness
from station.measure.rehearsal.played import Strikes, Struck
from station.measure.rehearsal.tuning_like import tuning_shares

LineState = Literal["not known", "playing", "quiet", "tuning"]

BRIDGED_S = 1.0  # a line that rests for less goes on playing
UNVOICED = 0.5  # a level without any note, at first: chords and drums have none
VOICED_FIRST_S, VOICED_MEMORY_S = 2.0, 60.0
VOICED_WITHIN_S = 0.5  # of a rest between two notes
# A sound that goes on from a note, or a chord struck as loud as the player's notes, is of the same
# playing: strings ring for some seconds and are then cut off at once; talk and applause are softer.
RINGS_S = 3.0
RINGS_SHARE = math.exp(-INTERVAL_S / RINGS_S)
CUT_OFF_DB, RISE_DB = 9.0, 2.0  # from one level to the next
AS_LOUD_DB = 10.0  # below the usual level of the line's notes
USUAL_MEMORY_S = 30.0
TUNING_NOW_S = 5.0


@dataclass(slots=True)
class Line:
    """One line: its frames in the window, newest last."""

    pitched: bool
    opens_hz: Sequence[float] = ()
    loudness: Loudness = field(default_factory=Loudness)
    strikes: Strikes = field(default_factory=Strikes)
    waiting: dict[int, float] = field(default_factory=dict)
    active: deque[bool] = field(default_factory=deque)
    notes: deque[Struck | None] = field(default_factory=deque)
    levels: deque[float] = field(default_factory=deque)  # dBFS
    usual_dbfs: float = math.nan  # of its notes in songs
    voiced: float = UNVOICED
    played_s: float = 0.0
    state: LineState = "not known"

    def learn_level(self, rms_dbfs: float) -> None:
        """A note of a song was so loud."""
        if math.isnan(self.usual_dbfs):
            self.usual_dbfs = rms_dbfs
        self.usual_dbfs += INTERVAL_S / USUAL_MEMORY_S * (rms_dbfs - self.usual_dbfs)


def line_shares(line: Line, others: list[list[float]]) -> list[tuple[float, float]]:
    """How far each frame of a line is one of playing, and one of tuning."""
    active = _bridged(list(line.active), round(BRIDGED_S / INTERVAL_S))
    if not line.pitched:
        return [(float(each), 0.0) for each in active]
    used = {id(note): note for note in line.notes if note is not None}
    notes = sorted(used.values(), key=lambda note: note.onset_s)
    share = dict(zip(map(id, notes), tuning_shares(notes, line.opens_hz, others), strict=True))
    within = round(VOICED_WITHIN_S / INTERVAL_S)
    near = _nearest(list(line.notes), within)
    shares, rings = [], 0.0
    for i, (is_active, note) in enumerate(zip(active, near, strict=True)):
        tunes = 0.0 if note is None else share[id(note)]
        sounds = line.notes[i] is not None
        rings = 1.0 - tunes if sounds else rings * _rings_on(line, i) * RINGS_SHARE
        if not is_active:
            shares.append((0.0, 0.0))
        elif note is None:
            shares.append((max(1.0 - min(0.9, line.voiced), rings), 0.0))
        else:
            shares.append((1.0 - tunes, tunes))
    return shares


def _rings_on(line: Line, frame: int) -> bool:
    """Whether what sounds may be what sounded a level before, or a chord of the same player."""
    now, before = line.levels[frame], line.levels[frame - 1] if frame else -math.inf
    if not line.active[frame] or now < before - CUT_OFF_DB:
        return False
    return now <= before + RISE_DB or now >= line.usual_dbfs - AS_LOUD_DB


def _bridged(active: list[bool], longest: int) -> list[bool]:
    """Rests of up to so many frames between two that are played count as played."""
    out, last = active[:], -1
    for i, each in enumerate(active):
        if each:
            if last >= 0 and 1 < i - last <= longest + 1:
                out[last:i] = [True] * (i - last)
            last = i
    return out


def _nearest(notes: list[Struck | None], within: int) -> list[Struck | None]:
    """For each frame its note, or the last one of the few frames before or the next after."""
    out = notes[:]
    for step in (1, -1):
        seen: Struck | None = None
        age = 0
        order = range(len(notes)) if step == 1 else range(len(notes) - 1, -1, -1)
        for i in order:
            seen, age = (notes[i], 0) if notes[i] is not None else (seen, age + 1)
            if out[i] is None and age <= within:
                out[i] = seen
    return out


def line_state(shares: list[tuple[float, float]]) -> LineState:
    late = shares[-round(TUNING_NOW_S / INTERVAL_S) :]
    plays, tunes = sum(each[0] for each in late), sum(each[1] for each in late)
    if plays + tunes < 1.0:
        return "quiet"
    return "tuning" if tunes > plays else "playing"
