"""What to play next, and the instrument's pitch in one line of plain words.

The next notes are chosen by what they would tell. While the temperament is open that is how much
they are expected to tell of it (``expected.py``). Then it is A4: over all models that are still
possible, A4 and the pitch of every note that could be played have a joint mean and covariance,
hearing a note, with the reeds' scatter as its error, changes them as any Gaussian observation
does, and the note is taken that leaves the least variance of A4. A note the instrument may lack
counts for less: it may have the notes of one major scale alone, as harmonicas do, and only the
notes heard so far tell of which. Of a pitch class whose reeds were all heard near the middle
another octave is taken.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from statistics import mean, median_low

import numpy as np

from station.measure.fixed.claim import FEW_CLASSES, SURE
from station.measure.fixed.evidence import Floats
from station.measure.fixed.expected import Expected
from station.measure.fixed.instrument import InstrumentPitch, NoteOffset, odds_words
from station.measure.fixed.offsets import Sounded
from station.measure.fixed.posterior import OFFSET_CENTS, Posterior
from station.measure.fixed.shapes import FAMILIES, MAJOR, NAMINGS, OFFSETS
from station.music.names import MIDI_MAX, MIDI_MIN, NamingSystem, note_in, note_name
from station.music.pitch import A4_MAX_HZ, A4_MIN_HZ, A4_STANDARD_HZ, cents_between, shift_cents

Worth = Callable[[Sequence[int]], Floats]

MOST_NOTES = 2
BEYOND = 6  # semitones outside what was heard that the instrument surely also has
TELLS_NOTHING, LEAST_NATS = 0.05, 0.002
ONE_SCALE = 0.5  # no source: half the instruments that gave one scale's notes have no others
NEAR_QUARTER_TONE_CENTS = 30.0
RIVAL = 0.05
LEAST_SHOWN_CENTS = 0.1


def notes_to_play(
    models: Posterior, named: Posterior, heard: Sequence[Sounded], identify: bool
) -> tuple[str, ...]:
    """Names of the notes that would tell most, the best first; none where none would help.

    ``named`` are those of all ``models`` whose notes have the names that are told.
    """
    few = FEW_CLASSES if identify else 0
    found = _chosen(heard, _of_temperament(models, heard), LEAST_NATS, few) if identify else []
    found = found or _chosen(heard, _of_a4(named, heard), TELLS_NOTHING)
    return tuple(note_name(midi - NAMINGS[int(named.naming[0])]) for midi in found)


def _chosen(heard: Sequence[Sounded], worth: Worth, least: float, classes: int = 0) -> list[int]:
    """The notes worth most, one after the other.

    A temperament's name speaks of twelve: until so many pitch ``classes`` are heard, new ones only,
    however little they may tell.
    """
    sounding = [each.midi for each in heard]
    there = np.array(_chances({midi % 12 for midi in sounding}))
    chosen: list[int] = []
    for _ in range(MOST_NOTES):
        free = _candidates(sounding, chosen)
        known = {midi % 12 for midi in (*sounding, *chosen)}
        few = len(known) < classes
        open_to = [place in free and not (few and place in known) for place in range(12)]
        told = np.where(open_to, np.maximum(worth(chosen), 0.0), -1.0)
        best = int((told * there).argmax())
        if told[best] < least and not (few and open_to[best]):
            break
        chosen.append(free[best])
    return chosen


def _of_temperament(models: Posterior, heard: Sequence[Sounded]) -> Worth:
    """What each pitch class would tell of the temperament, in nats, given what is played before."""
    cents: dict[int, list[float]] = {}
    for each in heard:
        cents.setdefault(each.midi % 12, []).append(each.cents)
    known = [mean(cents[place]) if place in cents else math.nan for place in range(12)]
    expected = Expected(models, np.array(known))

    def worth(chosen: Sequence[int]) -> Floats:
        if not chosen:
            return expected.information()
        return expected.information_after(chosen[0] % 12)

    return worth


def _of_a4(models: Posterior, heard: Sequence[Sounded]) -> Worth:
    """By what share each pitch class would lessen A4's variance, given what is played before."""
    noise = float(models.probability @ models.sigma**2)
    first = _covariance(models, {each.midi % 12 for each in heard})

    def worth(chosen: Sequence[int]) -> Floats:
        spread = first
        for midi in chosen:
            column = spread[:, 1 + midi % 12]
            spread = spread - np.outer(column, column) / (column[1 + midi % 12] + noise)
        own = np.diag(spread)[1:]
        gains: Floats = np.square(spread[0, 1:]) / (own + noise) / max(spread[0, 0], 1e-12)
        return gains

    return worth


def _candidates(heard: Sequence[int], chosen: Sequence[int]) -> dict[int, int]:
    """For each pitch class a note not heard yet, as near the middle of what was as there is."""
    middle, known = median_low(heard), {*heard, *chosen}
    lowest = max(MIDI_MIN + 2, min(heard) - BEYOND)
    highest = min(MIDI_MAX - 2, max(heard) + BEYOND)
    free: dict[int, int] = {}
    for midi in sorted(range(lowest, highest + 1), key=lambda each: abs(each - middle)):
        if midi not in known:
            free.setdefault(midi % 12, midi)
    return free


def _chances(classes: set[int]) -> list[float]:
    """How likely the instrument has each pitch class, from the major scales that hold the heard."""
    scales = [{(key + step) % 12 for step in MAJOR} for key in range(12)]
    alike = [each for each in scales if classes <= each]
    if not alike:
        return [1.0] * 12
    shares = [sum(place in each for each in alike) / len(alike) for place in range(12)]
    return [1.0 - ONE_SCALE * (1.0 - share) for share in shares]


def _covariance(models: Posterior, classes: set[int]) -> Floats:
    """Of A4 and the twelve pitch classes (13, 13), between the models and within them."""
    told = np.column_stack([models.a, models.own[:, None] + models.shapes.cents[models.shape]])
    apart = told - models.probability @ told
    spread: Floats = (apart * models.probability[:, None]).T @ apart
    spread = spread + float(models.probability @ models.variance)
    offsets = float(models.probability @ (models.family == FAMILIES.index(OFFSETS)))
    for place in set(range(12)) - classes:
        spread[1 + place, 1 + place] += offsets * float(np.mean(np.square(OFFSET_CENTS)))
    return spread


def says(found: InstrumentPitch, names: NamingSystem = "english") -> str:
    """The instrument's pitch in one line, notes named in the system asked for."""
    unsure = max(found.uncertainty_cents, LEAST_SHOWN_CENTS)
    heard = "one note" if found.distinct == 1 else f"{found.distinct} notes"
    text = f"A4 = {found.a4_hz:.2f} Hz ±{unsure:.1f} cents from {heard}"
    if not found.evidence:
        return f"{text}, a pure tone: a tuning fork's A"
    parts = [f"{text}{_other_name(found)}", *_bad_words(found, names)]
    last = _temperament_words(found, names)
    if found.play_next:
        last = f"{last}: play {_listed([note_in(each, names) for each in found.play_next], 'and')}"
    return "; ".join([*parts, last])


def temperament_name(temperament: str, root: str | None, names: NamingSystem = "english") -> str:
    """A temperament with its root, as it is said."""
    if temperament == "equal":
        return "equal temperament"
    if root is None or temperament in ("Werckmeister III", "Vallotti", "Young"):
        return temperament
    key = note_in(f"{root}4", names)[:-1]
    return f"just in {key}" if temperament == "just" else f"{temperament} on {key}"


def _temperament_words(found: InstrumentPitch, names: NamingSystem) -> str:
    if not found.fits:
        return "they fit no twelve-note scale"
    if found.temperament is not None:
        return _claim_words(found, names)
    best = found.evidence[0].probability
    rivals = [each for each in found.evidence if each.probability >= RIVAL * best]
    if 2 <= len(rivals) <= 3:
        listed = _listed([each.temperament for each in rivals], "or")
        return f"{listed} cannot be told apart yet"
    return "the temperament cannot be told yet"


def _claim_words(found: InstrumentPitch, names: NamingSystem) -> str:
    """What is named, with its odds: ``most likely Young, 6 to 1 against Vallotti``."""
    said = temperament_name(found.temperament or OFFSETS, found.root, names)
    sure = found.evidence[0].probability >= SURE
    if found.temperament == "just" and found.root is None:
        said = f"{said}, its key cannot be told yet"
    if found.temperament == "Vallotti" and sure and (found.spread_cents or 0.0) > 1.0:
        said = f"{said} (or Young's first, less than 2 cents from it)"
    if not sure:
        said = f"most likely {said}"
    odds = odds_words([each.probability for each in found.evidence])
    if not odds:
        return said
    rival = found.evidence[1]
    return f"{said}, {odds} against {temperament_name(rival.temperament, rival.root, names)}"


def _bad_words(found: InstrumentPitch, names: NamingSystem) -> list[str]:
    bad = [each for each in found.notes if each.bad]
    return [f"{_how_far(each, names)} and left out" for each in bad]


def _how_far(note: NoteOffset, names: NamingSystem) -> str:
    off = note.cents - (note.temperament_cents or 0.0)
    way = "sharp" if off > 0.0 else "flat"
    return f"{note_in(note.note, names)} is {abs(off):.0f} cents {way}"


def _other_name(found: InstrumentPitch) -> str:
    """Near a quarter tone from 440 Hz the other way to name the same notes is said as well."""
    cents = cents_between(found.a4_hz, A4_STANDARD_HZ)
    if abs(cents) < NEAR_QUARTER_TONE_CENTS:
        return ""
    step = -100.0 if cents > 0.0 else 100.0
    other_hz = shift_cents(found.a4_hz, step)
    if not A4_MIN_HZ <= other_hz <= A4_MAX_HZ:
        return ""
    way = "higher" if step < 0.0 else "lower"
    return f" ({other_hz:.2f} Hz with every note named a semitone {way})"


def _listed(names: Sequence[str], word: str) -> str:
    """``a, b and c``."""
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {word} {names[-1]}"
