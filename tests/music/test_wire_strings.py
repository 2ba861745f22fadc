"""Pull, pitch and stiffness of strings."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FrequencyError, StationError, WireError
from station.music.windings import Wire, plain_wire, wound_wire
from station.music.wire import (
    Stretched,
    core_for_inharmonicity_m,
    pitch_hz,
    tension_n,
    total_n,
    unit_weight_kg_m,
)
from station.music.wire_materials import find_material
from station.music.wire_units import INCH_M

MIL_M = 1e-3 * INCH_M
STEEL, PLATED = find_material("steel"), find_material("nickel-plated")
SCALE_M = 25.5 * INCH_M


def plain(mils: float, hz: float, **other: object) -> Stretched:
    return replace(Stretched(1, "E4", hz, SCALE_M, plain_wire(mils * MIL_M, STEEL)), **other)


@given(
    st.floats(1e-5, 0.2), st.floats(0.1, 2.5), st.floats(16, 5000)
)  # fmt: skip
def test_pull_pitch_and_weight_are_each_others_inverse(
    unit: float, length: float, hz: float
) -> None:
    pull = tension_n(unit, length, hz)

    assert pitch_hz(unit, length, pull) == pytest.approx(hz, rel=1e-12)
    assert unit_weight_kg_m(pull, length, hz) == pytest.approx(unit, rel=1e-12)


def test_a_semitone_is_twelve_percent_of_pull() -> None:
    low, high = plain(10, 329.63), plain(10, 329.63 * 2 ** (1 / 12))

    assert high.tension_n / low.tension_n == pytest.approx(2 ** (1 / 6))


def test_the_total_counts_every_string_of_a_pair() -> None:
    single, pair = plain(10, 329.63), plain(14, 220.0, count=2)

    assert total_n([single, pair]) == pytest.approx(single.tension_n + 2 * pair.tension_n)


def test_inharmonicity_is_fletchers_for_a_round_core() -> None:
    string = plain(17, 196.0)

    # B = pi^3 E d^4 / (64 T L^2), Fletcher & Rossing, The Physics of Musical Instruments
    d = 17 * MIL_M
    by_the_book = math.pi**3 * 203.4e9 * d**4 / (64 * string.tension_n * SCALE_M**2)
    assert string.inharmonicity == pytest.approx(by_the_book, rel=1e-12)


def test_only_the_core_of_a_wound_string_is_stiff() -> None:
    thin, thick = (
        Stretched(
            6, "E2", 82.41, SCALE_M, wound_wire(46 * MIL_M, STEEL, PLATED, core_m=core * MIL_M)
        )
        for core in (15, 18)
    )

    # fourth power of the core, over a pull that is the same within a percent
    assert thick.inharmonicity / thin.inharmonicity == pytest.approx((18 / 15) ** 4, rel=0.02)
    assert thick.tension_n == pytest.approx(thin.tension_n, rel=0.01)
    solid = Stretched(6, "E2", 82.41, SCALE_M, plain_wire(46 * MIL_M, STEEL))
    assert solid.inharmonicity > 20 * thick.inharmonicity


def test_the_core_that_would_have_a_measured_inharmonicity_has_it() -> None:
    string = Stretched(6, "E2", 82.41, SCALE_M, wound_wire(46 * MIL_M, STEEL, PLATED))

    core_m = core_for_inharmonicity_m(string, 6e-5)

    other = replace(string.wire, core_m=core_m, given_kg_m=string.wire.unit_kg_m)
    assert replace(string, wire=other).inharmonicity == pytest.approx(6e-5)


def test_a_guessed_core_leaves_inharmonicity_unsure_and_a_known_one_less() -> None:
    guessed = Stretched(6, "E2", 82.41, SCALE_M, wound_wire(46 * MIL_M, STEEL, PLATED))
    known = replace(guessed, wire=replace(guessed.wire, core_assumed=False))

    assert guessed.inharmonicity_percent > 40 > 20 > known.inharmonicity_percent
    assert plain(10, 329.63).inharmonicity_percent < 4


def test_a_string_known_by_weight_alone_has_a_pull_and_nothing_else() -> None:
    string = Stretched(5, "A2", 110.0, SCALE_M, Wire(None, STEEL, given_kg_m=4e-3))

    assert string.tension_n == pytest.approx(4e-3 * (2 * 0.6477 * 110) ** 2)
    assert string.inharmonicity is None
    assert core_for_inharmonicity_m(string, 1e-4) is None


def test_a_given_weight_overrides_geometry() -> None:
    wire = replace(plain_wire(10 * MIL_M, STEEL), given_kg_m=5e-4)

    assert wire.unit_kg_m == 5e-4
    assert wire.unit_percent == 0.5


@pytest.mark.parametrize("hz", [0.0, -1.0, math.nan, math.inf])
def test_no_string_speaks_what_is_no_frequency(hz: float) -> None:
    with pytest.raises(FrequencyError):
        plain(10, hz)


@pytest.mark.parametrize("length", [0.0, -1.0, math.nan, math.inf])
def test_no_string_is_as_long_as_that(length: float) -> None:
    with pytest.raises(WireError, match="speaking length"):
        plain(10, 329.63, length_m=length)


def test_a_string_without_gauge_and_weight_is_refused() -> None:
    with pytest.raises(StationError, match="needs a unit weight"):
        Wire(None, STEEL).unit_kg_m  # noqa: B018
