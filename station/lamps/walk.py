"""What `station lamps test` shows: every lamp by itself, then the signs. Pure.

Lights are those of `animation.py`: a column of seven from bottom to top and the band
lamp, each 0 to 1. A shorter column shows them folded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from station.lamps import column, signs
from station.lamps.animation import QUIET_SHARE
from station.lamps.pins import Lamp
from station.lamps.wiring import Wiring

Shown = tuple[tuple[float, ...], float]

SIGN_LAMPS = 3.0  # a sign takes so many times as long as one lamp
FLAT_CENTS = -10.0
FLAT_BEATS_HZ = 1.0


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to look at, and what should be seen; ``shown`` by seconds since it began."""

    kind: Literal["lamp", "sign"]
    name: str
    said: str
    seconds: float
    shown: Callable[[float], Shown]
    lamp: Lamp | None = None


def steps(wiring: Wiring, lamp_s: float) -> Iterator[Step]:
    """Every lamp from bottom to top, the band lamp, then the signs; ``lamp_s`` for each lamp."""
    spare = (column.LAMPS - len(wiring.column)) // 2
    for place, lamp in enumerate(wiring.column):
        yield Step("lamp", lamp.name, lamp.colour, lamp_s, _only(place + spare), lamp)
    if wiring.band is not None:
        lights: Shown = (column.DARK, 1.0)
        yield Step(
            "lamp", wiring.band.name, wiring.band.colour, lamp_s, lambda _: lights, wiring.band
        )
    yield from _signs(SIGN_LAMPS * lamp_s, wiring.band is not None)


def settled(shown: Shown, wanted: Shown, passed_s: float) -> Shown:
    """The lights ``passed_s`` further on the way to ``wanted``, none too fast for the eye."""
    lights = column.settled((*shown[0], shown[1]), (*wanted[0], wanted[1]), passed_s)
    return lights[:-1], lights[-1]


def _only(place: int) -> Callable[[float], Shown]:
    lights = tuple(1.0 if each == place else 0.0 for each in range(column.LAMPS))
    return lambda _: (lights, 0.0)


def _signs(sign_s: float, has_band: bool) -> Iterator[Step]:
    def sign(name: str, said: str, shown: Callable[[float], Shown]) -> Step:
        return Step("sign", name, said, sign_s, shown)

    yield sign("flat", "an amber lamp swells and fades once a second: tighten", _flat)
    yield sign(
        "listening",
        "two lamps like brackets breathe: the reference instrument is waited for",
        lambda at_s: (signs.brackets(signs.FARTHEST, at_s + 1e-9), 0.0),
    )
    yield sign(
        "surer",
        "the brackets close in on the middle lamp: its pitch gets sure",
        lambda at_s: (signs.brackets(signs.FARTHEST * max(0.0, 1.0 - at_s / sign_s), 0.0), 0.0),
    )
    yield sign(
        "agreed",
        "light spreads from the middle to all lamps and back: a new reference",
        lambda at_s: signs.bloom(signs.BLOOM_S * at_s / sign_s) or (column.DARK, 0.0),
    )
    if has_band:
        yield sign(
            "roll call",
            "the band lamp breathes: some strings are in",
            lambda at_s: (column.DARK, column.band_light(3, 6, at_s)),
        )
    yield sign(
        "in",
        "the middle lamp stands still, and so does the band lamp: everyone is in",
        lambda _: (column.column_at(0.0, 0.0), 1.0),
    )
    yield sign(
        "quiet",
        "all lamps at a quarter of their light: quiet",
        lambda _: ((QUIET_SHARE,) * column.LAMPS, QUIET_SHARE),
    )


def _flat(at_s: float) -> Shown:
    return column.column_at(FLAT_CENTS, FLAT_BEATS_HZ * at_s % 1.0), 0.0
