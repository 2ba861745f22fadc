"""Players and tunings of a settings file, made from the entries of its two arrays.

An entry with a fault is checked to its end: only what depends on a faulty key
is left unsaid. Faults go to the caller, who knows file and line. Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from station import settings_checks as check
from station.errors import UsageError
from station.music.names import parse_note
from station.music.offsets import NONE, Offsets, read_offsets
from station.music.tunings import (
    Instrument,
    Tuning,
    custom_tuning,
    find_instrument,
    find_tuning,
    with_capo,
)
from station.room.model import Player
from station.room.seats import take_seat
from station.settings_checks import shown
from station.settings_model import with_tunings

Path = tuple[str | int, ...]
Fault = Callable[[Path, str], None]
UNNAMED = "of your own"
"""Stands for the name of a tuning whose own name cannot be used."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One table of an array. ``values`` hold; ``faulty`` are the other keys, missing ones too."""

    path: Path
    values: Mapping[str, Any]
    faulty: frozenset[str]

    @property
    def number(self) -> int:
        """Its place in the array, from 0."""
        return int(self.path[-1])


@dataclass(frozen=True, slots=True)
class Tunings:
    """The tunings that hold, and what is known of those that do not.

    ``spoilt`` are the keys of tunings with faults, None where not even their
    names are known: who plays one of them is not at fault too.
    """

    made: tuple[Tuning, ...]
    spoilt: frozenset[str] | None

    def excuse(self, wanted: str) -> bool:
        """Whether an unknown tuning may be one of the faulty entries'."""
        return self.spoilt is None or check.slug(wanted) in self.spoilt


def read_tunings(entries: Sequence[Entry] | None, fault: Fault) -> Tunings:
    """The tunings of ``[[tunings]]``; ``entries`` is None where the array itself is faulty."""
    made: list[Tuning] = []
    named: set[str] = set()
    for entry in entries or ():
        instrument = _tuned_instrument(entry, fault)
        full_name = _check_name(entry, instrument, fault)
        label = UNNAMED if full_name is None else entry.values["name"]
        tuning = _check_notes(entry, instrument, label, fault)
        if full_name in named:
            fault((*entry.path, "name"), f"{shown(label)} is the name of two tunings")
        elif full_name is not None and tuning is not None and not entry.faulty:
            made.append(tuning)
        named |= {full_name} if full_name else set()
    if entries is None or any("name" in entry.faulty for entry in entries):
        return Tunings(tuple(made), None)
    declared = frozenset(check.slug(entry.values["name"]) for entry in entries)
    return Tunings(tuple(made), declared - {tuning.key for tuning in made})


def _tuned_instrument(entry: Entry, fault: Fault) -> Instrument | None:
    instrument = _instrument(entry, fault)
    if instrument is None or instrument.default_tuning is not None:
        return instrument
    fault((*entry.path, "instrument"), f"{instrument.key} is not tuned string by string")
    return None


def _check_name(entry: Entry, instrument: Instrument | None, fault: Fault) -> str | None:
    """The full name, such as ``guitar:low-tide``; None where the name cannot be used."""
    if instrument is None or "name" in entry.faulty:
        return None
    usual = [string.note for string in reversed(find_tuning(instrument.key).strings)]
    try:
        return custom_tuning(entry.values["name"], instrument.key, usual).name
    except UsageError as error:
        fault((*entry.path, "name"), str(error))
        return None


def _check_notes(
    entry: Entry, instrument: Instrument | None, label: str, fault: Fault
) -> Tuning | None:
    if "notes" in entry.faulty:
        return None
    notes = entry.values["notes"]
    try:
        if instrument is not None:
            return custom_tuning(label, instrument.key, notes)
        for note in notes:
            parse_note(note)
    except UsageError as error:
        fault((*entry.path, "notes"), str(error))
    return None


def read_players(
    entries: Sequence[Entry], tunings: Tunings, lines: int, fault: Fault
) -> tuple[tuple[Player, ...], frozenset[str] | None]:
    """The players of ``[[players]]`` without those at fault, and the ids of all.

    The ids are None where they cannot all be known.
    """
    instruments = with_tunings(tunings.made)
    taken = {entry.values["id"] for entry in entries if "id" in entry.values}
    players: list[Player] = []
    ids: set[str] = set()
    for entry in entries:
        own_id = entry.values.get("id") or check.free_id(
            entry.values.get("name", ""), entry.number, taken
        )
        if own_id in ids:
            fault((*entry.path, "id"), f"{shown(own_id)} is another player's id")
        ids.add(own_id)
        taken.add(own_id)
        player = _player(entry, own_id, instruments, tunings, lines, fault)
        if player is not None:
            players.append(player)
    nameless = any("id" in e.faulty or not e.values.keys() & {"id", "name"} for e in entries)
    return tuple(players), None if nameless else frozenset(ids)


def _player(
    entry: Entry,
    own_id: str,
    instruments: Mapping[str, Instrument],
    tunings: Tunings,
    lines: int,
    fault: Fault,
) -> Player | None:
    """A player checked against the instruments and lines there are; None with a fault."""
    line_holds = _check_line(entry, lines, fault)
    found = _instrument(entry, fault)
    if found is None:
        return None
    instrument = instruments[found.key]
    tuning = _tuning_key(entry, instrument, tunings, fault)
    capo_holds = _check_capo(entry, instrument, fault)
    offsets = _offsets(entry, instrument, tuning, fault)
    if entry.faulty or tuning is None or offsets is None or not line_holds or not capo_holds:
        return None
    values = {**entry.values, "id": own_id, "tuning": tuning, "offsets_cents": offsets}
    return take_seat(Player(**values), instruments, lines).player


def _check_line(entry: Entry, lines: int, fault: Fault) -> bool:
    line = entry.values.get("line", 1)
    if line > lines:
        fault(
            (*entry.path, "line"),
            f"{line} is beyond the lines there are: 1 to {lines}, the channels of [input]",
        )
    return bool(line <= lines)


def _instrument(entry: Entry, fault: Fault) -> Instrument | None:
    if "instrument" in entry.faulty:
        return None
    try:
        return find_instrument(entry.values["instrument"])
    except UsageError as error:
        fault((*entry.path, "instrument"), str(error))
        return None


def _check_capo(entry: Entry, instrument: Instrument, fault: Fault) -> bool:
    capo, usual = entry.values.get("capo", 0), instrument.default_tuning
    path = (*entry.path, "capo")
    if capo and usual is None:
        fault(path, f"{instrument.label} has no strings for a capo: leave it out")
        return False
    try:
        if usual is not None:
            with_capo(usual, capo)
    except UsageError as error:
        fault(path, str(error))
        return False
    return True


def _offsets(
    entry: Entry, instrument: Instrument, tuning_key: str | None, fault: Fault
) -> Offsets | None:
    """The offsets of the player's strings; ``tuning_key`` is None where that is at fault.

    A table can be checked all the same, for every tuning of an instrument has
    the same strings. None with a fault.
    """
    wanted = entry.values.get("offsets_cents", NONE)
    path = (*entry.path, "offsets_cents")
    tuning = instrument.tunings.get(tuning_key or "") or instrument.default_tuning
    if tuning is None:
        if wanted in ({}, NONE):
            return ()
        fault(path, f"{instrument.label} has no strings to tune: leave it out")
        return None
    if isinstance(wanted, str) and (tuning_key is None or "tuning" in entry.faulty):
        return ()
    try:
        return read_offsets(wanted, tuning)
    except UsageError as error:
        fault(path, str(error))
        return None


def _tuning_key(entry: Entry, instrument: Instrument, tunings: Tunings, fault: Fault) -> str | None:
    """The key of the tuning written by key or label, those of the settings included.

    Empty for the usual one, None with a fault.
    """
    wanted = entry.values.get("tuning", "")
    path = (*entry.path, "tuning")
    if not wanted:
        return ""
    if not instrument.tunings:
        fault(path, f"{instrument.label} has no strings to tune: leave it out")
        return None
    keys = {
        name.casefold(): tuning.key
        for tuning in instrument.tunings.values()
        for name in (tuning.label, tuning.key)
    }
    found = keys.get(wanted.casefold())
    if found is None and not tunings.excuse(wanted):
        near = get_close_matches(wanted.casefold(), list(keys), n=1, cutoff=0.5)
        nearest = f"; the nearest is {keys[near[0]]}" if near else ""
        listed = ", ".join(instrument.tunings)
        fault(
            path,
            f"{shown(wanted)} is no tuning of {instrument.key}{nearest} (there are {listed})",
        )
    return found
