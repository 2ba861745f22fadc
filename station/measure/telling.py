"""Is what a reading says of a note told, and as what pitch now?"""

from __future__ import annotations

import math

from station.measure.fit import apart_cents
from station.measure.held_back import is_sure
from station.measure.history import History
from station.measure.moving import LEAST_READINGS
from station.measure.reading import brought_to_now
from station.measure.sounding import Followed, Sounding

SAME_PITCH_CENTS = 60.0  # half a semitone, and what either may be off
NOISIER = 4.0  # 6 dB
STIFFER_SIGMAS = 3.0  # once in 370 by chance
LATE_S = 0.3  # after a stroke: a string has been known for a while, and its first glide is over


def in_doubt(note: Sounding) -> bool:
    """Whether who was last asked which note it is named another one."""
    return bool(note.votes) and apart_cents(note.votes[-1], note.fit.hz) > SAME_PITCH_CENTS


def told_of(
    history: History, rate_hz: float, note: Sounding, now: int, length: int
) -> Followed | None:
    """What is told of `note` at sample `now`, whose newest fit is of the last `length` samples.

    None where it is not sure.
    """
    fit = note.fit
    note.quietest = min(note.quietest, fit.beside)
    if note.stiff is None or fit.inharmonicity_sd < note.stiff.inharmonicity_sd:
        note.stiff = fit
    if in_doubt(note):
        note.turn = None
        return None
    told = brought_to_now(history, rate_hz, note, now, length)
    late = now - note.onset > LATE_S * rate_hz
    drummed = late and fit.beside > NOISIER * note.quietest and not told.swaying
    before, note.sure = note.sure, is_sure(fit, drummed) and not (drummed and _stiffer(note))
    if not note.sure:
        note.turn = None
        return None
    if late and told.moving and not is_sure(told):
        note.sure = False
    # What has kept silent for so long, a drum may have made sure once by chance.
    if not note.sure or (late and not note.told and not before):
        return None
    note.told = True
    but_for_its_glide = fit if len(note.track) < LEAST_READINGS else told
    return Followed(told, note.onset, but_for_its_glide.uncertainty_cents)


def _stiffer(note: Sounding) -> bool:
    """Whether the newest fit says of the string's stiffness what cannot be: it does not change."""
    if note.stiff is None:
        return False
    off = abs(note.fit.inharmonicity - note.stiff.inharmonicity)
    return off > STIFFER_SIGMAS * math.hypot(note.fit.inharmonicity_sd, note.stiff.inharmonicity_sd)
