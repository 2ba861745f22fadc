"""What is heard of an instrument of fixed pitch: plain values, times in seconds of its line.

A *reed* is whatever sounds one pitch of a note: a free reed, a pipe, a course of
strings, a fork, an oscillator. A *fixed note* is one note that was held, with
its reeds. Times count samples from the start of the stream or file divided by
the sample rate, as everywhere in `measure`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reed:
    """One of the reeds that sound a note.

    ``hz`` is its first partial, ``uncertainty_cents`` one standard deviation,
    ``level_db`` its level relative to the strongest reed of the note (0 or less).
    """

    hz: float
    uncertainty_cents: float
    level_db: float


@dataclass(frozen=True, slots=True)
class FixedNote:
    """One note of an instrument of fixed pitch.

    ``hz`` is the pitch the ear takes: the first partial; with several reeds
    their mean. ``uncertainty_cents`` is one standard deviation of it.
    ``reeds`` has one entry for a plain note; ``beat_hz`` is the beat of the two
    strongest reeds at the first partial, None with one reed. ``partials`` is how
    many partials were used. A note held long may be told again as it becomes
    surer: the same line and onset and nearly the same pitch replace what was
    told before.
    """

    line: int
    onset_s: float
    end_s: float
    hz: float
    uncertainty_cents: float
    inharmonicity: float
    partials: int
    reeds: tuple[Reed, ...]
    beat_hz: float | None
    clipped: bool = False
