"""A kit against its songs: each drum in each song, what clashes, and where drums could move."""

from __future__ import annotations

from station.music.drums import DrumKind
from station.music.keys import Role
from station.music.verdict import Verdict
from station.web.models.words import Answer, Count, Number


class ViewedSong(Answer):
    """A song, its key and its bass roots."""

    song: str
    key: str
    bass: list[str]


class OverBass(Answer):
    """A drum over one bass note; the beat is that of the partials nearest to each other."""

    bass: str
    semitones: Number
    interval: str
    roughness: Number
    beat_hz: Number
    drum_partial: Count
    bass_partial: Count


class InSong(Answer):
    """What a drum is in a song: its role, the nearest tones, and every bass note."""

    song: str
    key: str
    role: Role
    chord_note: str
    chord_cents: Number
    scale_note: str
    scale_cents: Number
    roughness: Number
    bass: list[OverBass]


class KitDrum(Answer):
    """A drum, its usual range, and what it is in each song."""

    drum: str
    type: DrumKind
    diameter_in: Number
    diameter_mm: Number
    depth_in: Number | None
    depth_mm: Number | None
    hz: Number
    note: str
    cents: Number
    overtone_hz: Number | None
    keep: bool
    low_hz: Number
    high_hz: Number
    in_range: bool
    songs: list[InSong]


class Clash(Answer):
    """A drum that beats with a bass note."""

    drum: str
    song: str
    bass: str
    beat_hz: Number
    drum_partial: Count
    bass_partial: Count
    drum_hz: Number
    bass_hz: Number
    roughness: Number


class TargetSong(Answer):
    """What a drum would be in a song."""

    song: str
    role: Role
    roughness: Number


class DrumTarget(Answer):
    """Where a drum could move, and how many clashes would be left."""

    drum: str
    note: str
    hz: Number
    move_cents: Number
    tension_percent: Number
    verdict: Verdict
    keep: bool
    clashes: Count
    songs: list[TargetSong]


class TomSpacing(Answer):
    """Toms from the highest down, and the semitones between neighbours, as targeted."""

    toms: list[str]
    semitones: list[Number]
    intervals: list[str]
    least_semitones: Number | None


class TargetCost(Answer):
    """What the targets were weighed by."""

    movement: Number
    roughness: Number
    place: Number
    spacing: Number
    total: Number


class KitView(Answer):
    """A kit against its songs, as `station drum kit --json` tells it."""

    a4_hz: Number
    songs: list[ViewedSong]
    drums: list[KitDrum]
    clashes: list[Clash]
    targets: list[DrumTarget]
    spacing: TomSpacing
    cost: TargetCost
