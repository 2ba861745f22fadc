"""Notes for the drums of a kit: the least turning, the least roughness, over all songs at once.

Every set of notes has a cost, in semitones of turning one drum, so that each weight answers
"how far would one turn a drum for this?":

- *movement*: semitones each drum is to move. Tension goes as the square of the pitch (ideal
  membrane; Fletcher & Rossing, chapter 3), so a semitone is 12 % of tension wherever it begins:
  equal cost is equal share of tension.
- *roughness* with the bass (``roughness.py``), the mean over the songs and over each song's
  bass notes. Between its roughest and its smoothest note a tom gains about 0.4; at 4 a unit that
  is worth a semitone and a half, so that a drum goes to its neighbour note and not through
  the octave.
- *place* in the key, the mean over the songs: outside the scale 1.5, for no scale here
  leaves more than 1.5 semitones to its nearest note; a scale tone outside the tonic triad a
  quarter.
- *spacing* of neighbouring toms: thirds and fourths cost nothing, as most drummers have them; a
  fifth or an octave a quarter, anything else 1 (common practice, no source).

Toms are ordered by size: the larger lower, at least ``LEAST_APART`` semitones apart as long as
there is room. Snare and bass drum stand by themselves. Since only neighbours depend on each
other, the cheapest set is found exactly by dynamic programming (Bellman 1957): the cheapest
way to every note of one tom from all notes of the tom before it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from station.errors import DrumError
from station.music.drums import practical_range, tension_change
from station.music.kit import (
    BASS_AMPLITUDES,
    MAX_DRUMS,
    MAX_SONGS,
    Drum,
    InSong,
    Song,
    in_song,
)
from station.music.pitch import (
    A4_STANDARD_HZ,
    cents_between,
    hz_to_midi,
    midi_to_hz,
    nearest_note,
)
from station.music.roughness import Partial, harmonics, roughness_between
from station.music.verdict import Verdict, verdict

LEAST_APART = 3
IN_CENTS = 5.0
"""A drum this near its target may stay: strokes on one drum differ as much (common practice)."""
_SPACING_COSTS = {3: 0.0, 4: 0.0, 5: 0.0, 7: 0.25, 12: 0.25}
_OTHER_SPACING = 1.0
_PLACE_COSTS = {"root": 0.0, "third": 0.0, "fifth": 0.0}


@dataclass(frozen=True, slots=True)
class Weights:
    """What things cost, in semitones of movement; the module says why."""

    roughness: float = 4.0
    outside: float = 1.5
    scale_tone: float = 0.25
    spacing: float = 1.0


DEFAULT_WEIGHTS = Weights()


@dataclass(frozen=True, slots=True)
class Cost:
    """The cost of a set of notes in semitones of movement, by what it is made of."""

    movement: float
    roughness: float
    place: float
    spacing: float

    @property
    def total(self) -> float:
        """All of it."""
        return self.movement + self.roughness + self.place + self.spacing


@dataclass(frozen=True, slots=True)
class Choice:
    """A pitch a drum may have: ``midi`` is the note, ``hz`` its pitch, off the note if kept."""

    midi: int
    hz: float


@dataclass(frozen=True, slots=True)
class Target:
    """Where a drum could move: ``move_cents`` up when positive, ``tension_percent`` likewise.

    ``songs`` say what it would be in each song.
    """

    drum: Drum
    midi: int
    hz: float
    move_cents: float
    tension_percent: float
    verdict: Verdict
    songs: tuple[InSong, ...]


@dataclass(frozen=True, slots=True)
class TargetSet:
    """A target for each drum, in the kit's order.

    ``least_apart`` is how many semitones apart toms were held, None where not even their order
    by size could be kept; ``toms`` are the toms' places in the kit, from the highest down.
    """

    targets: tuple[Target, ...]
    toms: tuple[int, ...]
    least_apart: int | None
    cost: Cost


def find_targets(
    kit: Sequence[Drum],
    songs: Sequence[Song],
    a4_hz: float = A4_STANDARD_HZ,
    weights: Weights = DEFAULT_WEIGHTS,
) -> TargetSet:
    """The cheapest set of notes. Raises DrumError for too few or many, ReferenceRangeError."""
    for what, count, most in (("drums", len(kit), MAX_DRUMS), ("songs", len(songs), MAX_SONGS)):
        if not 1 <= count <= most:
            raise DrumError(f"{count} {what} to find targets for: give from 1 to {most}")
    costs = [_choice_costs(drum, songs, a4_hz, weights) for drum in kit]
    chosen = [min(each, key=each.__getitem__) for each in costs]
    toms = by_size(kit)
    least_apart: int | None = LEAST_APART
    if toms:
        least_apart, found = _chain(kit, toms, costs, weights)
        for place, choice in zip(toms, found, strict=True):
            chosen[place] = choice
    cost = set_cost(kit, songs, [each.hz for each in chosen], a4_hz, weights)
    pairs = zip(kit, chosen, strict=True)
    targets = tuple(_target(drum, choice, songs, a4_hz) for drum, choice in pairs)
    return TargetSet(targets, toms, least_apart, cost)


def by_size(kit: Sequence[Drum]) -> tuple[int, ...]:
    """Places in the kit of its toms, smallest first: the order in which they go down.

    Of one diameter the deeper is the larger, of one size the one that is lower now.
    """
    toms = [place for place, drum in enumerate(kit) if drum.kind == "tom"]
    return tuple(
        sorted(toms, key=lambda i: (kit[i].diameter_mm, kit[i].depth_mm or 0.0, -kit[i].hz))
    )


def choices(drum: Drum, a4_hz: float = A4_STANDARD_HZ) -> tuple[Choice, ...]:
    """The notes within the drum's practical range and the one nearest to what it is now.

    One that is to be kept has its present pitch alone. Raises ReferenceRangeError.
    """
    here = nearest_note(drum.hz, a4_hz).midi
    if drum.keep:
        return (Choice(here, drum.hz),)
    low_hz, high_hz = practical_range(drum.diameter_in, drum.kind)
    lowest = math.ceil(hz_to_midi(low_hz, a4_hz))
    highest = math.floor(hz_to_midi(high_hz, a4_hz))
    notes = sorted({here, *range(lowest, highest + 1)})
    return tuple(Choice(midi, midi_to_hz(midi, a4_hz)) for midi in notes)


def may_follow(higher: Drum, lower: Drum, semitones: int, least_apart: int | None) -> bool:
    """Whether two neighbouring toms may stand so far apart; two that are kept always may."""
    both_kept = higher.keep and lower.keep
    return least_apart is None or both_kept or semitones >= least_apart


def set_cost(
    kit: Sequence[Drum],
    songs: Sequence[Song],
    pitches_hz: Sequence[float],
    a4_hz: float = A4_STANDARD_HZ,
    weights: Weights = DEFAULT_WEIGHTS,
) -> Cost:
    """What it costs to have the drums at these pitches. Raises ReferenceRangeError."""
    placed = list(zip(kit, pitches_hz, strict=True))
    notes = [nearest_note(hz, a4_hz).midi for hz in pitches_hz]
    apart = [notes[high] - notes[low] for high, low in pairwise(by_size(kit))]
    strings: dict[int, tuple[Partial, ...]] = {}
    return Cost(
        math.fsum(_movement(drum, hz) for drum, hz in placed),
        math.fsum(
            weights.roughness * _mean_roughness(drum, hz, songs, a4_hz, strings)
            for drum, hz in placed
        ),
        math.fsum(_place(midi, songs, weights) for midi in notes),
        math.fsum(weights.spacing * spacing_cost(each) for each in apart),
    )


def spacing_cost(semitones: int) -> float:
    """What two neighbouring toms so many semitones apart cost, before the weight."""
    return _SPACING_COSTS.get(semitones, _OTHER_SPACING)


_Costs = Mapping[Choice, float]


def _chain(
    kit: Sequence[Drum], toms: Sequence[int], costs: Sequence[_Costs], weights: Weights
) -> tuple[int | None, list[Choice]]:
    """The cheapest notes of the toms, as far apart as there is room for."""
    for least_apart in (*range(LEAST_APART, -1, -1), None):
        found = _cheapest(kit, toms, costs, weights, least_apart)
        if found is not None:
            return least_apart, found
    raise DrumError("no notes for these toms: every drum needs a note at least")


def _cheapest(
    kit: Sequence[Drum],
    toms: Sequence[int],
    costs: Sequence[_Costs],
    weights: Weights,
    least_apart: int | None,
) -> list[Choice] | None:
    """Dynamic programming from the smallest tom to the largest; None where there is no room."""
    ways: dict[Choice, tuple[float, list[Choice]]] = {
        choice: (cost, [choice]) for choice, cost in costs[toms[0]].items()
    }
    for above, below in pairwise(toms):
        reached = {}
        for choice, cost in costs[below].items():
            steps = [
                (so_far + weights.spacing * spacing_cost(before.midi - choice.midi), way)
                for before, (so_far, way) in ways.items()
                if may_follow(kit[above], kit[below], before.midi - choice.midi, least_apart)
            ]
            if steps:
                so_far, way = min(steps, key=lambda step: step[0])
                reached[choice] = (so_far + cost, [*way, choice])
        ways = reached
    return min(ways.values(), key=lambda way: way[0])[1] if ways else None


def _choice_costs(drum: Drum, songs: Sequence[Song], a4_hz: float, weights: Weights) -> _Costs:
    """What each choice of a drum costs by itself; the nearest first, so that it wins a tie."""
    strings: dict[int, tuple[Partial, ...]] = {}
    near_first = sorted(choices(drum, a4_hz), key=lambda choice: _movement(drum, choice.hz))
    return {
        choice: _movement(drum, choice.hz)
        + weights.roughness * _mean_roughness(drum, choice.hz, songs, a4_hz, strings)
        + _place(choice.midi, songs, weights)
        for choice in near_first
    }


def _movement(drum: Drum, hz: float) -> float:
    """Semitones from the drum's pitch, either way."""
    return abs(cents_between(hz, drum.hz)) / 100.0


def _place(midi: int, songs: Sequence[Song], weights: Weights) -> float:
    costs = {"scale tone": weights.scale_tone, "outside": weights.outside, **_PLACE_COSTS}
    return math.fsum(costs[song.key.role(midi)] for song in songs) / len(songs)


def _mean_roughness(
    drum: Drum,
    hz: float,
    songs: Sequence[Song],
    a4_hz: float,
    strings: dict[int, tuple[Partial, ...]],
) -> float:
    """Over songs and their bass notes; ``strings`` keeps bass notes met before."""
    partials = drum.partials(hz)
    met: dict[int, float] = {}
    for midi in {midi for song in songs for midi in song.bass_midi}:
        if midi not in strings:
            strings[midi] = harmonics(midi_to_hz(midi, a4_hz), BASS_AMPLITUDES)
        met[midi] = roughness_between(partials, strings[midi])
    means = (math.fsum(met[m] for m in song.bass_midi) / len(song.bass_midi) for song in songs)
    return math.fsum(means) / len(songs)


def _target(drum: Drum, choice: Choice, songs: Sequence[Song], a4_hz: float) -> Target:
    move_cents = cents_between(choice.hz, drum.hz)
    return Target(
        drum,
        choice.midi,
        choice.hz,
        move_cents,
        100.0 * (tension_change(move_cents) - 1.0),
        verdict(-move_cents, IN_CENTS),
        tuple(in_song(drum, song, a4_hz, choice.hz) for song in songs),
    )
