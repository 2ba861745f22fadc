"""A measured instrument of fixed pitch as JSON data: made from a measurement, and read back.

The data say nothing of the reference, which may change: `against` adds that.
Numbers are rounded to what can be heard and measured, for every phone gets them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import UsageError
from station.measure.fixed.instrument import InstrumentPitch
from station.music.pitch import A4_MAX_HZ, A4_MIN_HZ, cents_between

Data = dict[str, Any]

NAME_LIMIT = 130  # a player's name and an instrument's
SAYS_LIMIT = 400
NOTES_MAX = 128
HZ_DECIMALS = 4
_CENTS_DECIMALS = 3


@dataclass(frozen=True, slots=True)
class Source:
    """Where an instrument is heard: ``id`` is its player's, or ``line-N``."""

    id: str
    name: str
    line: int
    player: str | None = None


def instrument_data(source: Source, pitch: InstrumentPitch, measured_at: str) -> Data:
    """What was measured; frequencies in hertz, the notes' cents from equal temperament on a4_hz."""
    return {
        "id": source.id,
        "name": source.name,
        "line": source.line,
        "measured_at": measured_at,
        "a4_hz": round(pitch.a4_hz, HZ_DECIMALS),
        "uncertainty_cents": _cents(pitch.uncertainty_cents),
        "temperament": pitch.temperament,
        "root": pitch.root,
        "evidence": [
            {"temperament": e.temperament, "root": e.root, "probability": round(e.probability, 4)}
            for e in pitch.evidence
        ],
        "stretch_cents_per_octave": _cents(pitch.stretch_cents_per_octave),
        "distinct": pitch.distinct,
        "spread_cents": _cents(pitch.spread_cents),
        "enough": pitch.enough,
        "says": pitch.says,
        "play_next": list(pitch.play_next),
        "notes": [
            {
                "note": note.note,
                "midi": note.midi,
                "hz": round(note.hz, HZ_DECIMALS),
                "cents": _cents(note.cents),
                "uncertainty_cents": _cents(note.uncertainty_cents),
                "temperament_cents": _cents(note.temperament_cents),
                "bad": note.bad,
                "times": note.times,
                "reeds_hz": [round(hz, HZ_DECIMALS) for hz in note.reeds_hz],
                "beat_hz": None if note.beat_hz is None else round(note.beat_hz, _CENTS_DECIMALS),
            }
            for note in pitch.notes
        ],
    }


def against(data: Data, reference_hz: float) -> Data:
    """The data with how far the instrument is from a reference, and how fast a held A beats."""
    return {
        **data,
        "cents": cents_between(data["a4_hz"], reference_hz),
        "beats_hz": abs(data["a4_hz"] - reference_hz),
    }


def stored_instrument(row: Any) -> Data:
    """An instrument from the store, with exactly the keys it is made with.

    Raises UsageError where a key is missing or its value cannot be meant.
    """
    return _read(row, _INSTRUMENT, "a measured instrument")


def _cents(value: float | None) -> float | None:
    return None if value is None else round(value, _CENTS_DECIMALS)


Check = Callable[[Any], bool]


def _is_number(value: Any) -> bool:
    return type(value) in (int, float) and math.isfinite(value)


def _is_positive(value: Any) -> bool:
    return _is_number(value) and value > 0.0


def _is_whole(value: Any) -> bool:
    return type(value) is int and value >= 0


def _is_flag(value: Any) -> bool:
    return type(value) is bool


def _is_a4(value: Any) -> bool:
    return _is_number(value) and A4_MIN_HZ / 2.0 <= value <= A4_MAX_HZ * 2.0


def _is_text(value: Any, limit: int = NAME_LIMIT) -> bool:
    return isinstance(value, str) and len(value) <= limit and value.isprintable()


def _is_name(value: Any) -> bool:
    return _is_text(value) and bool(value)


def _is_line_of_text(value: Any) -> bool:
    return _is_text(value, SAYS_LIMIT)


def _or_none(check: Check) -> Check:
    return lambda value: value is None or check(value)


def _list_of(check: Check) -> Check:
    return lambda value: (
        isinstance(value, list) and len(value) <= NOTES_MAX and all(check(each) for each in value)
    )


def _rows_of(keys: Mapping[str, Check]) -> Check:
    return _list_of(
        lambda row: (
            isinstance(row, Mapping)
            and set(row) == set(keys)
            and all(check(row[key]) for key, check in keys.items())
        )
    )


_EVIDENCE: Mapping[str, Check] = {
    "temperament": _is_name,
    "root": _or_none(_is_name),
    "probability": _is_number,
}
_NOTE: Mapping[str, Check] = {
    "note": _is_name,
    "midi": _is_whole,
    "hz": _is_positive,
    "cents": _is_number,
    "uncertainty_cents": _is_number,
    "temperament_cents": _or_none(_is_number),
    "bad": _is_flag,
    "times": _is_whole,
    "reeds_hz": _list_of(_is_positive),
    "beat_hz": _or_none(_is_number),
}
_INSTRUMENT: Mapping[str, Check] = {
    "id": _is_name,
    "name": _is_name,
    "line": _is_whole,
    "measured_at": _is_text,
    "a4_hz": _is_a4,
    "uncertainty_cents": _is_number,
    "temperament": _or_none(_is_name),
    "root": _or_none(_is_name),
    "evidence": _rows_of(_EVIDENCE),
    "stretch_cents_per_octave": _or_none(_is_number),
    "distinct": _is_whole,
    "spread_cents": _or_none(_is_number),
    "enough": _is_flag,
    "says": _is_line_of_text,
    "play_next": _list_of(_is_name),
    "notes": _rows_of(_NOTE),
}


def _read(row: Any, keys: Mapping[str, Check], what: str) -> Data:
    if not isinstance(row, Mapping):
        raise UsageError(f"{row!r:.40} is not {what}")
    for key, check in keys.items():
        if key not in row or not check(row[key]):
            raise UsageError(f"{what} cannot have {key} = {row.get(key)!r:.40}")
    return {key: row[key] for key in keys}
