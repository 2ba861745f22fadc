"""Notes, names, instruments, tunings and verdicts. Pure: values in, values out.

Pitch is in hertz, intervals in cents (positive: sharp), notes are MIDI note
numbers with A4 = 69, strings carry the trade's numbers.
"""

from __future__ import annotations

from station.music.catalogue import Instrument, Kind, OpenString, Tuning, load_instruments
from station.music.names import (
    Accidental,
    NamingSystem,
    note_in,
    note_name,
    parse_note,
    pretty,
)
from station.music.pitch import (
    A4_MAX_HZ,
    A4_MIN_HZ,
    A4_STANDARD_HZ,
    NearestNote,
    cents_between,
    check_a4,
    hz_to_midi,
    midi_to_hz,
    nearest_note,
    shift_cents,
)
from station.music.strings import StringMatch, match_string
from station.music.tunings import (
    CAPO_MAX,
    custom_tuning,
    find_instrument,
    find_tuning,
    find_tuning_by_name,
    tuning_names,
    with_capo,
)
from station.music.verdict import Verdict, verdict

__all__ = [
    "A4_MAX_HZ",
    "A4_MIN_HZ",
    "A4_STANDARD_HZ",
    "CAPO_MAX",
    "Accidental",
    "Instrument",
    "Kind",
    "NamingSystem",
    "NearestNote",
    "OpenString",
    "StringMatch",
    "Tuning",
    "Verdict",
    "cents_between",
    "check_a4",
    "custom_tuning",
    "find_instrument",
    "find_tuning",
    "find_tuning_by_name",
    "hz_to_midi",
    "load_instruments",
    "match_string",
    "midi_to_hz",
    "nearest_note",
    "note_in",
    "note_name",
    "parse_note",
    "pretty",
    "shift_cents",
    "tuning_names",
    "verdict",
    "with_capo",
]
