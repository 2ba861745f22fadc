"""Which note, octave and all, was a note that has ended?

Whoever followed it has a say, and several places within it have theirs. What these choose
must be a string, as what begins a note must: a kick an octave or two below a string that dies
away is none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from station.measure.drum_check import may_be_a_drum, stands_alone_below
from station.measure.fit import CENTS, Fit, Guess, apart_cents, listen_and_fit
from station.measure.hypothesis import convincing, decide, find_peaks
from station.measure.windows import Floats

VOTE_S = 0.17  # as long as the tracker listens to tell a note
VOTES = 5
ENOUGH_VOTES = 3
SAME_NOTE_CENTS = 60.0  # half a semitone, and what either may be off


def elected(x: Floats, rate_hz: float, guess: Fit, heard: Sequence[float]) -> tuple[float, float]:
    """Pitch, in Hz, and inharmonicity of the note whose steady part is `x`, shape (n,).

    `guess` is what it was followed as, `heard` what it was taken for while it sounded, in Hz.
    """
    known = guess.hz, guess.inharmonicity
    if len(heard) >= ENOUGH_VOTES and all(_alike(hz, guess.hz) for hz in heard):
        return known
    chosen = _majority(x, rate_hz, guess, heard)
    return chosen if _alike(chosen[0], guess.hz) or _is_string(x, rate_hz, chosen) else known


def _majority(x: Floats, rate_hz: float, guess: Fit, heard: Sequence[float]) -> tuple[float, float]:
    """Pitch and inharmonicity most places within the note agree on.

    The follower's answer has a vote too, and wins a tie; so has what it was `heard` as, in Hz,
    each time that was asked while it sounded: a drum may drown most of its end.
    """
    size = round(VOTE_S * rate_hz)
    if x.size < size:
        return guess.hz, guess.inharmonicity
    votes = [(hz, guess.inharmonicity) for hz in (guess.hz, *heard)]
    for start in np.linspace(0, x.size - size, VOTES).astype(int):
        peaks = find_peaks(x[start : start + size], rate_hz)
        choice = decide(peaks) if peaks else None
        if choice is not None and convincing(choice):
            votes.append((choice.hz, choice.inharmonicity))
    pitches = np.array([hz for hz, _ in votes])
    apart = np.abs(np.log(pitches[:, None] / pitches[None, :])) * CENTS
    alike = apart < SAME_NOTE_CENTS
    party = np.flatnonzero(alike[int(np.argmax(alike.sum(axis=1)))])
    # Of those that agree on the note, the one in the middle: the others may be off by more.
    return votes[int(party[np.argsort(pitches[party])[party.size // 2]])]


def _alike(hz: float, other_hz: float) -> bool:
    return apart_cents(hz, other_hz) < SAME_NOTE_CENTS


def _is_string(x: Floats, rate_hz: float, chosen: tuple[float, float]) -> bool:
    found = listen_and_fit(x, rate_hz, Guess(*chosen))
    return found is not None and not may_be_a_drum(*found) and stands_alone_below(found[0])
