"""What is known of an instrument of fixed pitch from its notes: plain values.

``a4_hz`` is the A4 a band should tune to, in equal temperament: keyboard temperaments are
anchored at their A, just at its key note (``music.temperaments``). Every uncertainty is one
standard deviation, in cents.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

MOST_ODDS, WHOLE_ODDS = 1000.0, 3.0
"""More is not said, less is not rounded."""


@dataclass(frozen=True, slots=True)
class NoteOffset:
    """One note of the instrument, all its takes together.

    ``cents`` is counted from equal temperament on the A4 that was found, ``temperament_cents``
    what the recognised temperament asks there (None where none was recognised). ``bad``: the
    reed is not where its neighbours say it should be, and A4 does not hear it. ``times`` is how
    often it was heard; ``reeds_hz`` and ``beat_hz`` are of its surest take.
    """

    midi: int
    note: str
    hz: float
    cents: float
    uncertainty_cents: float
    times: int
    temperament_cents: float | None
    bad: bool
    reeds_hz: tuple[float, ...]
    beat_hz: float | None


@dataclass(frozen=True, slots=True)
class Evidence:
    """How probable a temperament is; its root where that is known as surely."""

    temperament: str
    root: str | None
    probability: float


@dataclass(frozen=True, slots=True)
class InstrumentPitch:
    """A4 of an instrument, and the temperament if the notes carry the claim.

    ``temperament`` is a name of ``music.temperaments``, "per-note offsets" or None: cannot
    tell. ``evidence`` holds the likeliest, at most four: of a temperament named it and its
    runner-up come first. ``spread_cents`` is how far the reeds
    scatter by themselves, ``distinct`` how many different notes were heard. ``enough``: A4 is
    known as well as it need be. ``says`` is all this in one line, ``play_next`` the notes that
    would tell most. ``fits``: the notes are those of some twelve-note scale. A tuning fork, one
    pure tone, has no evidence: it has no temperament.
    """

    a4_hz: float
    uncertainty_cents: float
    temperament: str | None
    root: str | None
    evidence: tuple[Evidence, ...]
    stretch_cents_per_octave: float | None
    notes: tuple[NoteOffset, ...]
    distinct: int
    spread_cents: float | None
    enough: bool
    says: str
    play_next: tuple[str, ...]
    fits: bool = True


def odds_words(probabilities: Sequence[float]) -> str:
    """The odds of the first against the second: ``6 to 1``; nothing from a thousand to one on."""
    if len(probabilities) < 2 or not probabilities[0] < MOST_ODDS * probabilities[1]:
        return ""
    odds = probabilities[0] / probabilities[1]
    return f"{odds:.0f} to 1" if odds >= WHOLE_ODDS else f"{odds:.1f} to 1"
