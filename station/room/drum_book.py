"""The drums a room keeps by name: their sizes and pitches, and the good state of each. Pure.

A good state is kept on the drummer's word: what the taps said, what the last head pass said,
and the room it was in: when, the reference then and what that was taken from. What the key
does to a drum is kept beside, and outlives every state: it is what makes the way back short.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, get_args

from station.errors import DrumError, StationError, UsageError
from station.measure.drums.plain import (
    HZ_LIMITS,
    full,
    number,
    numbers,
    short,
    triangle,
    whole,
)
from station.measure.drums.turning import RimState
from station.measure.drums.types import Head, Tap
from station.music.drums import DrumKind
from station.music.kit import (
    DEPTH_LIMITS_IN,
    DIAMETER_LIMITS_IN,
    MAX_DRUMS,
    MM_PER_INCH,
    Drum,
    make_drum,
)
from station.music.lugs import check_lugs
from station.music.pitch import cents_between
from station.room.model import SOURCE_LIMIT, clean_text

NAME_LIMIT = 40
PLACE_LIMIT = 40
ANOTHER_STATE_CENTS = 50.0
"""Half a semitone: taps so far from those before are of a drum tuned anew, whose head pass says
nothing any more."""

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class KeptHead:
    """What a head pass said: each lug's (1,1) mode in Hz as the passes tell it, and when."""

    lug_hz: tuple[float, ...]
    overtone_hz: float
    fundamental_hz: float
    evenness_cents: float
    at: str


@dataclass(frozen=True, slots=True)
class Good:
    """A drum's good state; ``taps`` is what the taps said, for people and for the way back."""

    at: str
    a4_hz: float
    reference: str
    place: str = ""
    taps: Data | None = None
    head: KeptHead | None = None


@dataclass(frozen=True, slots=True)
class KeptDrum:
    """A drum by name. ``rim`` is what the key does to it, None while nothing was learned.

    ``hz`` is its present pitch, None while nobody said; the sizes in millimetres likewise.
    """

    name: str
    kind: DrumKind = "tom"
    diameter_mm: float | None = None
    depth_mm: float | None = None
    hz: float | None = None
    overtone_hz: float | None = None
    keep: bool = False
    good: Good | None = None
    rim: RimState | None = None

    @property
    def diameter_in(self) -> float | None:
        return None if self.diameter_mm is None else self.diameter_mm / MM_PER_INCH

    def in_kit(self) -> Drum | None:
        """The drum for `station.music.kit`, None while its size or pitch is not known.

        Raises DrumError for one that cannot be.
        """
        depth_in = None if self.depth_mm is None else self.depth_mm / MM_PER_INCH
        _check_size("diameter", self.diameter_in, DIAMETER_LIMITS_IN)
        _check_size("depth", depth_in, DEPTH_LIMITS_IN)
        if self.diameter_in is None or self.hz is None:
            return None
        return make_drum(
            self.name, self.diameter_in, self.hz, self.kind, depth_in, self.overtone_hz, self.keep
        )


@dataclass
class DrumBook:
    """At most `MAX_DRUMS` drums, by their names; case makes no difference."""

    _drums: dict[str, KeptDrum] = field(default_factory=dict)

    def __iter__(self) -> Iterator[KeptDrum]:
        return iter(self._drums.values())

    def __len__(self) -> int:
        return len(self._drums)

    def find(self, name: str) -> KeptDrum | None:
        return self._drums.get(name.casefold())

    def drum(self, name: str) -> KeptDrum:
        """Raises UsageError with the names there are."""
        found = self.find(clean_name(name))
        if found is None:
            known = ", ".join(each.name for each in self) or "none"
            raise UsageError(f"no drum is kept as {name!r:.50}: there are {known:.200}")
        return found

    def put(self, drum: KeptDrum) -> None:
        """Raises UsageError when the book is full."""
        key = drum.name.casefold()
        if key not in self._drums and len(self._drums) >= MAX_DRUMS:
            raise UsageError(f"{MAX_DRUMS} drums are kept, the most there may be: forget one first")
        self._drums[key] = drum

    def forget(self, name: str) -> None:
        """Raises UsageError."""
        del self._drums[self.drum(name).name.casefold()]

    def state(self) -> list[Data]:
        return [_drum_as_data(each) for each in self]

    def restore(self, rows: object) -> list[str]:
        """Take kept drums back; a line for each that cannot be read. Never raises."""
        if not isinstance(rows, list):
            return ["the drums that were kept cannot be read"]
        refused = []
        for row in rows:
            try:
                self.put(_drum_from_data(row))
            except (StationError, ArithmeticError, ValueError, TypeError) as error:
                name = row.get("name") if isinstance(row, dict) else None
                refused.append(f"the drum {name!r:.50} is left out: {error!s:.120}")
        return refused


def clean_name(name: object) -> str:
    """A drum's name; raises UsageError for an empty one, and what no page could show."""
    text = clean_text(name, "drum's name", NAME_LIMIT)
    if not text:
        raise UsageError('a drum needs a name: write one, such as "floor tom"')
    return text


def taps_as_data(tap: Tap) -> Data:
    """What is kept of a drum's taps."""
    return {
        "fundamental_hz": short(tap.fundamental_hz),
        "uncertainty_cents": short(tap.uncertainty_cents),
        "overtone_hz": None if tap.overtone_hz is None else short(tap.overtone_hz),
        "ring_s": None if tap.ring_s is None else short(tap.ring_s),
        "kind": tap.kind,
        "used": len(tap.strokes),
    }


def kept_head(head: Head, at: str) -> KeptHead:
    """What is kept of a head after a pass."""
    return KeptHead(
        tuple(short(each.hz) for each in head.lugs),
        short(head.overtone_hz),
        short(head.fundamental_hz),
        short(head.evenness_cents),
        at,
    )


def with_good(drum: KeptDrum, good: Good) -> KeptDrum:
    """The drum in a new good state; a head pass from before stays where the pitch has stayed."""
    before = drum.good
    if good.head is None and before is not None and before.head is not None:
        then, now = _fundamental(before), _fundamental(good)
        if then and now and abs(cents_between(now, then)) <= ANOTHER_STATE_CENTS:
            good = replace(good, head=before.head)
    hz = _fundamental(good)
    overtone = good.taps["overtone_hz"] if good.taps is not None else None
    if good.taps is None and good.head is not None:
        overtone = good.head.overtone_hz
    return replace(drum, good=good, hz=drum.hz if hz is None else hz, overtone_hz=overtone)


def _fundamental(good: Good) -> float | None:
    if good.taps is not None:
        return float(good.taps["fundamental_hz"])
    return None if good.head is None else good.head.fundamental_hz


def good_as_data(good: Good | None) -> Data | None:
    """A good state as plain data: what the page, a file and the store get."""
    if good is None:
        return None
    head = good.head
    return {
        "at": good.at,
        "a4_hz": good.a4_hz,
        "reference": good.reference,
        "place": good.place,
        "taps": None if good.taps is None else dict(good.taps),
        "head": None
        if head is None
        else {
            "lugs": len(head.lug_hz),
            "lug_hz": list(head.lug_hz),
            "overtone_hz": head.overtone_hz,
            "fundamental_hz": head.fundamental_hz,
            "evenness_cents": head.evenness_cents,
            "at": head.at,
        },
    }


def _drum_as_data(drum: KeptDrum) -> Data:
    return {
        "name": drum.name,
        "kind": drum.kind,
        "diameter_mm": drum.diameter_mm,
        "depth_mm": drum.depth_mm,
        "hz": drum.hz,
        "overtone_hz": drum.overtone_hz,
        "keep": drum.keep,
        "good": good_as_data(drum.good),
        "rim": None if drum.rim is None else _rim_as_data(drum.rim),
    }


def _rim_as_data(rim: RimState) -> Data:
    """What the key does; how tight the lugs are is another evening's."""
    lugs = rim.lugs
    return {
        "lugs": lugs,
        "overtone_hz": short(rim.overtone_hz()),
        "response": [short(float(each)) for each in rim.mean[lugs:]],
        "covariance": triangle(rim.covariance[lugs:, lugs:]),
        "learned": rim.learned,
    }


def _rim_from_data(data: object) -> RimState:
    row = _table(data, "what the key does")
    lugs = check_lugs(whole(row.get("lugs"), "lugs", 1, 64))
    first = RimState.first(lugs, number(row.get("overtone_hz"), "overtone", *HZ_LIMITS))
    response = numbers(row.get("response"), "what a turn does", lugs)
    if (response <= 0.0).any():
        raise DrumError("a turn that does nothing, or the other way round")
    first.mean[lugs:] = response
    first.covariance[lugs:, lugs:] = full(row.get("covariance"), lugs, "what a turn does")
    return RimState(
        first.mean, first.covariance, whole(row.get("learned"), "passes learned", 0, 10**6)
    )


def _drum_from_data(data: object) -> KeptDrum:
    row = _table(data, "a drum")
    if row.get("kind") not in get_args(DrumKind):
        raise DrumError(
            f"kind {row.get('kind')!r:.40} is not one of {', '.join(get_args(DrumKind))}"
        )
    kind: DrumKind = row["kind"]
    drum = KeptDrum(
        clean_name(row.get("name")),
        kind,
        _maybe(row.get("diameter_mm"), "diameter", 1.0, 1e4),
        _maybe(row.get("depth_mm"), "depth", 1.0, 1e4),
        _maybe(row.get("hz"), "pitch", *HZ_LIMITS),
        _maybe(row.get("overtone_hz"), "overtone", *HZ_LIMITS),
        row.get("keep") is True,
        None if row.get("good") is None else _good_from_data(row["good"]),
        None if row.get("rim") is None else _rim_from_data(row["rim"]),
    )
    drum.in_kit()
    return drum


def _good_from_data(data: object) -> Good:
    row = _table(data, "a good state")
    return Good(
        clean_text(row.get("at"), "time"),
        number(row.get("a4_hz"), "reference", 1.0, 1e4),
        clean_text(row.get("reference"), "reference", SOURCE_LIMIT),
        clean_text(row.get("place"), "place", PLACE_LIMIT),
        None if row.get("taps") is None else _taps_from_data(row["taps"]),
        None if row.get("head") is None else _head_from_data(row["head"]),
    )


def _taps_from_data(data: object) -> Data:
    row = _table(data, "taps")
    return {
        "fundamental_hz": number(row.get("fundamental_hz"), "fundamental", *HZ_LIMITS),
        "uncertainty_cents": number(row.get("uncertainty_cents"), "uncertainty", 0.0, 1e4),
        "overtone_hz": _maybe(row.get("overtone_hz"), "overtone", *HZ_LIMITS),
        "ring_s": _maybe(row.get("ring_s"), "ring", 0.0, 1e3),
        "kind": clean_text(row.get("kind"), "kind"),
        "used": whole(row.get("used"), "strokes", 0, 10**6),
    }


def _head_from_data(data: object) -> KeptHead:
    row = _table(data, "a head pass")
    lugs = check_lugs(whole(row.get("lugs"), "lugs", 1, 64))
    hz = [float(each) for each in numbers(row.get("lug_hz"), "lugs' pitches", lugs)]
    return KeptHead(
        tuple(number(each, "lug's pitch", *HZ_LIMITS) for each in hz),
        number(row.get("overtone_hz"), "overtone", *HZ_LIMITS),
        number(row.get("fundamental_hz"), "fundamental", *HZ_LIMITS),
        number(row.get("evenness_cents"), "evenness", 0.0, 1e5),
        clean_text(row.get("at"), "time"),
    )


def _check_size(what: str, inches: float | None, limits: tuple[float, float]) -> None:
    if inches is not None and not limits[0] <= inches <= limits[1]:
        least, most = limits
        raise DrumError(f"{what} {inches:g} inches is not from {least:g} to {most:g}")


def _table(data: object, what: str) -> Mapping[str, Any]:
    if not isinstance(data, dict):
        raise DrumError(f"{what} that was kept is no table")
    return data


def _maybe(value: object, what: str, least: float, most: float) -> float | None:
    return None if value is None else number(value, what, least, most)
