"""What cores bear: limits and margins."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from station.errors import WireError
from station.music.windings import Wire, plain_wire
from station.music.wire import Stretched, tension_n
from station.music.wire_materials import find_material
from station.music.wire_strength import (
    ELASTIC_FROM,
    ELASTIC_TO,
    least_strength_pa,
    load_share,
    load_word,
    room_cents,
    steel_modulus_pa,
    tensile_strength_pa,
)
from station.music.wire_units import INCH_M

MIL_M = 1e-3 * INCH_M
STEEL = find_material("steel")
DIAMETERS_M = [mils * MIL_M for mils in (4, 6, 8, 10, 13, 17, 20, 26, 40, 63, 105, 250)]


def plain(mils: float, hz: float, length_m: float = 0.6477) -> Stretched:
    return Stretched(1, "E4", hz, length_m, plain_wire(mils * MIL_M, STEEL))


def test_thinner_wire_is_stronger_by_area_and_weaker_in_all() -> None:
    strengths = [tensile_strength_pa(d) for d in DIAMETERS_M]
    breaking = [s * math.pi / 4 * d**2 for s, d in zip(strengths, DIAMETERS_M, strict=True)]

    assert all(thin > thick for thin, thick in pairwise(strengths))
    assert all(thin < thick for thin, thick in pairwise(breaking))


@pytest.mark.parametrize("mils", [3.9, 257, math.nan])
def test_outside_the_handbooks_range_there_is_no_strength(mils: float) -> None:
    with pytest.raises(WireError, match=r"from \.004 to \.256 inch"):
        tensile_strength_pa(mils * MIL_M)


def test_the_margin_falls_as_a_string_is_tuned_up() -> None:
    loads = [plain(10, hz).load for hz in range(100, 700, 10)]

    assert all(low < high for low, high in pairwise(loads))
    assert {load_word(load) for load in loads} == {
        "within",
        "near the limit",
        "too tight",
        "breaks",
    }


def test_at_the_same_pitch_a_thicker_string_is_loaded_more_but_little() -> None:
    loads = [plain(mils, 329.63).load for mils in (8, 9, 10, 11, 12, 13)]

    # the stress is the same, rho (2 L f)^2, and only the strength falls: (13/8)^0.145 = 1.073
    assert all(thin < thick for thin, thick in pairwise(loads))
    assert loads[-1] / loads[0] == pytest.approx((13 / 8) ** 0.145)


def test_the_room_left_brings_a_string_to_its_limit() -> None:
    string = plain(10, 329.63)

    there = plain(10, 329.63 * 2 ** (string.room_cents / 1200))

    assert there.load == pytest.approx(ELASTIC_TO)
    assert room_cents(ELASTIC_TO) == 0.0
    assert room_cents(1.0) < 0.0


def test_words_change_at_the_limits() -> None:
    assert load_word(ELASTIC_FROM) == "within"
    assert load_word(ELASTIC_FROM + 1e-9) == load_word(ELASTIC_TO) == "near the limit"
    assert load_word(ELASTIC_TO + 1e-9) == "too tight"
    assert load_word(1.0) == "breaks"


def test_the_breaking_pitch_of_steel_does_not_depend_on_luck() -> None:
    """Common practice: plain steel at 25.5 in bears G4 with a short life, and breaks near B4."""
    assert plain(9, 329.63).load_word == "within"
    assert plain(9, 392.0).load_word == "near the limit"
    assert plain(9, 440.0).load_word == "too tight"
    assert plain(9, 493.88).load_word == "breaks"


def test_a_core_of_a_hexagon_bears_by_its_area() -> None:
    pull = tension_n(6.7e-3, 0.6477, 82.41)

    share = load_share(pull, STEEL, 16 * MIL_M, 1.43e-7)

    assert share == pytest.approx(pull / (1.43e-7 * least_strength_pa(STEEL, 16 * MIL_M)))


@pytest.mark.parametrize("name", ["nylon", "fluorocarbon", "gut"])
def test_soft_strings_bear_their_usual_pitches(name: str) -> None:
    """Common practice: nylon, gut and fluorocarbon all serve as the E4 of a 650 mm guitar."""
    material = find_material(name)

    string = Stretched(1, "E4", 329.63, 0.65, plain_wire(0.7e-3, material))

    assert string.load_word in ("within", "near the limit")


def test_a_wrap_carries_nothing() -> None:
    with pytest.raises(WireError, match="carries no pull"):
        least_strength_pa(find_material("nickel"), 1e-3)


def test_a_string_known_by_weight_alone_has_no_margin() -> None:
    string = Stretched(5, "A2", 110.0, 0.6477, Wire(None, STEEL, given_kg_m=9.1e-3))

    assert (string.load, string.load_word, string.room_cents) == (None, None, None)


def test_the_modulus_falls_in_steps() -> None:
    steps = [steel_modulus_pa(mils * MIL_M) for mils in (10, 32, 33, 63, 64, 125, 130)]

    assert steps == [203.4e9, 203.4e9, 200e9, 200e9, 196.5e9, 196.5e9, 193e9]
