"""A player's place in the room: instrument and tuning made good, and the state of each string."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from difflib import get_close_matches
from typing import Any

from station.errors import UsageError
from station.music.offsets import (
    NONE,
    Offsets,
    offsets_as_json,
    offsets_label,
    read_offsets,
    refitted,
    with_offsets,
)
from station.music.tunings import (
    Instrument,
    OpenString,
    Tuning,
    find_instrument,
    find_tuning,
    with_capo,
)
from station.room.model import ROLLS, Player, StringState, clean_text
from station.room.taps import DRUMS, Taps

CHANGEABLE = ("name", "instrument", "tuning", "capo", "line", "offsets_cents")
_VERDICTS = ("tighten", "slacken", "in")


@dataclass(slots=True)
class Seat:
    """One player with the tuning they play and what was heard of every string, or of a drum."""

    player: Player
    configured: Player
    instrument: Instrument
    tuning: Tuning | None
    strings: dict[int, StringState] = field(default_factory=dict)
    now: dict[str, Any] | None = None
    now_at_s: float = 0.0
    taps: Taps | None = None

    def open_strings(self) -> tuple[OpenString, ...]:
        """The strings the roll call asks for, from the highest number down to string 1."""
        return tuple(reversed(self.tuning.strings)) if self.tuning else ()

    def peg_strings(self) -> tuple[OpenString, ...]:
        """What the pegs are turned to, string 1 first: the strings as they are without a capo."""
        return (self.tuning.open_tuning or self.tuning).strings if self.tuning else ()

    def forget(self) -> None:
        """Every string not heard, nothing sounding."""
        self.strings = {string.number: StringState() for string in self.open_strings()}
        self.now = None

    def state(self) -> dict[str, Any]:
        """The player's row for the store."""
        return {
            **{key: _as_json(self.player)[key] for key in ("id", *CHANGEABLE)},
            "configured": _as_json(self.configured),
        }

    def string_states(self) -> list[dict[str, Any]]:
        """The strings' rows for the store; when they were heard means nothing after a restart."""
        return [
            {
                "player": self.player.id,
                "string": string.number,
                "midi": string.midi,
                "offset_cents": string.offset_cents,
                "roll": state.roll,
                "cents": state.cents,
                "uncertainty_cents": state.uncertainty_cents,
                "verdict": state.verdict,
            }
            for string, state in ((s, self.strings[s.number]) for s in self.open_strings())
        ]

    def restore_string(self, row: Mapping[str, Any]) -> None:
        """Take back a stored string if it still has the target it was judged against."""
        judged = (row["midi"], row.get("offset_cents") or 0.0)  # older stores know no offsets
        if self.targets().get(row["string"]) != judged or row["roll"] not in ROLLS:
            return
        self.strings[row["string"]] = StringState(
            cents=row["cents"],
            uncertainty_cents=row["uncertainty_cents"],
            verdict=row["verdict"] if row["verdict"] in _VERDICTS else None,
            roll=row["roll"],
        )

    def snapshot(self, a4_hz: float, now_s: float, now_is_fresh_s: float) -> dict[str, Any]:
        """The player as the page receives it."""
        fresh = self.now is not None and now_s - self.now_at_s <= now_is_fresh_s
        return {
            "id": self.player.id,
            "name": self.player.name,
            "instrument": self.player.instrument,
            "instrument_label": self.instrument.label,
            "kind": self.player.kind,
            "tuning": self.player.tuning,
            "tuning_label": self.tuning.label if self.tuning else "",
            "line": self.player.line,
            "capo": self.player.capo,
            "offsets_cents": offsets_as_json(self.player.offsets_cents),
            "offsets_label": offsets_label(self.tuning) if self.tuning else "",
            "strings": [self._string(string, a4_hz, now_s) for string in self.open_strings()],
            "now": self.now if fresh else None,
            "taps": None if self.taps is None else self.taps.as_json(a4_hz),
        }

    def targets(self) -> dict[int, tuple[int, float]]:
        """What each string is tuned to but for the reference: its note and its offset."""
        return {s.number: (s.midi, s.offset_cents) for s in self.open_strings()}

    def _string(self, string: OpenString, a4_hz: float, now_s: float) -> dict[str, Any]:
        state = self.strings[string.number]
        age_s = None if state.heard_at_s is None else max(0.0, now_s - state.heard_at_s)
        return {
            "string": string.number,
            "note": string.note,
            "target_hz": string.target_hz(a4_hz),
            "offset_cents": string.offset_cents,
            "roll": state.roll,
            "cents": state.cents,
            "uncertainty_cents": state.uncertainty_cents,
            "verdict": state.verdict,
            "age_s": age_s,
        }


def take_seat(player: Player, instruments: Mapping[str, Instrument], lines: int) -> Seat:
    """A seat for ``player``, every string not heard yet.

    Raises UsageError (TuningError) for an unknown instrument or tuning, a capo
    where none fits, an offset out of range, or a line the input does not have.
    """
    name = clean_text(player.name, "player's name")
    if not name:
        raise UsageError(f"player {player.id!r} has an empty name: write how the band calls them")
    if isinstance(player.line, bool) or not isinstance(player.line, int):
        raise UsageError(f"line {player.line!r:.40} of {name} is not a whole number")
    if not 1 <= player.line <= lines:
        raise UsageError(f"line {player.line} of {name}: the input has lines 1 to {lines}")
    instrument, tuning = _equipped(player, instruments)
    offsets = _offsets(dict(player.offsets_cents), player, instrument, tuning)
    settled = replace(
        player,
        name=name,
        instrument=instrument.key,
        tuning=tuning.key if tuning else "",
        kind=instrument.kind,
        offsets_cents=offsets,
    )
    seat = Seat(settled, settled, instrument, with_offsets(tuning, offsets) if tuning else None)
    seat.forget()
    seat.taps = Taps() if instrument.kind == DRUMS else None
    return seat


def changed_seat(
    seat: Seat, changes: Mapping[str, Any], instruments: Mapping[str, Instrument], lines: int
) -> Seat:
    """The seat after ``changes``; strings whose target stays the same keep what was heard.

    A new instrument comes with its usual tuning, no capo and no offsets unless
    the changes say otherwise. A new tuning keeps offsets of the player's own
    with their strings; pure fifths are worked out anew, and end with a tuning
    that is not in fifths. ``offsets_cents`` is a table by string, which takes
    the place of all offsets there were, or a preset's name (`read_offsets`).
    Raises UsageError for anything that cannot be meant.
    """
    for key in changes:
        if key not in CHANGEABLE:
            near = get_close_matches(key, CHANGEABLE, n=1, cutoff=0.0)[0]
            raise UsageError(f"a player has no {key!r:.40} to change: did you mean {near!r}?")
    wanted = dict(changes)
    for key in ("instrument", "tuning"):
        if key in wanted:
            wanted[key] = clean_text(wanted[key], key)
    if wanted.get("instrument", seat.player.instrument) != seat.player.instrument:
        wanted = {"tuning": "", "capo": 0, **wanted}
    new = take_seat(replace(seat.player, **{**wanted, "offsets_cents": ()}), instruments, lines)
    offsets = _offsets_after(seat, new, wanted)
    if offsets:
        new = take_seat(replace(new.player, offsets_cents=offsets), instruments, lines)
    new.configured = seat.configured
    if new.taps is not None and seat.taps is not None:
        new.taps = seat.taps if _is_same_place(new, seat) else seat.taps.elsewhere()
    if new.player.instrument == seat.player.instrument:
        before = seat.targets()
        for number, target in new.targets().items():
            if before.get(number) == target:
                new.strings[number] = seat.strings[number]
    return new


def _is_same_place(one: Seat, other: Seat) -> bool:
    """Whether what is heard of either is the same instrument on the same line."""
    places = [(seat.player.instrument, seat.player.line) for seat in (one, other)]
    return places[0] == places[1]


def restored_seat(
    seat: Seat, row: Mapping[str, Any], instruments: Mapping[str, Instrument], lines: int
) -> Seat:
    """The seat as it was stored, unless its entry in the settings was edited since.

    Raises UsageError when what was stored is not possible any more, such as a
    tuning that the settings no longer have.
    """
    # A store from before there were offsets has no word of them: there were none.
    if {"offsets_cents": {}, **row["configured"]} != _as_json(seat.configured):
        return seat
    changes = {key: row[key] for key in CHANGEABLE if key in row}
    return changed_seat(seat, changes, instruments, lines)


def _as_json(player: Player) -> dict[str, Any]:
    return {**asdict(player), "offsets_cents": offsets_as_json(player.offsets_cents)}


def _offsets_after(seat: Seat, new: Seat, changes: Mapping[str, Any]) -> Offsets:
    """The offsets of a changed seat, which ``new`` is without any."""
    if "offsets_cents" in changes:
        return _offsets(changes["offsets_cents"], new.player, new.instrument, new.tuning)
    if new.player.instrument != seat.player.instrument or not (seat.tuning and new.tuning):
        return ()
    return refitted(seat.tuning, new.tuning)


def _offsets(
    wanted: object, player: Player, instrument: Instrument, tuning: Tuning | None
) -> Offsets:
    if tuning is not None:
        return read_offsets(wanted, tuning)
    if wanted in ({}, NONE):
        return ()
    raise UsageError(
        f"{player.name} plays {instrument.label}, which has no strings to tune: leave offsets out"
    )


def _equipped(
    player: Player, instruments: Mapping[str, Instrument]
) -> tuple[Instrument, Tuning | None]:
    """The instrument and, where it has strings, the tuning with the capo on."""
    instrument = instruments.get(player.instrument)
    if instrument is None:
        instrument = instruments[find_instrument(player.instrument).key]
    if instrument.default_tuning is None:
        if player.tuning or player.capo:
            raise UsageError(
                f"{player.name} plays {instrument.label}, which has no strings to tune:"
                " leave tuning and capo out"
            )
        return instrument, None
    tuning = instrument.tunings.get(player.tuning) or find_tuning(instrument.key, player.tuning)
    return instrument, with_capo(tuning, player.capo)
