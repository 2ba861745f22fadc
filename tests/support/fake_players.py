"""The invented station's instruments, players and strings, as JSON data."""

from __future__ import annotations

from typing import Any

from station.errors import TuningError
from station.music.catalogue import OpenString, Tuning
from station.music.names import note_name
from station.music.offsets import offsets_as_json, offsets_label, read_offsets, with_offsets
from station.room.taps import DRUMS, Taps

INSTRUMENTS: dict[str, Any] = {
    "guitar": {
        "label": "Guitar",
        "kind": "strings",
        "tunings": {"standard": "Standard", "drop-d": "Drop D", "dadgad": "DADGAD"},
    },
    "guitar-12": {
        "label": "12-string guitar",
        "kind": "strings",
        "tunings": {"half-step-down": "Half step down"},
    },
    "bass": {
        "label": "Bass guitar",
        "kind": "strings",
        "tunings": {"standard": "Standard", "drop-d": "Drop D"},
    },
    "cello": {"label": "Cello", "kind": "strings", "tunings": {"standard": "Standard"}},
    "keyboard": {"label": "Keyboard", "kind": "fixed", "tunings": {}},
    "drum-kit": {"label": "Drum kit", "kind": "drums", "tunings": {}},
}
# Open strings as MIDI numbers, string 1 first (equal temperament; ISO 16 at A4 = 440 Hz).
STRINGS = {
    ("guitar", "standard"): (64, 59, 55, 50, 45, 40),
    ("guitar", "drop-d"): (64, 59, 55, 50, 45, 38),
    ("guitar", "dadgad"): (62, 57, 55, 50, 45, 38),
    ("guitar-12", "half-step-down"): (63, 63, 58, 58, 66, 54, 61, 49, 56, 44, 51, 39),
    ("bass", "standard"): (43, 38, 33, 28),
    ("bass", "drop-d"): (43, 38, 33, 26),
    ("cello", "standard"): (57, 50, 43, 36),
}
BAND = (
    ("Tove", "guitar", "drop-d"),
    ("Brannock", "bass", "standard"),
    ("Ilse", "keyboard", ""),
    ("Yorick", "drum-kit", ""),
)


def tuning_of(instrument: str, tuning: str, offsets: dict[str, float] | str) -> Tuning | None:
    """The tuning with these offsets, None for an instrument without; raises TuningError."""
    midis = STRINGS.get((instrument, tuning))
    if midis is None:
        if INSTRUMENTS.get(instrument, {"tunings": {}})["tunings"]:
            raise TuningError(f"no tuning {tuning!r} for {instrument!r}")
        if offsets not in ({}, "none"):
            raise TuningError(f"{instrument} has no strings to tune: leave offsets out")
        return None
    strings = tuple(
        OpenString(number, midi, note_name(midi), course=number)
        for number, midi in enumerate(midis, start=1)
    )
    plain = Tuning(tuning, tuning, instrument, strings)
    return with_offsets(plain, read_offsets(offsets, plain))


def make_player(
    name: str,
    instrument: str,
    tuning: str,
    line: int,
    a4_hz: float,
    offsets: dict[str, float] | str | None = None,
) -> dict[str, Any]:
    """A player whose strings nobody has heard; raises TuningError."""
    told = INSTRUMENTS[instrument]
    open_strings = tuning_of(instrument, tuning, offsets or {})
    strings = tuple(reversed(open_strings.strings)) if open_strings else ()
    return {
        "id": name.lower(),
        "name": name,
        "instrument": instrument,
        "instrument_label": told["label"],
        "kind": told["kind"],
        "tuning": tuning,
        "tuning_label": told["tunings"].get(tuning, ""),
        "line": line,
        "capo": 0,
        "offsets_cents": offsets_as_json(
            tuple((s.number, s.offset_cents) for s in strings if s.offset_cents)
        ),
        "offsets_label": offsets_label(open_strings) if open_strings else "",
        "strings": [make_string(each, a4_hz) for each in strings],
        "now": None,
        "taps": Taps().as_json(a4_hz) if told["kind"] == DRUMS else None,
    }


def make_string(string: OpenString, a4_hz: float) -> dict[str, Any]:
    return {
        "string": string.number,
        "note": string.note,
        "target_hz": string.target_hz(a4_hz),
        "offset_cents": string.offset_cents,
        "roll": "not heard",
        "cents": None,
        "uncertainty_cents": None,
        "verdict": None,
        "age_s": None,
    }


def make_line(number: int) -> dict[str, Any]:
    return {
        "line": number,
        "rms_dbfs": -42.0,
        "peak_dbfs": -30.0,
        "dc": 0.0,
        "clipped": False,
        "state": "quiet",
        "hum_hz": None,
        "hum_dbfs": None,
    }


def make_station() -> dict[str, Any]:
    """What the box says of itself, but for its addresses."""
    return {
        "name": "Cellar room",
        "version": "0.0.0",
        "simulated": False,
        "in_cents": 2.0,
        "tracker": "aubio",
        "tracker_reason": None,
        "note_names": "english",
        "quiet": False,
        "input": {
            "state": "listening",
            "device": "hw:CARD=Line4,DEV=0",
            "reason": None,
            "overruns": 0,
            "restarts": 0,
        },
        "lamps": {"state": "lit", "reason": None},
        "tone_out": {"state": "ready", "reason": None},
        "clock": {
            "state": "calibrated",
            "ppm": -38.2,
            "uncertainty_ppm": 0.8,
            "synchronised": True,
            "source": "chrony",
            "reason": None,
            "card_cents": 0.001,
            "budget": [
                {"what": "card", "cents": 0.001, "from": "its rate was measured"},
                {"what": "estimator", "cents": None, "from": "nothing heard yet"},
                {"what": "hearing", "cents": 4.3, "from": "the least difference heard"},
            ],
        },
        "banners": [],
    }


def roll_call(players: list[dict[str, Any]]) -> dict[str, Any]:
    rolls = [each["roll"] for player in players for each in player["strings"]]
    return {
        "in": rolls.count("in"),
        "out": rolls.count("out"),
        "not_heard": rolls.count("not heard"),
        "total": len(rolls),
        "complete": rolls.count("in") == len(rolls),
    }


def make_evening(state: str, **told: Any) -> dict[str, Any]:
    """What the room tells of songs and gaps."""
    nothing = {"for_s": 1.0, "songs": 0, "common": None, "told_apart": True, "drifted": []}
    return {"state": state, **nothing, **told}
