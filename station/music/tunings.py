"""Finding, capoing and making tunings.

The names a person may write are forgiving in case, spaces and underscores:
``Drop D`` is ``drop-d``. A name that is not found is answered with the
nearest ones and with how to list them all: the name ``list``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches

from station.errors import TuningError
from station.music._text import shown
from station.music.catalogue import (
    Instrument,
    OpenString,
    Tuning,
    build_tuning,
    load_instruments,
)
from station.music.names import Accidental, note_name

__all__ = [
    "CAPO_MAX",
    "LIST_ALL",
    "Instrument",
    "OpenString",
    "Tuning",
    "custom_tuning",
    "find_instrument",
    "find_tuning",
    "find_tuning_by_name",
    "load_instruments",
    "tuning_names",
    "with_capo",
]

CAPO_MAX = 12  # an octave up the neck; past it there is no room to play
LIST_ALL = "list"
_LONGEST_NAME = 40
_HOW_TO_LIST = f"the name '{LIST_ALL}' shows them all"


def find_instrument(name: str) -> Instrument:
    """The instrument of that key, alias or label.

    Raises TuningError naming the nearest keys.
    """
    known = _instrument_names()
    found = known.get(_key_of(name))
    if found is None:
        nearest = [known[key].key for key in _near(name, known)]
        raise TuningError(_unknown("instrument", name, nearest, list(load_instruments())))
    return found


def find_tuning(instrument: str, tuning: str = "") -> Tuning:
    """A tuning of an instrument by its key or label; an empty name means the usual one.

    Raises TuningError for an unknown instrument or tuning, with the nearest
    names, and for an instrument that has no strings to tune.
    """
    found = find_instrument(instrument)
    usual = found.default_tuning
    if usual is None:
        raise TuningError(f"{found.key} has no tunings: it is not tuned string by string")
    wanted = _key_of(tuning)
    if not tuning.strip():
        return usual
    known = _tuning_keys(found)
    match = known.get(wanted)
    if match is None and wanted == "standard":
        return usual  # the banjo's has a name of its own, open G
    if match is None:
        nearest = [known[key].key for key in _near(tuning, known)]
        raise TuningError(_unknown(f"{found.key} tuning", tuning, nearest, list(found.tunings)))
    return match


def find_tuning_by_name(name: str) -> Tuning:
    """The tuning a person names: ``guitar:drop-d``, ``guitar`` alone, or ``dadgad`` alone.

    A tuning may stand alone when one instrument only has it, or one and its
    larger kin (``dadgad``: the guitar's, not the 12-string guitar's). Raises
    TuningError with the choices when several have it, with the nearest names
    when none has, and with every name when asked for ``list``.
    """
    key = _key_of(name)
    instrument, colon, tuning = name.partition(":")
    if colon:
        return find_tuning(instrument, tuning)
    if key == LIST_ALL:
        raise TuningError(f"the tunings are {', '.join(tuning_names())}")
    if key in _instrument_names():
        return find_tuning(key)
    return _find_alone(name)


def tuning_names() -> list[str]:
    """Every full tuning name, such as ``"guitar:drop-d"``, by instrument, the usual one first."""
    return [
        tuning.name
        for instrument in load_instruments().values()
        for tuning in instrument.tunings.values()
    ]


def with_capo(tuning: Tuning, fret: int) -> Tuning:
    """The tuning as it sounds with a capo at ``fret``; 0 takes the capo off.

    A capo already on is moved, not added to.

    Every string rises a semitone to the fret. That includes the banjo's short
    fifth string, which is raised alike by its own capo or spike (common
    practice, no source). Raises TuningError for a fret outside 0 to 12 and
    for an instrument without frets.
    """
    if isinstance(fret, bool) or not isinstance(fret, int) or not 0 <= fret <= CAPO_MAX:
        raise TuningError(f"capo at {shown(fret)}: it sits at a whole fret from 0 to {CAPO_MAX}")
    if fret and not find_instrument(tuning.instrument).frets:
        raise TuningError(f"capo at {fret}: {tuning.instrument} has no frets for a capo")
    base = tuning.open_tuning or tuning
    if fret == 0:
        return base
    strings = tuple(_raised(string, fret) for string in base.strings)
    return replace(base, strings=strings, capo=fret, open_tuning=base)


def custom_tuning(name: str, instrument: str, notes: Sequence[str]) -> Tuning:
    """A player's own tuning, spelled as players do: from the last string to string 1.

    A note may occur twice (courses, drones). Raises TuningError for an empty
    or taken name, a wrong number of notes, a name that is no note, a note
    outside 16 Hz to 5 kHz, and a tuning spelled from the wrong end.
    """
    found = find_instrument(instrument)
    usual = find_tuning(instrument)
    key = _key_of(name)
    if not key:
        raise TuningError(f"tuning name {shown(name)}: it needs a letter or a digit")
    if key == LIST_ALL or key in _tuning_keys(found):
        raise TuningError(f"tuning name {shown(name)} is taken on {found.key}: choose another")
    tuning = build_tuning(found, key, name.strip(), notes)
    # Read from the other end, does it come far closer to what the instrument can bear?
    if _distance(tuning, usual) > 2 * _distance(_turned(tuning), usual):
        raise TuningError(
            f"tuning {name.strip()} has {tuning.strings[-1].note} on string"
            f" {found.string_count}: write string {found.string_count} first and string 1 last"
        )
    return tuning


def _find_alone(name: str) -> Tuning:
    matches = [
        known[_key_of(name)]
        for known in map(_tuning_keys, load_instruments().values())
        if _key_of(name) in known
    ]
    if matches:
        plainest = min(matches, key=lambda match: len(match.instrument))
        if all(f"{match.instrument}-".startswith(f"{plainest.instrument}-") for match in matches):
            return plainest
        choices = ", ".join(match.name for match in matches)
        raise TuningError(f"tuning {shown(name)} belongs to several instruments: write {choices}")
    names = dict.fromkeys(full.partition(":")[2] for full in tuning_names())
    nearest = _near(name, names | dict.fromkeys([*load_instruments(), *tuning_names()]))
    raise TuningError(_unknown("tuning", name, nearest, []))


def _unknown(what: str, name: str, nearest: list[str], every: list[str]) -> str:
    problem = f"{what} {shown(name)} is unknown" if name.strip() else f"the {what} is empty"
    if nearest:
        problem += f": did you mean {' or '.join(dict.fromkeys(nearest))}?"
    choices = f"there are {', '.join(every)}" if every else _HOW_TO_LIST
    return f"{problem} ({choices})" if nearest else f"{problem}: {choices}"


def _near(name: str, known: Mapping[str, object]) -> list[str]:
    # Past the longest name there is nothing more to resemble.
    return get_close_matches(_key_of(name)[:_LONGEST_NAME], list(known), n=3, cutoff=0.5)


def _instrument_names() -> dict[str, Instrument]:
    return {
        key: instrument
        for instrument in load_instruments().values()
        for key in (instrument.key, *instrument.aliases, _key_of(instrument.label))
    }


def _tuning_keys(instrument: Instrument) -> dict[str, Tuning]:
    return {
        key: tuning
        for tuning in instrument.tunings.values()
        for key in (tuning.key, _key_of(tuning.label))
    }


def _key_of(name: str) -> str:
    """A written name as a key: small letters and digits joined by hyphens."""
    if not isinstance(name, str):
        raise TuningError(f"name {shown(name)} is not text: instruments and tunings go by name")
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")


def _raised(string: OpenString, steps: int) -> OpenString:
    midi = string.midi + steps
    prefer: Accidental = "flat" if "b" in string.note else "sharp"
    return replace(string, midi=midi, note=note_name(midi, prefer=prefer))


def _turned(tuning: Tuning) -> Tuning:
    return replace(tuning, strings=tuple(reversed(tuning.strings)))


def _distance(tuning: Tuning, usual: Tuning) -> int:
    """Semitones that all strings together lie away from the usual tuning."""
    pairs = zip(tuning.strings, usual.strings, strict=True)
    return sum(abs(string.midi - other.midi) for string, other in pairs)
