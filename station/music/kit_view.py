"""A kit against its songs as plain data: what the page draws and the command prints.

Everything is text, numbers, lists and tables; notes are English machine names. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from station.music.drums import practical_range
from station.music.keys import interval_name
from station.music.kit import (
    MM_PER_INCH,
    BassRelation,
    Beat,
    Drum,
    InSong,
    Song,
    in_song,
)
from station.music.kit_targets import Target, TargetSet, find_targets
from station.music.names import Accidental, note_name
from station.music.pitch import A4_STANDARD_HZ, nearest_note

Data = dict[str, Any]


def kit_view(kit: Sequence[Drum], songs: Sequence[Song], a4_hz: float = A4_STANDARD_HZ) -> Data:
    """Drums as they are, their clashes with the bass, the targets, and how toms are spaced.

    ``{"a4_hz", "songs": [...], "drums": [...], "clashes": [...], "targets": [...],
    "spacing": {...}, "cost": {...}}``; the functions below say what is in each. Raises DrumError
    without a drum or a song, ReferenceRangeError.
    """
    found = find_targets(kit, songs, a4_hz)
    signs = accidentals(songs)
    now = [[in_song(drum, song, a4_hz) for song in songs] for drum in kit]
    return {
        "a4_hz": a4_hz,
        "songs": [
            {"song": song.name, "key": song.key.label(), "bass": list(song.bass)} for song in songs
        ],
        "drums": [
            _drum(drum, songs, each, a4_hz, signs) for drum, each in zip(kit, now, strict=True)
        ],
        "clashes": [
            clash
            for drum, each in zip(kit, now, strict=True)
            for song, relation in zip(songs, each, strict=True)
            for clash in (_beat(drum, song, beat) for beat in relation.clashes)
        ],
        "targets": [_target(target, songs, signs) for target in found.targets],
        "spacing": _spacing(kit, found),
        "cost": {
            "movement": found.cost.movement,
            "roughness": found.cost.roughness,
            "place": found.cost.place,
            "spacing": found.cost.spacing,
            "total": found.cost.total,
        },
    }


def accidentals(songs: Sequence[Song]) -> Accidental:
    """Flats where more of the songs' keys have them than have sharps."""
    signs = [{name[1:2] for name in (d.name for d in song.key.degrees)} for song in songs]
    flats, sharps = (sum(sign in each for each in signs) for sign in "b#")
    return "flat" if flats > sharps else "sharp"


def _drum(
    drum: Drum, songs: Sequence[Song], now: Sequence[InSong], a4_hz: float, signs: Accidental
) -> Data:
    """One drum: size, pitch, usual range, and what it is in each song."""
    near = nearest_note(drum.hz, a4_hz)
    low_hz, high_hz = practical_range(drum.diameter_in, drum.kind)
    return {
        "drum": drum.name,
        "type": drum.kind,
        "diameter_in": drum.diameter_in,
        "diameter_mm": drum.diameter_mm,
        "depth_in": None if drum.depth_mm is None else drum.depth_mm / MM_PER_INCH,
        "depth_mm": drum.depth_mm,
        "hz": drum.hz,
        "note": note_name(near.midi, prefer=signs),
        "cents": near.cents,
        "overtone_hz": drum.overtone_hz,
        "keep": drum.keep,
        "low_hz": low_hz,
        "high_hz": high_hz,
        "in_range": low_hz <= drum.hz <= high_hz,
        "songs": [_in_song(song, each) for song, each in zip(songs, now, strict=True)],
    }


def _in_song(song: Song, relation: InSong) -> Data:
    """What a drum is in a song: its role, nearest tones, and every bass note."""
    return {
        "song": song.name,
        "key": song.key.label(),
        "role": relation.role,
        "chord_note": song.key.note(relation.chord_midi),
        "chord_cents": relation.chord_cents,
        "scale_note": song.key.note(relation.scale_midi),
        "scale_cents": relation.scale_cents,
        "roughness": relation.roughness,
        "bass": [_over_bass(each) for each in relation.relations],
    }


def _over_bass(relation: BassRelation) -> Data:
    """A drum over one bass note; the beat is that of the partials nearest to each other."""
    return {
        "bass": relation.bass,
        "semitones": relation.semitones,
        "interval": interval_name(relation.semitones),
        "roughness": relation.roughness,
        "beat_hz": relation.beat.beat_hz,
        "drum_partial": relation.beat.drum_partial,
        "bass_partial": relation.beat.bass_partial,
    }


def _beat(drum: Drum, song: Song, beat: Beat) -> Data:
    return {
        "drum": drum.name,
        "song": song.name,
        "bass": beat.bass,
        "beat_hz": beat.beat_hz,
        "drum_partial": beat.drum_partial,
        "bass_partial": beat.bass_partial,
        "drum_hz": beat.drum_hz,
        "bass_hz": beat.bass_hz,
        "roughness": beat.roughness,
    }


def _target(target: Target, songs: Sequence[Song], signs: Accidental) -> Data:
    """Where a drum could move, and what it would be there; ``clashes`` counts those left."""
    return {
        "drum": target.drum.name,
        "note": note_name(target.midi, prefer=signs),
        "hz": target.hz,
        "move_cents": target.move_cents,
        "tension_percent": target.tension_percent,
        "verdict": target.verdict,
        "keep": target.drum.keep,
        "clashes": sum(len(each.clashes) for each in target.songs),
        "songs": [
            {"song": song.name, "role": each.role, "roughness": each.roughness}
            for song, each in zip(songs, target.songs, strict=True)
        ],
    }


def _spacing(kit: Sequence[Drum], found: TargetSet) -> Data:
    """Toms from the highest down and the semitones between neighbours, as targeted."""
    notes = [found.targets[place].midi for place in found.toms]
    return {
        "toms": [kit[place].name for place in found.toms],
        "semitones": [high - low for high, low in pairwise(notes)],
        "intervals": [interval_name(abs(high - low)) for high, low in pairwise(notes)],
        "least_semitones": found.least_apart,
    }
