"""Three invented instruments as a station would have measured them.

The notes are made, not measured: the temperament's own cents, a few tenths of
scatter, and what makes the instrument worth having in a test. ``cents`` are from
equal temperament on the instrument's A4.
"""

from __future__ import annotations

import copy
from typing import Any

from station.music.names import note_name
from station.music.pitch import midi_to_hz

# Cents above equal temperament in just intonation, by semitones above the key note:
# 9/8, 5/4, 4/3, 3/2, 5/3, 15/8 less their equal-tempered steps of 100 cents.
JUST = {0: 0.0, 2: 3.910, 4: -13.686, 5: -1.955, 7: 1.955, 9: -15.641, 11: -11.731}


def heard_note(
    midi: int,
    a4_hz: float,
    cents: float,
    asked_cents: float | None = None,
    bad: bool = False,
    beat_hz: float | None = None,
) -> dict[str, Any]:
    """One note of an instrument; with ``beat_hz`` two reeds that far apart."""
    hz = midi_to_hz(midi + cents / 100, a4_hz)
    apart_hz = beat_hz or 0.0
    reeds = [hz] if beat_hz is None else [hz - apart_hz / 2, hz + apart_hz / 2]
    return {
        "note": note_name(midi),
        "midi": midi,
        "hz": round(hz, 4),
        "cents": round(cents, 2),
        "uncertainty_cents": 0.15,
        "temperament_cents": asked_cents,
        "bad": bad,
        "times": 2,
        "reeds_hz": [round(each, 4) for each in reeds],
        "beat_hz": beat_hz,
    }


def _keyboard() -> dict[str, Any]:
    a4_hz = 441.3
    scatter = (0.1, -0.2, 0.0, 0.3, -0.1, 0.2, -0.3, 0.1, 0.0, -0.1, 0.2, -0.2)
    return {
        "a4_hz": a4_hz,
        "uncertainty_cents": 0.1,
        "temperament": "equal",
        "root": None,
        "evidence": [
            {"temperament": "equal", "root": None, "probability": 0.98},
            {"temperament": "Young", "root": None, "probability": 0.01},
        ],
        "stretch_cents_per_octave": None,
        "distinct": 12,
        "spread_cents": 0.2,
        "enough": True,
        "says": "equal temperament, A4 = 441.3 Hz, from 12 notes",
        "play_next": [],
        "notes": [heard_note(60 + step, a4_hz, cents, 0.0) for step, cents in enumerate(scatter)],
    }


def _just_harp() -> dict[str, Any]:
    a4_hz, bad = 442.6, 74
    notes = []
    for midi in (67, 69, 71, 72, 74, 76, 78, 79, 83, 84, 86, 91):
        asked = JUST[(midi - 67) % 12]
        off = -21.4 if midi == bad else 0.4 if midi % 2 else -0.6
        notes.append(heard_note(midi, a4_hz, asked + off, asked, bad=midi == bad))
    return {
        "a4_hz": a4_hz,
        "uncertainty_cents": 0.4,
        "temperament": "just",
        "root": "G",
        "evidence": [
            {"temperament": "just", "root": "G", "probability": 0.97},
            {"temperament": "per-note offsets", "root": None, "probability": 0.03},
        ],
        "stretch_cents_per_octave": None,
        "distinct": 12,
        "spread_cents": 0.6,
        "enough": True,
        "says": "just in G, A4 = 442.6 Hz, from 12 notes; the reed D5 is 21 cents flat",
        "play_next": [],
        "notes": notes,
    }


def _tremolo_accordion() -> dict[str, Any]:
    a4_hz = 440.4
    beats = {60: 2.1, 64: 2.4, 67: 2.7, 69: 2.9, 72: 3.3}
    return {
        "a4_hz": a4_hz,
        "uncertainty_cents": 1.2,
        "temperament": None,
        "root": None,
        "evidence": [
            {"temperament": "equal", "root": None, "probability": 0.61},
            {"temperament": "Vallotti", "root": None, "probability": 0.22},
            {"temperament": "Young", "root": None, "probability": 0.11},
            {"temperament": "Werckmeister III", "root": None, "probability": 0.04},
        ],
        "stretch_cents_per_octave": None,
        "distinct": 5,
        "spread_cents": 1.1,
        "enough": False,
        "says": "A4 = 440.4 Hz from 5 notes of two reeds each; play more notes",
        "play_next": ["D4", "F4", "B4"],
        "notes": [
            heard_note(midi, a4_hz, 0.9 if midi % 2 else -0.7, beat_hz=beat)
            for midi, beat in beats.items()
        ],
    }


_MADE = {
    "equal keyboard": _keyboard,
    "just harp": _just_harp,
    "tremolo accordion": _tremolo_accordion,
}


def invented_instrument(name: str, **changes: Any) -> dict[str, Any]:
    """What is measured of "equal keyboard", "just harp" or "tremolo accordion".

    All of the room's INSTRUMENT but who played it, where and when, and how it
    stands to the reference; ``changes`` replace parts of it.
    """
    return copy.deepcopy({**_MADE[name](), **changes})
