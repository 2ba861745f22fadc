"""Gauges that keep the feel: which string on sale has the same pull at another pitch.

The pull goes as gauge squared times pitch squared, so a string tuned a semitone down wants a
gauge 6 % thicker. **Pull** alone is how hard a string presses back. **Bending** is how much
its pitch moves when it is pushed aside by some way: its pull grows by E A over its core for
each unit of stretch, so beside the pull E A is kept as well, as nearly as the list allows; a
thicker string has more of both, and the answer lies between. Pulls and E A are compared as
ratios, so that 10 % too much is as far off as 10 % too little.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from station.errors import WireError
from station.music.windings import LONG_SCALE_M, Wire, plain_wire, wound_wire
from station.music.wire import Stretched
from station.music.wire_materials import Material, load_gauges
from station.music.wire_units import INCH_M

NEAR_PERCENT = 5.0
"""A player hardly notices this much more or less pull: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A string on sale for a pitch: the wire, its pull, and how that compares with the wish.

    ``percent`` is the pull above the one wished for, ``bending_percent`` the same for E A of
    what carries it, None where that is unknown. ``near`` says that the pull is within 5 %.
    """

    stretched: Stretched
    percent: float
    bending_percent: float | None
    near: bool


def gauges_on_sale(wire: Wire, long_scale: bool) -> list[float]:
    """Gauges a string of this kind can be had in, in metres, rising."""
    if wire.winding == "plain":
        name = "steel_plain" if wire.material.gauges == "steel" else "nylon_plain"
    else:
        name = "steel_wound_long" if long_scale else "steel_wound"
    return [mils * 1e-3 * INCH_M for mils in load_gauges()[name]]


def keep_feel(
    string: Stretched,
    hz: float,
    note: str,
    pull_n: float | None = None,
    bending: bool = False,
    wrap: Material | None = None,
) -> Choice:
    """The string on sale that feels most like `string` when it is tuned to `hz`.

    Plain strings stay plain and wound ones wound; with ``bending`` steel may change from one to
    the other (then wound with ``wrap``) and E A is kept along with the pull. ``pull_n`` is a
    pull wished for instead of today's. Raises WireError for a string known by its unit weight
    alone and for a pitch out of all reason.
    """
    if string.wire.gauge_m is None or string.wire.core_m is None:
        raise WireError(f"string {string.number}: a gauge is needed to look for another")
    wished_n = string.tension_n if pull_n is None else pull_n
    found = [
        replace(string, hz=hz, note=note, wire=wire)
        for wire in alternatives(string, wrap if bending else None)
    ]
    return min(
        (_choice(string, each, wished_n) for each in found),
        key=lambda choice: distance(choice, bending),
    )


def alternatives(string: Stretched, wrap: Material | None = None) -> list[Wire]:
    """Every string on sale that could take the place of this one, thinnest first.

    With ``wrap`` a plain steel string may give way to a wound one, and a wound one to a plain.
    """
    wire, long_scale = string.wire, string.length_m >= LONG_SCALE_M
    kinds = [wire]
    if wrap is not None and wire.material.is_steel:
        if wire.winding == "plain":
            kinds.append(replace(wire, winding="round", wrap=wrap, core_shape="hex"))
        else:
            kinds.append(Wire(wire.gauge_m, wire.material))
    made = [
        _made(kind, gauge_m, long_scale)
        for kind in kinds
        for gauge_m in gauges_on_sale(kind, long_scale)
    ]
    return [each for each in made if each is not None]


def distance(choice: Choice, bending: bool) -> float:
    """How far a choice is from the wish: the sum of squared logarithms of its ratios."""
    off = math.log1p(choice.percent / 100) ** 2
    if bending and choice.bending_percent is not None:
        off += math.log1p(choice.bending_percent / 100) ** 2
    return off


def _made(kind: Wire, gauge_m: float, long_scale: bool) -> Wire | None:
    """A string of that kind and gauge, built as usual; None where there can be none."""
    if kind.winding == "plain" or kind.wrap is None:
        return plain_wire(gauge_m, kind.material)
    try:
        return wound_wire(
            gauge_m, kind.material, kind.wrap, kind.winding, None, kind.core_shape, long_scale
        )
    except WireError:
        return None


def _choice(string: Stretched, other: Stretched, wished_n: float) -> Choice:
    percent = 100 * (other.tension_n / wished_n - 1)
    was, now = string.wire.stretch_n, other.wire.stretch_n
    bending = None if was is None or now is None else 100 * (now / was - 1)
    return Choice(other, percent, bending, abs(percent) <= NEAR_PERCENT)


def keep_feel_of_set(
    strings: Sequence[Stretched],
    targets: Sequence[tuple[float, str]],
    pull_n: float | None = None,
    bending: bool = False,
) -> list[Choice | None]:
    """`keep_feel` for each string and its (hz, note); what a set is wound with serves all of it.

    Of strings that keep their pitch and today's pull the answer is the string itself; of one known
    by its weight alone there is none.
    """
    wrap = next((s.wire.wrap for s in strings if s.wire.wrap is not None), None)
    choices: list[Choice | None] = []
    for string, (hz, note) in zip(strings, targets, strict=True):
        if pull_n is None and math.isclose(hz, string.hz, rel_tol=1e-6):
            choices.append(Choice(replace(string, hz=hz, note=note), 0.0, 0.0, True))
        elif string.wire.gauge_m is None or string.wire.core_m is None:
            choices.append(None)
        else:
            choices.append(keep_feel(string, hz, note, pull_n, bending, wrap))
    return choices
