"""Many takes of an instrument's notes made one offset for each distinct note.

An offset is counted in cents from equal temperament at 440 Hz. Which semitone a pitch belongs
to is decided against all others: an instrument a quarter tone flat has no note near a semitone,
but its notes agree with each other modulo 100 cents, and their circular mean (Mardia & Jupp,
Directional Statistics, 2000, 2.2) is the middle that names are counted from.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from station.measure.fixed.types import FixedNote
from station.music.names import MIDI_MAX, MIDI_MIN
from station.music.pitch import A4_MIDI, A4_STANDARD_HZ

SAME_NOTE_CENTS = 50.0
"""A note told again moved less than this; farther off it is another note of the same chord."""

FAR_LESS_SURE = 3.0
LEAST_CENTS = 0.05  # no pitch here is surer: cards differ by more (30 ppm, from memory)
MOST_CENTS = 25.0
"""A pitch less sure than this tells nothing of a temperament."""


@dataclass(frozen=True, slots=True)
class Sounded:
    """One distinct note: its place, its offset in cents with the variance of its measuring."""

    midi: int
    cents: float
    variance: float
    times: int
    surest: FixedNote


def sounded(notes: Iterable[FixedNote]) -> list[Sounded]:
    """Every distinct note, from the lowest up; what is no usable pitch is left out."""
    usable = [each for each in _latest(notes) if _is_usable(each)]
    if not usable:
        return []
    semitones = [A4_MIDI + 12.0 * math.log2(each.hz / A4_STANDARD_HZ) for each in usable]
    middle = _middle(semitones)
    takes: dict[int, list[tuple[float, FixedNote]]] = defaultdict(list)
    for place, note in zip(semitones, usable, strict=True):
        midi = math.floor(place - middle + 0.5)
        if MIDI_MIN <= midi <= MIDI_MAX:
            takes[midi].append((100.0 * (place - midi), note))
    return [_together(midi, takes[midi]) for midi in sorted(takes)]


def median_inharmonicity(notes: Sequence[Sounded]) -> float:
    """Of the notes with partials enough to tell (three), 0 without any."""
    known = sorted(each.surest.inharmonicity for each in notes if each.surest.partials >= 3)
    return known[len(known) // 2] if known else 0.0


def _latest(notes: Iterable[FixedNote]) -> list[FixedNote]:
    """Notes as last told: the same line and onset and nearly the same pitch replace.

    But not what was far surer: reeds that were told apart are not told apart any longer once
    their player's breath gives way.
    """
    kept: list[FixedNote] = []
    for note in notes:
        for place in range(len(kept) - 1, -1, -1):
            if _is_told_again(kept[place], note):
                if note.uncertainty_cents <= FAR_LESS_SURE * kept[place].uncertainty_cents:
                    kept[place] = note
                break
        else:
            kept.append(note)
    return kept


def _is_told_again(before: FixedNote, after: FixedNote) -> bool:
    if (before.line, before.onset_s) != (after.line, after.onset_s):
        return False
    if not (before.hz > 0.0 and after.hz > 0.0):
        return False
    return abs(1200.0 * math.log2(after.hz / before.hz)) < SAME_NOTE_CENTS


def _is_usable(note: FixedNote) -> bool:
    if not (math.isfinite(note.hz) and math.isfinite(note.uncertainty_cents)):
        return False
    return note.hz > 0.0 and 0.0 <= note.uncertainty_cents <= MOST_CENTS


def _middle(semitones: Sequence[float]) -> float:
    """Circular mean of the fractions, in semitones from -0.5 to 0.5."""
    across = sum(math.sin(2.0 * math.pi * each) for each in semitones)
    along = sum(math.cos(2.0 * math.pi * each) for each in semitones)
    return math.atan2(across, along) / (2.0 * math.pi)


def _together(midi: int, takes: Sequence[tuple[float, FixedNote]]) -> Sounded:
    """The weighted mean of a note's takes.

    The variance is that of the mean, but not less than the takes' own scatter says (Birge's
    ratio: R. T. Birge, Physical Review 40, 1932): two takes of one reed are not two reeds.
    """
    weights = [1.0 / max(note.uncertainty_cents, LEAST_CENTS) ** 2 for _, note in takes]
    total = sum(weights)
    mean = sum(w * cents for w, (cents, _) in zip(weights, takes, strict=True)) / total
    variance = 1.0 / total
    if len(takes) > 1:
        squares = sum(w * (cents - mean) ** 2 for w, (cents, _) in zip(weights, takes, strict=True))
        variance *= max(1.0, squares / (len(takes) - 1))
    surest = min((note for _, note in takes), key=lambda note: note.uncertainty_cents)
    return Sounded(midi, mean, max(variance, LEAST_CENTS**2), len(takes), surest)
