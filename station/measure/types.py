"""What the measuring code says: plain values, times in seconds of the line's own stream.

A *line* is one input channel, counted from 1. A *reading* is one measured
pitch with its uncertainty; a *note* is one played note from onset to end with
its settled pitch. Times count samples from the start of the stream or file
divided by the sample rate; they are not wall-clock times.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reading:
    """The pitch of a sounding note now.

    ``hz`` is the first partial, F sqrt(1 + B). ``uncertainty_cents`` is one
    standard deviation. ``at_s`` is the time of the last sample used and
    ``onset_s`` tells which note it belongs to. ``moving``: the pitch is on its
    way, as while a peg is turned.
    """

    line: int
    at_s: float
    hz: float
    uncertainty_cents: float
    inharmonicity: float
    partials: int
    onset_s: float
    clipped: bool = False
    moving: bool = False


@dataclass(frozen=True, slots=True)
class Note:
    """One played note, published once it has ended; ``hz`` is its settled pitch."""

    line: int
    onset_s: float
    end_s: float
    hz: float
    uncertainty_cents: float
    inharmonicity: float
    partials: int
    clipped: bool = False


@dataclass(frozen=True, slots=True)
class Level:
    """How loud a line is, published about four times a second.

    ``rms_dbfs`` and ``peak_dbfs`` are relative to a full-scale sine's peak
    (0 dBFS = amplitude 1.0); silence of exact zeros is ``-inf`` floored to
    -150. ``dc`` is the mean in full-scale units. ``state`` is ``"no signal"``
    (digital silence: nothing connected), ``"quiet"`` or ``"signal"``.
    ``hum_hz`` is the mains frequency last found on the line and ``hum_dbfs``
    the rms of all its multiples together; None where none was found.
    """

    line: int
    at_s: float
    rms_dbfs: float
    peak_dbfs: float
    dc: float
    clipped: bool
    state: str
    hum_hz: float | None = None
    hum_dbfs: float | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples were lost here; no reading spans it."""

    line: int
    at_s: float
    lost_frames: int


Heard = Reading | Note | Level | Gap
