"""What a player plays in a song, in one short text: ``guitar:drop-d capo 2``. Pure.

The same text stands in a table's cell, in JSON and on storage. A person may leave out what
goes without saying: ``drop-d`` is a tuning of the instrument the player holds, ``bass`` alone
comes with its usual tuning, ``capo 2`` with the tuning the player has.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from station.errors import TuningError, UsageError
from station.music.tunings import Instrument, find_instrument, find_tuning, with_capo
from station.room.model import Player, clean_text

_CAPO = re.compile(r"(.*?)\s*\bcapo\s*(\d{1,2})", re.IGNORECASE)
_HOW = "write an instrument and tuning such as guitar:drop-d, and capo 2 where there is one"


@dataclass(frozen=True, slots=True)
class Setup:
    """An instrument, its tuning (empty where it has none) and the capo's fret, 0 for none."""

    instrument: str
    tuning: str = ""
    capo: int = 0

    @property
    def text(self) -> str:
        """The setup as `read_setup` takes it."""
        tuned = f"{self.instrument}:{self.tuning}" if self.tuning else self.instrument
        return f"{tuned} capo {self.capo}" if self.capo else tuned

    def changes(self) -> dict[str, Any]:
        """What `roster.change` is to change."""
        return {"instrument": self.instrument, "tuning": self.tuning, "capo": self.capo}


def setup_of(player: Player) -> Setup:
    """What a player of the roster has now."""
    return Setup(player.instrument, player.tuning, player.capo)


def read_setup(text: object, player: Player, instruments: Mapping[str, Instrument]) -> Setup:
    """A setup as a person writes it for ``player``; raises UsageError (TuningError)."""
    plain = clean_text(text, "what is played")
    found = _CAPO.fullmatch(plain)
    words, capo = (found[1], int(found[2])) if found else (plain, 0)
    instrument, tuning = _instrument_and_tuning(words, player, instruments)
    kind = instruments[instrument].kind
    if kind != "strings":
        if tuning or capo:
            raise UsageError(f"{plain!r}: {instrument} has no strings to tune; {_HOW}")
        return Setup(instrument)
    tunings = instruments[instrument].tunings
    known = tunings.get(tuning) or find_tuning(instrument, tuning)
    with_capo(known, capo)  # raises where none fits
    return Setup(instrument, known.key, capo)


def _instrument_and_tuning(
    words: str, player: Player, instruments: Mapping[str, Instrument]
) -> tuple[str, str]:
    """The instrument's key and the tuning as written, empty for the usual one."""
    name, colon, tuning = (part.strip() for part in words.partition(":"))
    if not words:
        return player.instrument, player.tuning
    if colon:
        return _instrument(name, instruments), tuning
    own = instruments[player.instrument]
    if own.kind == "strings":
        try:
            return own.key, (own.tunings.get(name) or find_tuning(own.key, name)).key
        except TuningError as error:
            wrong = error
        try:
            return _instrument(name, instruments), ""
        except TuningError:
            raise wrong from None
    return _instrument(name, instruments), ""


def _instrument(name: str, instruments: Mapping[str, Instrument]) -> str:
    return name if name in instruments else find_instrument(name).key
