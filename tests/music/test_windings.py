"""Strings as solids: what windings fill, what cores carry, against geometry done another way."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.errors import WireError
from station.music.windings import (
    GROUND_AWAY,
    RIBBON_FILL,
    RIBBON_M,
    SOUND,
    Winding,
    core_area_m2,
    core_over_m,
    packing,
    plain_wire,
    second_moment_m4,
    typical_core_m,
    wire_tolerance_m,
    wound_wire,
    wrap_area_m2,
)
from station.music.wire_materials import find_material, load_gauges, load_materials
from station.music.wire_units import INCH_M

MIL_M = 1e-3 * INCH_M
STEEL, PLATED = find_material("steel"), find_material("nickel-plated")


def helix_volume_m3(over_m: float, wire_m: float, length_m: float) -> float:
    """Volume of round wire wound close on a cylinder: its section times its own length.

    Turns touch when they are a wire's diameter apart square to the wire; the length of the
    helix is added up from many short chords.
    """
    radius = (over_m + wire_m) / 2
    # pitch p and climb a: p cos a = wire, tan a = p / (2 pi R); by iteration
    pitch = wire_m
    for _ in range(50):
        pitch = wire_m / math.cos(math.atan(pitch / (2 * math.pi * radius)))
    angle = np.linspace(0, 2 * math.pi * length_m / pitch, 400_001)
    x, y, z = radius * np.cos(angle), radius * np.sin(angle), pitch * angle / (2 * math.pi)
    chords = np.sqrt(np.diff(x) ** 2 + np.diff(y) ** 2 + np.diff(z) ** 2)
    return float(math.pi / 4 * wire_m**2 * chords.sum())


@pytest.mark.parametrize(("over_mils", "wire_mils"), [(19.7, 13.15), (10.0, 3.0), (39.0, 33.0)])
def test_round_wire_weighs_what_its_helix_does(over_mils: float, wire_mils: float) -> None:
    over_m, wire_m = over_mils * MIL_M, wire_mils * MIL_M

    volume = helix_volume_m3(over_m, wire_m, 0.05)

    per_length = wrap_area_m2(over_m, over_m + 2 * wire_m, "round")
    assert per_length == pytest.approx(volume / 0.05, rel=1e-6)


@pytest.mark.parametrize("over_mils", [5.0, 19.7, 50.0])
@pytest.mark.parametrize("gauge_mils", [52.0, 80.0, 130.0])
def test_round_windings_fill_a_quarter_of_pi_whatever_their_size(
    over_mils: float, gauge_mils: float
) -> None:
    assert packing(over_mils * MIL_M, gauge_mils * MIL_M, "round") == pytest.approx(math.pi / 4)


def test_layers_of_round_wire_fill_their_shells_as_one_does() -> None:
    over, between, outside = 34 * MIL_M, 74 * MIL_M, 105 * MIL_M

    layers = wrap_area_m2(over, between, "round") + wrap_area_m2(between, outside, "round")

    assert layers == pytest.approx(wrap_area_m2(over, outside, "round"))


def test_a_ground_winding_is_what_is_left_of_round_wire() -> None:
    """Wire sampled point by point, what the grinder took left out, each turned round the axis."""
    over_m, gauge_m = 19.7 * MIL_M, 46 * MIL_M
    height = (gauge_m - over_m) / 2
    wire = height / (1 - GROUND_AWAY)
    grid = (np.arange(1200) + 0.5) / 1200 - 0.5
    across, out = np.meshgrid(grid * wire, grid * wire)
    left = (across**2 + out**2 <= (wire / 2) ** 2) & (out <= wire / 2 - GROUND_AWAY * wire)
    around = 2 * math.pi * (over_m / 2 + wire / 2 + out)
    volume_a_turn = float((left * around).sum()) * (wire / 1200) ** 2

    assert wrap_area_m2(over_m, gauge_m, "ground") == pytest.approx(volume_a_turn / wire, rel=1e-4)


def test_a_flat_winding_is_a_ribbon_over_round_wire() -> None:
    over, gauge = 19.7 * MIL_M, 46 * MIL_M
    under = gauge - 2 * RIBBON_M

    ribbon = RIBBON_FILL * math.pi / 4 * (gauge**2 - under**2)

    round_m2 = math.pi / 4 * math.pi / 4 * (under**2 - over**2)
    assert wrap_area_m2(over, gauge, "flat") == pytest.approx(ribbon + round_m2)
    assert packing(under, gauge, "flat") == pytest.approx(RIBBON_FILL)


@pytest.mark.parametrize("kind", ["round", "ground", "flat"])
def test_a_thicker_winding_weighs_more_and_none_fills_more_than_its_shell(kind: Winding) -> None:
    over = 15 * MIL_M
    gauges = [mils * MIL_M for mils in range(16, 140)]

    weights = [wrap_area_m2(over, gauge, kind) for gauge in gauges]

    assert weights == sorted(weights)
    assert all(0.5 < packing(over, gauge, kind) < 1.0 for gauge in gauges)
    assert wrap_area_m2(over, over, kind) == 0.0


def test_a_hexagon_is_as_large_and_as_stiff_as_its_points_say() -> None:
    grid = (np.arange(1600) + 0.5) / 1600 * 1.2 - 0.6  # covers a hexagon 1 across its flats
    x, y = np.meshgrid(grid, grid)
    turned = [
        abs(math.cos(a) * x + math.sin(a) * y) <= 0.5 for a in (0.0, math.pi / 3, 2 * math.pi / 3)
    ]
    inside = np.logical_and.reduce(turned)
    cell = (1.2 / 1600) ** 2

    assert core_area_m2(1.0, "hex") == pytest.approx(float(inside.sum()) * cell, rel=1e-3)
    assert second_moment_m4(1.0, "hex") == pytest.approx(
        float((inside * y**2).sum()) * cell, rel=1e-3
    )
    corner = float(np.sqrt((x**2 + y**2)[inside].max()))
    assert core_over_m(1.0, "hex") == pytest.approx(2 * corner, rel=2e-3)
    assert core_over_m(1.0, "round") == 1.0


def test_a_wound_string_weighs_its_core_and_its_wrap() -> None:
    wire = wound_wire(46 * MIL_M, STEEL, PLATED, core_m=16 * MIL_M, core_shape="round")

    # by hand: core pi/4 0.4064^2 mm2 of steel, pi/4 of the shell 1.1684 mm over it, plated steel
    by_hand = 0.129717e-6 * 7850 + math.pi / 4 * (1.072187e-6 - 0.129717e-6) * 7930

    assert wire.unit_kg_m == pytest.approx(by_hand, rel=1e-5)
    assert wire.carries_m2 == pytest.approx(0.129717e-6, rel=1e-5)
    assert not wire.core_assumed


def test_every_wound_gauge_on_sale_can_be_built_with_its_usual_core() -> None:
    for name, long_scale in (("steel_wound", False), ("steel_wound_long", True)):
        for mils in load_gauges()[name]:
            wire = wound_wire(mils * MIL_M, STEEL, PLATED, long_scale=long_scale)

            assert wire.core_assumed
            assert wire.core_m == typical_core_m(mils * MIL_M, long_scale)
            assert 0.25 < wire.core_m / wire.gauge_m < 0.7


def test_a_core_that_leaves_no_room_is_refused() -> None:
    with pytest.raises(WireError, match="leaves no room for a winding"):
        wound_wire(10 * MIL_M, STEEL, PLATED)


def test_heavier_metals_make_heavier_strings() -> None:
    wraps = sorted(
        (each for each in load_materials().values() if each.use == "wrap"),
        key=lambda each: each.density_kg_m3,
    )

    weights = [wound_wire(46 * MIL_M, STEEL, wrap).unit_kg_m for wrap in wraps]

    assert weights == sorted(weights)
    assert len(weights) == 5


def test_the_uncertainty_of_a_weight_comes_from_drawing_density_and_winding() -> None:
    plain = plain_wire(10 * MIL_M, STEEL)

    # 0.0002 in of 0.010, evenly spread: 2 * 2 % / sqrt(3) = 2.31 %, with 0.5 % of density
    assert plain.unit_percent == pytest.approx(math.hypot(2.309, 0.5), rel=1e-3)
    rising = [
        wound_wire(46 * MIL_M, STEEL, PLATED, kind).unit_percent
        for kind in ("round", "ground", "flat")
    ]
    assert rising == sorted(rising)


# ASTM A228, permissible variations in diameter (printed by wire mills beside its strengths).
@pytest.mark.parametrize(
    ("mils", "allowed"),
    [(4, 0.2), (10, 0.2), (10.5, 0.3), (28, 0.3), (30, 0.4), (63, 0.4), (80, 0.5), (105, 1.0)],
)
def test_wire_may_be_off_as_the_standard_permits(mils: float, allowed: float) -> None:
    assert wire_tolerance_m(mils * MIL_M) == pytest.approx(allowed * MIL_M)


@pytest.mark.parametrize("name", ["phosphor bronze", "PB", "Phosphor-Bronze", "phosphor_bronze"])
def test_materials_go_by_several_names(name: str) -> None:
    assert find_material(name).key == "phosphor-bronze"


def test_an_unknown_material_is_told_with_the_nearest_names() -> None:
    with pytest.raises(WireError, match="did you mean nickel"):
        find_material("nickle")
    with pytest.raises(WireError, match="there are steel, nylon, fluorocarbon, gut"):
        find_material("nickel-plated", "string")


def test_gauges_on_sale_rise() -> None:
    for sizes in load_gauges().values():
        assert list(sizes) == sorted(set(sizes))


def test_every_winding_has_words() -> None:
    assert set(SOUND) == {"plain", "round", "ground", "flat"}
