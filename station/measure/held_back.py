"""Is a reading to be told, or may a drum have made it?

A drum sounds near one partial of a string, or near two. So what a drum does to a reading goes
when that partial is left out, and what a hand does to the string is in all of them. A
reading that leaves where the string has been is told if all partials but any one say so; one that
is vague is told if leaving out any one hardly moves it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import islice

from station.measure.fit import CENTS, Fit, apart_cents, partials_heard, solve
from station.measure.windows import Heard

# A reading is to be within 5 cents but for once in ten thousand. How unsure a few partials are is
# itself told by few: so many of their standard deviations a pitch may be off as often as that, by
# Student's t for 4 degrees of freedom and more: `fit.TRUSTED_PARTIALS`, and one for each partial
# beyond the first, B being known beforehand (Abramowitz & Stegun, Handbook of Mathematical
# Functions, table 26.10, A = 0.9999). Of many partials the mean is believed with less, for a
# drum's modes lie near one of them or two.
WITHIN_CENTS = 5.0
STUDENT = (15.544, 11.178, 9.082, 7.885, 7.120, 6.594, 6.211)
MANY_PARTIALS = 8
# What a drum does follows no law of noise: once there is more of it between a string's partials
# than there was, five deviations leave one reading in ten thousand wrong, ten hardly any.
LATE_SIGMAS = 10.0
VAGUE_CENTS = 0.4
VAGUER = 2.0  # the noise has risen by 6 dB
LATE_READINGS = 20  # 0.4 s: the ring of a snare's body or a tom between two strokes
OFF_CENTS = 2.0
NEAR = OFF_CENTS / CENTS
CLEAR_SIGMAS = 3.0  # once in 370 by chance
HARDLY_CENTS = 3.0  # so that with its own uncertainty it stays within 5
CONFIRMED = 0.5  # nearer to the new pitch than to the old one


def shaken(track: Sequence[tuple[int, Fit]], fit: Fit, heard: Heard) -> bool:
    """Whether a drum may have made `fit`, from what the windows `heard`, what it is.

    `track`: the sample each known fit ends at, and the fit, the newest last.
    """
    unsure_cents = fit.uncertainty_cents
    if track and unsure_cents < VAGUE_CENTS:
        last = track[-1][1]
        # Both sure, and near each other: there is nothing to ask.
        if last.uncertainty_cents < VAGUE_CENTS and abs(fit.hz / last.hz - 1.0) < NEAR:
            return False
    surest_cents, off_cents = _departure(track, fit)
    if off_cents != 0.0:
        return not _all_have_moved(track, fit, heard, off_cents)
    if surest_cents < VAGUE_CENTS or (track and unsure_cents < VAGUE_CENTS):
        return False
    return not _hangs_together(fit, heard)


def borne_out(fit: Fit, track: Sequence[tuple[int, Fit]]) -> Fit:
    """The settled pitch `fit` of a note, or the surest of its readings if that knows better.

    A drum's ring that outlasts a string is measured with it, as if it were the string's. Where
    another reading as good as sure stands nearer to `fit`, a hand moved the string there; where
    most of the later half do, it glided there, and was surest in its stroke.
    """
    surest = min((known for _, known in track), key=lambda known: known.uncertainty_cents)
    vague_cents = max(VAGUE_CENTS, VAGUER * surest.uncertainty_cents)
    clear_cents = CLEAR_SIGMAS * surest.uncertainty_cents + OFF_CENTS
    if fit.uncertainty_cents <= vague_cents or apart_cents(fit.hz, surest.hz) < clear_cents:
        return fit
    later = [known.hz for _, known in islice(track, len(track) // 2, None)]
    nearer = [apart_cents(hz, fit.hz) < apart_cents(hz, surest.hz) for hz in later]
    if sum(nearer) > len(later) / 2:
        return fit
    for _, known in track:
        gone_cents = apart_cents(known.hz, surest.hz)
        sure = known.uncertainty_cents <= vague_cents and gone_cents > clear_cents
        if sure and apart_cents(known.hz, fit.hz) < gone_cents:
            return fit
    return surest._replace(uncertainty_cents=max(VAGUE_CENTS, surest.uncertainty_cents))


def is_sure(fit: Fit, noisier: bool = False) -> bool:
    """Whether `fit` is sure enough to be told.

    `noisier`: there is more between the partials of a string known for a while than there was.
    """
    sigmas = STUDENT[fit.partials - 1] if fit.partials < MANY_PARTIALS else 0.0
    return fit.uncertainty_cents * max(sigmas, LATE_SIGMAS if noisier else 0.0) <= WITHIN_CENTS


def _departure(track: Sequence[tuple[int, Fit]], fit: Fit) -> tuple[float, float]:
    """How sure the surest of the late readings is, and by how far `fit` has left them; 0 if not."""
    if not track:
        return math.inf, 0.0
    late = [known for _, known in islice(reversed(track), LATE_READINGS)]
    surest = min(late, key=lambda known: known.uncertainty_cents)
    # In a vibrato a reading goes not much farther than sure ones before it have been.
    vague_cents = max(VAGUE_CENTS, VAGUER * surest.uncertainty_cents)
    been = [known.hz for known in late if known.uncertainty_cents <= vague_cents]
    low, high = min(been), max(been)
    above, below = CENTS * math.log(fit.hz / high), CENTS * math.log(fit.hz / low)
    off_cents = max(above, -below)
    been_cents = CENTS * math.log(high / low)
    if off_cents <= OFF_CENTS + been_cents + CLEAR_SIGMAS * surest.uncertainty_cents:
        return surest.uncertainty_cents, 0.0
    return surest.uncertainty_cents, above if above > 0 else below


def _but_one(heard: Heard) -> list[Fit | None]:
    """The pitch without each of the partials that stand out."""
    rows, tonal, _ = partials_heard(heard)
    parts = [rows[:place] + rows[place + 1 :] for place in range(len(rows))]
    return [solve(part, tonal) if part else None for part in parts]


def _hangs_together(fit: Fit, heard: Heard) -> bool:
    """Whether the pitch stays where it is whichever partial is left out."""
    parts = _but_one(heard)
    if parts == [None]:
        return fit.uncertainty_cents < VAGUE_CENTS
    return all(part and apart_cents(part.hz, fit.hz) < HARDLY_CENTS for part in parts)


def _all_have_moved(
    track: Sequence[tuple[int, Fit]], fit: Fit, heard: Heard, off_cents: float
) -> bool:
    """Whether whichever partial is left out the others say that the pitch has moved."""
    known_hz = fit.hz * math.exp(-off_cents / CENTS)
    for part in _but_one(heard):
        if part is None:  # a lone tone has nobody else to say so
            return all(known.partials == 1 for _, known in islice(reversed(track), LATE_READINGS))
        moved = CENTS * math.log(part.hz / known_hz) / off_cents
        if moved < CONFIRMED or part.uncertainty_cents > CONFIRMED * abs(off_cents):
            return False
    return True
