"""The settled pitch of one played note, from all of its sound.

A plucked string starts sharp and glides flat within its first third of a
second (its tension falls with its swing); what players tune is where it
settles. The stroke's beginning is left out, as far as the note is long
enough; then the same fit as for a reading, over up to two seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from station.measure.fit import CENTS, GUESS_STIFFNESS, Fit, fit_segment
from station.measure.hypothesis import decide, find_peaks

Floats = NDArray[np.floating[Any]]

GLIDE_S = 0.25
GLIDE_SHARE = 0.35
LONGEST_S = 2.0
VOTE_S = 0.17
VOTES = 5
RELEASE_S = 0.03  # before its end a note is being damped
SAME_NOTE_CENTS = 60.0
LEAST_TONAL = 0.6
FOLLOWED_CENTS = 20.0
FOLLOWED_STIFFNESS = 3e-5  # how far the last reading's B may be off
LEAST_READINGS = 8
SWAY_READINGS = 9  # readings come every 20 ms, a vibrato's sways every 150 to 200
SWAY_CENTS = 3.0  # a vibrato; a string's last glide after its first quarter second is less
SWAY_SIGMAS = 3.0
ADRIFT_CENTS = 5.0
ADRIFT_FACTOR = 3.0  # a drift is so many times larger than what remains beside it


def settled(
    x: Floats, rate_hz: float, guess: Fit, track: Sequence[tuple[int, Fit]] = ()
) -> Fit | None:
    """Settled pitch of the note `x`, shape (n,), from its stroke to its end; None if unfit.

    `track` are the readings taken while it sounded, with the samples they end
    at. Where they sway, the note has no one frequency: its pitch is their centre.
    """
    length_s = x.size / rate_hz
    start_s = min(GLIDE_S, GLIDE_SHARE * length_s)
    stop_s = min(length_s - min(RELEASE_S, 0.1 * length_s), start_s + LONGEST_S)
    start, stop = round(start_s * rate_hz), round(stop_s * rate_hz)
    hz, inharmonicity = elect(x[start:stop], rate_hz, guess)
    later = [fit for end, fit in track if end >= start]
    swaying = centre_of(later, hz)
    if swaying is not None:
        return swaying
    known = abs(math.log(guess.hz / hz)) * CENTS < FOLLOWED_CENTS
    fit = fit_segment(
        x[start:stop],
        rate_hz,
        hz,
        guess.inharmonicity if known else inharmonicity,
        guess_stiffness=FOLLOWED_STIFFNESS if known else GUESS_STIFFNESS,
    )
    if fit is None or fit.tonal < LEAST_TONAL:
        fit = fit_segment(x, rate_hz, hz, inharmonicity)
    return fit


def centre_of(readings: Sequence[Fit], hz: float) -> Fit | None:
    """The mean pitch of the readings of the note near `hz`, if they sway; else None.

    The uncertainty comes from how much the means over a sway or so differ
    (the method of batch means), since a sway itself averages out.
    """
    own = [fit for fit in readings if abs(math.log(fit.hz / hz)) * CENTS < SAME_NOTE_CENTS]
    if len(own) < LEAST_READINGS:
        return None
    cents = CENTS * np.log(np.array([fit.hz for fit in own]) / hz)
    spread = float(cents.std())
    sure = float(np.median([fit.uncertainty_cents for fit in own]))
    if spread < SWAY_CENTS or spread < SWAY_SIGMAS * sure:
        return None
    batches = np.array_split(cents, max(2, len(own) // SWAY_READINGS))
    means = np.array([batch.mean() for batch in batches])
    centre, doubt = float(cents.mean()), float(means.std(ddof=1)) / math.sqrt(means.size)
    if _adrift(means, float(np.mean([batch.std() for batch in batches]))):
        # It did not come back to where it was: a peg was turned. Where it ended counts.
        centre, doubt = float(batches[-1].mean()), float(batches[-1].std())
    return replace(
        own[-1],
        hz=hz * math.exp(centre / CENTS),
        uncertainty_cents=max(doubt, sure / math.sqrt(means.size)),
    )


def _adrift(means: Floats, sway: float) -> bool:
    """Whether the means of successive stretches, in cents, go one way rather than to and fro.

    `sway` is how much the pitch moves within a stretch.
    """
    if means.size < 3:
        return abs(float(means[-1] - means[0])) > max(ADRIFT_CENTS, ADRIFT_FACTOR * sway)
    steps = np.arange(means.size) - (means.size - 1) / 2
    slope = float(steps @ means) / float(steps @ steps)
    left = float((means - means.mean() - slope * steps).std())
    change = abs(slope) * (means.size - 1)
    return change > max(ADRIFT_CENTS, ADRIFT_FACTOR * left, ADRIFT_FACTOR * sway)


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
    alike = apart < SAME_NOTE_CENTS
    party = np.flatnonzero(alike[int(np.argmax(alike.sum(axis=1)))])
    # Of those that agree on the note, the one in the middle: the others may be off by more.
    return votes[int(party[np.argsort(pitches[party])[party.size // 2]])]
