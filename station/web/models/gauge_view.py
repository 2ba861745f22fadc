"""A set of strings as wire: pull, load, another tuning, the cold room."""

from __future__ import annotations

from station.music.windings import CoreShape, Winding
from station.music.wire_strength import Load
from station.web.models.words import Answer, Count, Number


class Wire(Answer):
    """What a string is made of; `packing` is how much of a wound shell is metal."""

    gauge: str | None
    gauge_in: Number | None
    gauge_mm: Number | None
    winding: Winding
    material: str
    wrap: str | None
    core_in: Number | None
    core_mm: Number | None
    core_shape: CoreShape
    core_assumed: bool
    packing: Number | None
    unit_kg_m: Number
    unit_lb_in: Number
    unit_given: bool


class Pulled(Answer):
    """A string's pull and load; a load of 1 breaks it."""

    tension_n: Number
    tension_lb: Number
    load: Number | None
    verdict: Load | None


class Stiffness(Answer):
    """Measured inharmonicity beside the predicted one, and the core that would have it."""

    inharmonicity: Number
    ratio: Number | None
    core_in: Number | None
    core_mm: Number | None
    says: str


class ColdDrift(Answer):
    """What a change of temperature does: at last, at first, and on a sprung bridge, cents."""

    cents: Number
    uncertainty_cents: Number
    first_cents: Number
    first_uncertainty_cents: Number
    free_cents: Number


class SameString(Pulled):
    """This very string in the other tuning, and how much more it pulls there."""

    percent: Number


class OtherString(Wire, Pulled):
    """The string on sale that keeps the feel, and how near it comes."""

    percent: Number | None
    bending_percent: Number | None
    near: bool
    changed: bool


class KeptFeel(Answer):
    """A string in the other tuning: as it is, and as another gauge."""

    note: str
    hz: Number
    same: SameString
    other: OtherString | None


class WireString(Wire, Pulled):
    """A string of the set, what the cold does to it, and how far it may be tuned up."""

    string: Count
    count: Count
    note: str
    hz: Number
    length_mm: Number
    tension_percent: Number
    margin_percent: Number | None
    room_cents: Number | None
    says: str | None
    inharmonicity: Number | None
    inharmonicity_percent: Number | None
    cents_per_degree: Number | None
    cents_per_degree_uncertainty: Number | None
    measured: Stiffness | None
    drift: ColdDrift | None
    keep: KeptFeel | None


class SetLoad(Answer):
    """The set's pull on the neck, the worst word, and how many strings' cores are unknown."""

    total_n: Number
    total_lb: Number
    count: Count
    verdict: Load | None
    unknown: Count


class SetThere(Answer):
    """The whole set in the other tuning: as it is (`same_`), and with what is suggested."""

    tuning: str | None
    wished_n: Number | None
    bending: bool
    same_total_n: Number
    same_percent: Number
    total_n: Number
    total_lb: Number
    percent: Number


class Heat(Answer):
    """The change of temperature, what it was reckoned with, and why it cannot be told."""

    degrees: Number | None
    string_per_degree: Number
    neck_per_degree: Number
    modulus_per_degree: Number
    neck_stiffness_n: Number
    why_not: str | None


class GaugeView(Answer):
    """All that is known of a set of strings, as `station gauge --json` tells it."""

    strings: list[WireString]
    load: SetLoad
    target: SetThere | None
    heat: Heat
    windings: dict[Winding, str]
    cautions: list[str]
    advice: list[str]
