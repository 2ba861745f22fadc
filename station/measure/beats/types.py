"""What is heard of two strings sounding together: plain values, times in the line's own stream."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class OwnPitch:
    """One string of a pair by its own partials, those the other string has none near.

    ``hz`` is its first partial as pressed, one standard deviation beside it, ``inharmonicity`` B.
    """

    hz: float
    uncertainty_cents: float
    inharmonicity: float
    partials: int


@dataclass(frozen=True, slots=True)
class BeatReading:
    """How fast two strings beat now.

    ``beat_hz`` is the beat of the lowest partials that meet (of the two lines heard, where no pair
    is named), ``uncertainty_hz`` one standard deviation. ``resolved``: two lines were told apart;
    else ``bound_hz`` says how fast they beat at most (95 %, taken that neither string is more than
    10 dB below the other), and ``beat_hz`` is the likeliest value below it. ``signed_hz``: the
    first string's partial less the second's, None where it cannot be told which string is which.
    ``line_hz``: where the two lines stand, the lower first (alike where unresolved).
    ``first`` and ``second``: either string by itself, where it is heard by itself. ``depth``:
    from 0 to 1, how much the loudness swings. ``phase_turns``, from 0 (loudest) to 1, is the beat's
    at ``at_s`` and ``last_loudest_s`` when it was 0 last, both None where nothing is resolved.
    ``from_s`` to ``at_s`` was listened to. ``onset_s`` is when
    a string was struck last. ``bands``: how many meeting partials told. ``missing``: the string (0
    for the first, 1) that is not heard, though its own partials would show.
    """

    line: int
    at_s: float
    onset_s: float
    from_s: float
    beat_hz: float
    uncertainty_hz: float
    resolved: bool
    bound_hz: float | None
    signed_hz: float | None
    line_hz: tuple[float, float]
    first: OwnPitch | None
    second: OwnPitch | None
    depth: float
    phase_turns: float | None
    last_loudest_s: float | None
    bands: int
    missing: int | None = None
    clipped: bool = False
