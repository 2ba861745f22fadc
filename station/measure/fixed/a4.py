"""A4 and the temperament of an instrument of fixed pitch, from its notes.

Which temperament may be named says ``claim.py``. A4 is that of the likeliest tuning, if it
outweighs all others (the mean of its roots, where no note
heard tells them apart), else the average; its uncertainty is about the pitch that is told, over all
models, the less likely included, and is wide as long as they differ.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from station.measure.fixed.advice import notes_to_play, says
from station.measure.fixed.claim import SURE, by_family, by_root, claim_of, claimed_root
from station.measure.fixed.evidence import Floats
from station.measure.fixed.instrument import Evidence, InstrumentPitch, NoteOffset
from station.measure.fixed.offsets import Sounded, sounded
from station.measure.fixed.posterior import (
    NEAREST_CENTS,
    STRETCH_MEAN,
    STRETCH_SD,
    Posterior,
    posterior,
)
from station.measure.fixed.shapes import FAMILIES, NAMINGS, OFFSETS
from station.measure.fixed.types import FixedNote
from station.measure.windows import plain
from station.music.names import MIDI_MAX, MIDI_MIN, note_name
from station.music.pitch import (
    A4_MAX_HZ,
    A4_MIDI,
    A4_STANDARD_HZ,
    cents_between,
    check_a4,
    midi_to_hz,
    shift_cents,
)
from station.music.temperaments import A_CLASS

__all__ = ["Evidence", "InstrumentPitch", "NoteOffset", "instrument_pitch"]

HARDLY, CLEARLY = 0.4, 0.6  # of all: it does not outweigh the others, it does
ENOUGH_CENTS = 1.0
"""Two tones in turn are told apart from 3 cents on at 440 Hz (Wier, Jesteadt & Green, JASA 61,
1977: 1 to 2 Hz below 1 kHz; from memory), together a cent beats once in four seconds."""
ENOUGH_NOTES = 5
MOST_EVIDENCE = 4
MISFIT_CENTS = 20.0
"""No temperament's notes scatter so far from equal: such notes are no twelve-note scale."""
SPREAD_NOTES = 4
SAME_CENTS = 1e-6
LEAST_EVIDENCE = 0.001
FORK_PARTIALS = 2
FORK_HZ = 405.0
"""Lower a pure tone may as well be a G fork's (392 Hz)."""


def instrument_pitch(notes: Sequence[FixedNote]) -> InstrumentPitch | None:
    """What the notes heard so far tell of their instrument; None without a usable note.

    A note told again (the same line and onset) replaces, a note played again is averaged.
    The notes of a chord are notes with one onset.
    """
    heard = sounded(notes)
    if not heard:
        return None
    if _is_fork(heard):
        return _fork(heard[0])
    models = posterior(heard)
    misfit = _is_misfit(models, heard)
    classes = len({each.midi % 12 for each in heard})
    claim = None if misfit else claim_of(models, len(heard), classes)
    family, sure = (None, False) if claim is None else claim
    named = _one_naming(models, family)
    root = claimed_root(named, family)
    told = _told(named, heard)
    a_cents = float(told.probability @ told.a)
    # About the A4 that is told, not about the models' own mean: what is not believed counts.
    variance = float(named.probability @ (named.variance + (named.a - a_cents) ** 2))
    # A sure claim was found sure enough; what is left of its rivals is told but not waited for.
    own = float(told.probability @ (told.variance + (told.a - a_cents) ** 2))
    open_variance = own if sure else variance
    enough = not misfit and open_variance <= ENOUGH_CENTS**2 and len(heard) >= ENOUGH_NOTES
    next_notes: tuple[str, ...] = ()
    if not (enough and sure):
        next_notes = notes_to_play(models, named, heard, identify=not sure)
    found = InstrumentPitch(
        a4_hz=check_a4(shift_cents(A4_STANDARD_HZ, a_cents)),
        uncertainty_cents=math.sqrt(variance),
        temperament=None if family is None else FAMILIES[family],
        root=root,
        evidence=_evidence(models, named),
        stretch_cents_per_octave=_stretch(told, heard),
        notes=_notes(told, heard, a_cents, family, misfit),
        distinct=len(heard),
        spread_cents=float(told.probability @ told.sigma) if len(heard) >= SPREAD_NOTES else None,
        enough=enough,
        says="",
        play_next=next_notes,
        fits=not misfit,
    )
    return replace(found, says=says(found))


def _is_fork(heard: Sequence[Sounded]) -> bool:
    """One note, as good as a pure tone, where forks give an A (415 Hz ones as well)."""
    note = heard[0].surest
    return len(heard) == 1 and note.partials <= FORK_PARTIALS and FORK_HZ <= note.hz <= A4_MAX_HZ


def _fork(note: Sounded) -> InstrumentPitch:
    """A fork has no temperament: its A is A4."""
    a4_hz = check_a4(shift_cents(midi_to_hz(note.midi), note.cents))
    unsure = math.sqrt(note.variance)
    near = abs(cents_between(a4_hz, A4_STANDARD_HZ)) <= NEAREST_CENTS
    reed = _offset(note, A4_MIDI, 0.0, None, bad=False)
    found = InstrumentPitch(
        a4_hz, unsure, None, None, (), None, (reed,), 1, None, near and unsure <= ENOUGH_CENTS,
        "", (),
    )  # fmt: skip
    return replace(found, says=says(found))


def _is_misfit(models: Posterior, heard: Sequence[Sounded]) -> bool:
    best = int(models.probability.argmax())
    curve = _curve(models, best, heard) if models.stretched[best] else 0.0
    level = np.array([each.cents for each in heard]) - curve
    return float(level[~models.bad[best]].std()) > MISFIT_CENTS


def _one_naming(models: Posterior, family: int | None) -> Posterior:
    """The models under one naming: of what is claimed the likeliest, else that nearest to 440 Hz.

    A band that was told of 415 Hz would tune a semitone lower: not without a claim that says so.
    """
    if family is not None:
        weight = models.probability * (models.family == family)
    else:
        weight = models.probability * (np.abs(models.a) <= NEAREST_CENTS)
    if not weight.any():
        weight = models.probability
    naming = int(np.bincount(models.naming, weight).argmax())
    return models.where(models.naming == naming)


def _told(named: Posterior, heard: Sequence[Sounded]) -> Posterior:
    """The models A4 is averaged over: those of one tuning, if it outweighs all others, else all.

    Half-way between two tunings lies an A4 that neither has. But roots that ask the same of every
    note heard are one tuning: no reed decides between them, so A4 is their mean, each as likely as
    it is in general. Of an instrument that gave nothing but A's just is left out: whatever other
    notes it may have, a band tunes to this A. What hardly outweighs the others leaves them a part
    of their say, so that A4 does not jump as a note is heard a little otherwise.
    """
    family, probability = max(by_family(named).items(), key=lambda item: item[1])
    others = _say_of_others(probability)
    only_a = all(each.midi % 12 == A_CLASS for each in heard) and not named.naming.any()
    if others == 1.0 and only_a:
        return named.where(named.family != FAMILIES.index("just"))
    own = named.family == family
    weight = np.where(own, 1.0, others)
    shares = by_root(named)
    _, root = max(shares, key=lambda each: shares[each] * (each[0] == family))
    alike = _alike(named.where(own), root, heard)
    naming = int(named.naming[0])
    of_root = np.array([each[naming] in alike for each in named.shapes.roots])[named.shape]
    share = sum(shares[family, each] for each in alike)
    weight = np.where(own & ~of_root, _say_of_others(share), weight)
    models = named if len(alike) == 1 else named.at_any_pitch()
    return models.weighted(weight)


def _say_of_others(share: float) -> float:
    return min(1.0, max(0.0, (CLEARLY - share) / (CLEARLY - HARDLY)))


def _alike(models: Posterior, root: str | None, heard: Sequence[Sounded]) -> set[str | None]:
    """The roots, of one temperament, that ask of every note heard what ``root`` does."""
    naming = int(models.naming[0])
    shapes = np.unique(models.shape)
    roots = [models.shapes.roots[each][naming] for each in plain(shapes)]
    asked = models.shapes.cents[shapes][:, [each.midi % 12 for each in heard]]
    asked = asked - asked[:, :1]
    shares = np.bincount(np.searchsorted(shapes, models.shape), models.probability)
    leading = int(np.where([each == root for each in roots], shares, 0.0).argmax())
    same = np.abs(asked - asked[leading]).max(axis=1) < SAME_CENTS
    return {each for each, is_same in zip(roots, plain(same), strict=True) if is_same}


def _evidence(models: Posterior, named: Posterior) -> tuple[Evidence, ...]:
    """The likeliest temperaments, each with its root where that is as sure as a claim."""
    within = by_family(named)
    roots = {
        family: root
        for (family, root), share in by_root(named).items()
        if share >= SURE * within[family]
    }
    best = sorted(by_family(models).items(), key=lambda item: -item[1])[:MOST_EVIDENCE]
    return tuple(
        Evidence(FAMILIES[family], roots.get(family), probability)
        for family, probability in best
        if probability >= LEAST_EVIDENCE
    )


def _curve(models: Posterior, component: int, heard: Sequence[Sounded]) -> Floats:
    """Stretch in cents of each note under one stretched component (``posterior``'s b1 and b3)."""
    octaves = (np.array([each.midi for each in heard]) - A4_MIDI) / 12.0
    design = np.stack([np.ones(len(heard)), octaves, octaves**3], axis=1)
    measured = np.array([each.variance for each in heard])
    w = np.where(models.bad[component], 0.0, 1.0 / (measured + models.sigma[component] ** 2))
    asked = models.shapes.cents[models.shape[component]][[each.midi % 12 for each in heard]]
    y = np.array([each.cents for each in heard]) - asked
    prior = np.array([0.0, *(1.0 / np.square(STRETCH_SD))])
    right = design.T @ (w * y) + prior * np.array([0.0, *STRETCH_MEAN])
    found = np.linalg.solve((design.T * w) @ design + np.diag(prior), right)
    curve: Floats = design[:, 1:] @ found[1:]
    return curve


def _stretch(told: Posterior, heard: Sequence[Sounded]) -> float | None:
    """Cents by which an octave is too wide, on average over the notes heard; None when pure."""
    octaves = (heard[-1].midi - heard[0].midi) / 12.0
    if octaves < 1.0 or float(told.probability @ told.stretched) < 0.5:
        return None
    best = int(np.where(told.stretched, told.probability, 0.0).argmax())
    curve = _curve(told, best, heard)
    return float(curve[-1] - curve[0]) / octaves


def _notes(
    told: Posterior, heard: Sequence[Sounded], a_cents: float, family: int | None, misfit: bool
) -> tuple[NoteOffset, ...]:
    """Each note against equal temperament on the A4 that is told; of a misfit none is bad."""
    naming = int(told.naming[0])
    steps = NAMINGS[naming]
    bad = (told.probability @ told.bad > 0.5) & (not misfit)
    asked: Floats | None = None
    if family is not None and FAMILIES[family] != OFFSETS:
        of_it = told.where(told.family == family)
        shape = int(of_it.shape[of_it.probability.argmax()])
        asked = told.shapes.cents[shape] - (told.shapes.shift[shape, naming] - 100.0 * steps)
    return tuple(
        _offset(
            each,
            min(max(each.midi - steps, MIDI_MIN), MIDI_MAX),
            each.cents - (a_cents - 100.0 * steps),
            None if asked is None else float(asked[each.midi % 12]),
            bad=bool(is_bad),
        )
        for each, is_bad in zip(heard, bad, strict=True)
    )


def _offset(note: Sounded, midi: int, cents: float, asked: float | None, bad: bool) -> NoteOffset:
    return NoteOffset(
        midi=midi,
        note=note_name(midi),
        hz=shift_cents(midi_to_hz(note.midi), note.cents),
        cents=cents,
        uncertainty_cents=math.sqrt(note.variance),
        times=note.times,
        temperament_cents=asked,
        bad=bad,
        reeds_hz=tuple(each.hz for each in note.surest.reeds),
        beat_hz=note.surest.beat_hz,
    )
