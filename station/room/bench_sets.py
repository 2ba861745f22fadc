"""The sets of strings that players have on, and what is known of them as wire. Pure.

A set is kept for each player and instrument, `SETS_MAX` to a player. Without one the page is
given a usual set for the instrument, which it says is taken.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, cast, get_args

from station.errors import StationError, UsageError, WireError
from station.music.catalogue import Tuning
from station.music.gauge_set import Build, set_on_instrument, targets_in
from station.music.gauge_view import Wishes, gauge_view
from station.music.windings import Winding
from station.music.wire_materials import load_materials
from station.music.wire_units import parse_degrees, parse_length
from station.room.model import clean_text
from station.room.seats import Seat

SETS_MAX = 8
TEXT_MAX = 200
DEGREES = "-8"

USUAL_SETS: Mapping[str, str] = {
    "guitar": ".010,.013,.017,.026w,.036w,.046w",
    "guitar-7": ".010,.013,.017,.026w,.036w,.046w,.059w",
    "guitar-12": ".010,.010,.014,.014,.023w,.009,.030w,.012,.039w,.018,.047w,.027w",
    "bass": ".045w,.065w,.085w,.105w",
    "bass-5": ".045w,.065w,.085w,.105w,.130w",
    "bass-6": ".032w,.045w,.065w,.085w,.105w,.130w",
    "banjo": ".010,.012,.016,.023w,.010",
    "mandolin": ".010,.014,.024w,.034w",
    "ukulele": ".024,.032,.040,.028",
}
"""Common practice, no source. String 1 first."""

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class StringSet:
    """What is on an instrument, as a player writes it; empty where nothing was said.

    `gauges` from string 1 on, `scale` a length, `string`, `wrap` and `winding` names of
    materials and of a winding.
    """

    gauges: str = ""
    scale: str = ""
    string: str = ""
    wrap: str = ""
    winding: str = ""


KEYS = tuple(StringSet.__dataclass_fields__)


def read_set(written: Mapping[str, Any]) -> StringSet:
    """A set from plain data; raises UsageError (WireError) for what cannot be meant."""
    unknown = set(written) - set(KEYS)
    if unknown:
        raise UsageError(f"a set of strings has no {sorted(unknown)[0]!r:.40}")
    texts = {key: clean_text(written.get(key, ""), f"the set's {key}", TEXT_MAX) for key in KEYS}
    if texts["winding"] not in ("", *get_args(Winding)):
        raise WireError(f"winding {texts['winding']!r:.40}: there are {_words(get_args(Winding))}")
    for key, use in (("string", "string"), ("wrap", "wrap")):
        known = [each.key for each in load_materials().values() if each.use == use]
        if texts[key] not in ("", *known):
            raise WireError(f"{key} {texts[key]!r:.40}: there are {_words(known)}")
    return StringSet(**texts)


def _words(known: object) -> str:
    return ", ".join(cast("list[str]", known))


class Sets:
    """The set each player has on each of their instruments."""

    def __init__(self) -> None:
        self._sets: dict[str, dict[str, StringSet]] = {}

    def of(self, seat: Seat) -> StringSet | None:
        """What was kept for the player's present instrument."""
        return self._sets.get(seat.player.id, {}).get(seat.player.instrument)

    def scale_mm(self, seat: Seat) -> float | None:
        """The scale length of the player's instrument, the usual one where none was kept."""
        kept = self.of(seat)
        try:
            return _scale_mm(seat, StringSet() if kept is None else kept)
        except WireError:
            return seat.instrument.scale_length_mm

    def keep(self, seat: Seat, wanted: StringSet) -> None:
        """Keep a set that can be; raises WireError, UsageError for a player without strings."""
        if not wanted.gauges:
            raise WireError("no gauges: write the set from string 1 on, .010,.013,.017,.026w")
        _strings(seat, wanted, 440.0)
        others = {
            key: each
            for key, each in self._sets.get(seat.player.id, {}).items()
            if key != seat.player.instrument
        }
        newest = list(others.items())[-(SETS_MAX - 1) :]
        self._sets[seat.player.id] = dict([*newest, (seat.player.instrument, wanted)])

    def state(self) -> Data:
        return {
            player: {instrument: asdict(each) for instrument, each in sets.items()}
            for player, sets in self._sets.items()
        }

    def restore(self, stored: Any, players: frozenset[str]) -> list[str]:
        """Take back what was stored; a line for each set that cannot be read."""
        if not isinstance(stored, dict):
            return [] if stored is None else ["the sets of strings that were kept cannot be read"]
        refused = []
        for player, sets in stored.items():
            if player not in players or not isinstance(sets, dict):
                continue
            kept: dict[str, StringSet] = {}
            for instrument, each in list(sets.items())[:SETS_MAX]:
                try:
                    if not isinstance(each, dict) or not isinstance(instrument, str):
                        raise UsageError("it is no set")
                    kept[instrument[:40]] = read_set(each)
                except StationError as error:
                    refused.append(f"a set of strings of {player!r:.40} is left out: {error!s:.90}")
            self._sets[player] = kept
        return refused


def open_tuning(seat: Seat) -> Tuning:
    """The tuning without the capo, as the strings pull; raises UsageError without strings."""
    tuning = seat.tuning
    if tuning is None:
        raise UsageError(f"{seat.player.name} plays {seat.instrument.label}: it has no strings")
    return tuning.open_tuning or tuning


def set_as_json(
    seat: Seat,
    wanted: StringSet,
    kept: StringSet | None,
    a4_hz: float,
    to: str = "",
    degrees: str = "",
    bending: bool = False,
    measured: Mapping[int, float] | None = None,
) -> Data:
    """All that is known of the player's strings; `view` as `gauge_view` has it.

    What is empty in ``wanted`` is taken from what was kept or is usual: `taken` tells which.
    `view` is None where no gauges are known. Raises WireError, TuningError, UsageError.
    """
    tuning = open_tuning(seat)
    used, taken = _filled(seat, wanted, kept)
    told: Data = {
        "set": asdict(used),
        "taken": taken,
        "kept": None if kept is None else asdict(kept),
        "instrument": seat.player.instrument,
        "tuning": tuning.key,
        "capo": seat.player.capo,
        "count": len(tuning.strings),
        "notes": [string.note for string in tuning.strings],
        "scale_mm": _scale_mm(seat, used),
        "tunings": [
            {"tuning": each.key, "label": each.label}
            for each in seat.instrument.tunings.values()
            if each.key != tuning.key
        ],
        "choices": _choices(),
        "view": None,
    }
    if used.gauges:
        strings = _strings(seat, used, a4_hz)
        wishes = Wishes(degrees=parse_degrees(degrees or DEGREES), measured=_fitting(measured))
        if to:
            name, targets = _targets(seat, tuning, to, a4_hz)
            wishes = replace(wishes, targets=targets, tuning=name, bending=bending)
        told["view"] = gauge_view(strings, wishes)
    return told


def _targets(
    seat: Seat, tuning: Tuning, to: str, a4_hz: float
) -> tuple[str, list[tuple[str, float]]]:
    """Another tuning of the player's instrument, the band's own tunings included."""
    own = seat.instrument.tunings.get(to)
    if own is None:
        return targets_in(tuning, to, a4_hz)
    return own.name, [(string.note, string.target_hz(a4_hz)) for string in own.strings]


def _filled(seat: Seat, wanted: StringSet, kept: StringSet | None) -> tuple[StringSet, str]:
    """The set to reckon with, and whether it was "typed", "kept", "usual" or "none"."""
    if wanted.gauges:
        return wanted, "kept" if wanted == kept else "typed"
    if kept is not None:
        return kept, "kept"
    usual = USUAL_SETS.get(seat.instrument.key, "")
    return replace(wanted, gauges=usual), "usual" if usual else "none"


def _strings(seat: Seat, used: StringSet, a4_hz: float) -> list[Any]:
    build = Build(used.string or None, used.wrap or None, cast("Winding", used.winding) or None)
    scale_m = parse_length(used.scale) if used.scale else None
    return set_on_instrument(open_tuning(seat), used.gauges, scale_m, build, a4_hz)


def _scale_mm(seat: Seat, used: StringSet) -> float | None:
    if used.scale:
        return parse_length(used.scale) * 1e3
    return seat.instrument.scale_length_mm


def _fitting(measured: Mapping[int, float] | None) -> Mapping[int, float]:
    return {} if measured is None else measured


def _choices() -> Data:
    materials = load_materials().values()
    return {
        "string": [{"key": m.key, "label": m.label} for m in materials if m.use == "string"],
        "wrap": [{"key": m.key, "label": m.label} for m in materials if m.use == "wrap"],
        "winding": [each for each in get_args(Winding) if each != "plain"],
    }
