"""The settled pitch of one played note, from all of its sound.

A plucked string starts sharp and glides flat within its first third of a
second (its tension falls with its swing); what players tune is where it
settles. The stroke's beginning is left out, as far as the note is long
enough; then the same fit as for a reading, over up to two seconds.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, Fit, fit_segment
from station.measure.hypothesis import decide, find_peaks

Floats = NDArray[np.float64]

GLIDE_S = 0.25
GLIDE_SHARE = 0.35
LONGEST_S = 2.0
VOTE_S = 0.17
VOTES = 5
RELEASE_S = 0.03  # before its end a note is being damped
SAME_NOTE_CENTS = 60.0
LEAST_TONAL = 0.6


def settled(x: Floats, rate_hz: float, guess: Fit) -> Fit | None:
    """Settled pitch of the note `x`, shape (n,), from its stroke to its end; None if unfit."""
    length_s = x.size / rate_hz
    start_s = min(GLIDE_S, GLIDE_SHARE * length_s)
    stop_s = min(length_s - min(RELEASE_S, 0.1 * length_s), start_s + LONGEST_S)
    part = x[round(start_s * rate_hz) : round(stop_s * rate_hz)]
    hz, inharmonicity = elect(part, rate_hz, guess)
    fit = fit_segment(part, rate_hz, hz, inharmonicity)
    if fit is None or fit.tonal < LEAST_TONAL:
        fit = fit_segment(x, rate_hz, hz, inharmonicity)
    return fit


def elect(x: Floats, rate_hz: float, guess: Fit) -> tuple[float, float]:
    """Which note, octave and all: the majority of several places within the note.

    The follower's answer has a vote too, and wins a tie.
    """
    size = round(VOTE_S * rate_hz)
    if x.size < size:
        return guess.hz, guess.inharmonicity
    votes: list[tuple[float, float]] = [(guess.hz, guess.inharmonicity)]
    for start in np.linspace(0, x.size - size, VOTES).astype(int):
        peaks = find_peaks(x[start : start + size], rate_hz)
        choice = decide(peaks) if peaks else None
        if choice is not None:
            votes.append((choice.hz, choice.inharmonicity))
    pitches = np.array([hz for hz, _ in votes])
    apart = np.abs(np.log(pitches[:, None] / pitches[None, :])) * CENTS
    support = (apart < SAME_NOTE_CENTS).sum(axis=1)
    return votes[int(np.argmax(support))]
