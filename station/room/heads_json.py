"""Drums that are kept, and the way back, as plain data for pages and files. Pure."""

from __future__ import annotations

from typing import Any

from station.measure.drums.going_back import WayBack
from station.measure.drums.head_pass import turns_in_words
from station.music.kit import MM_PER_INCH
from station.music.names import note_name
from station.music.pitch import nearest_note
from station.room.drum_book import KeptDrum, good_as_data

Data = dict[str, Any]


def drum_as_json(drum: KeptDrum, a4_hz: float) -> Data:
    """A kept drum; its note and cents are against the reference as it is now."""
    near = None if drum.hz is None else nearest_note(drum.hz, a4_hz)
    return {
        "name": drum.name,
        "kind": drum.kind,
        "diameter_in": _inches(drum.diameter_mm),
        "depth_in": _inches(drum.depth_mm),
        "hz": drum.hz,
        "note": None if near is None else note_name(near.midi),
        "cents": None if near is None else round(near.cents, 2),
        "overtone_hz": drum.overtone_hz,
        "keep": drum.keep,
        "good": good_as_data(drum.good),
        "learned": 0 if drum.rim is None else drum.rim.learned,
    }


def drum_for_file(drum: KeptDrum) -> Data:
    """A kept drum with the words of a `station drum kit` file, and its good state."""
    told = {
        "name": drum.name,
        "kind": drum.kind,
        "diameter_mm": drum.diameter_mm,
        "depth_mm": drum.depth_mm,
        "hz": drum.hz,
        "overtone_hz": drum.overtone_hz,
    }
    told = {key: value for key, value in told.items() if value is not None}
    return {**told, "keep": drum.keep, "good": good_as_data(drum.good)}


def back_as_json(name: str, back: WayBack) -> Data:
    """The way back; ``how`` are the turns in words."""
    return {
        "drum": name,
        "source": back.source,
        "cents": round(back.cents, 1),
        "verdict": back.verdict,
        "tension_percent": round(back.tension_percent, 1),
        "turns": back.turns,
        "turns_uncertainty": back.turns_uncertainty,
        "how": None if back.turns is None else turns_in_words(back.turns),
        "lugs": [
            {
                "lug": each.lug,
                "cents": round(each.cents, 1),
                "verdict": each.verdict,
                "turns": each.turns,
                "turns_uncertainty": each.turns_uncertainty,
                "how": None if each.turns is None else turns_in_words(each.turns),
            }
            for each in back.lugs
        ],
        "says": list(back.says),
    }


def _inches(size_mm: float | None) -> float | None:
    return None if size_mm is None else round(size_mm / MM_PER_INCH, 3)
