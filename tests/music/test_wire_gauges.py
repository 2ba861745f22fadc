"""Gauges that keep the feel, proved by trying every string on sale."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from station.errors import WireError
from station.music.gauge_set import set_on_instrument
from station.music.gauges import alternatives, gauges_on_sale, keep_feel, keep_feel_of_set
from station.music.tunings import find_instrument, find_tuning, tuning_names
from station.music.windings import Wire, plain_wire, typical_core_m, wound_wire
from station.music.wire import Stretched
from station.music.wire_materials import find_material, load_gauges
from station.music.wire_units import INCH_M, parse_force

MIL_M = 1e-3 * INCH_M
STEEL, PLATED = find_material("steel"), find_material("nickel-plated")
SCALE_M = 25.5 * INCH_M
SETS = {
    "guitar": ".010,.013,.017,.026w,.036w,.046w", "guitar-7": "10,13,17,26,36,46,59",
    "bass": "45,65,85,105", "mandolin": "10,14,24,38", "ukulele": "24,32,40,28",
    "banjo": "10,12,16,23,10",
}  # fmt: skip
RETUNINGS = [
    name for name in tuning_names() if name.split(":")[0] in SETS
]  # fmt: skip


def pull_by_hand(string: Stretched, hz: float, mils: float) -> float:
    """T = mu (2 L f)^2 with densities and areas written out anew: plain, or round wound on hex."""
    wire, d = string.wire, mils * 25.4e-6
    if wire.winding == "plain":
        unit = wire.material.density_kg_m3 * math.pi * d**2 / 4
    else:
        s = typical_core_m(d, string.length_m >= 0.762)
        shell = math.pi / 4 * (d**2 - 4 * s**2 / 3)
        unit = 7850 * s**2 * math.sqrt(0.75) + 7930 * math.pi / 4 * shell
    return unit * 4 * string.length_m**2 * hz**2


@pytest.mark.parametrize("name", RETUNINGS)
def test_no_gauge_on_sale_comes_nearer_to_the_same_pull(name: str) -> None:
    instrument = name.split(":")[0]
    strings = set_on_instrument(find_tuning(instrument), SETS[instrument])
    targets = [(s.target_hz(), s.note) for s in find_tuning(instrument, name.split(":")[1]).strings]

    found = keep_feel_of_set(strings, targets)

    for string, (hz, note), choice in zip(strings, targets, found, strict=True):
        assert choice is not None
        assert (choice.stretched.note, choice.stretched.hz) == (note, hz)
        if math.isclose(hz, string.hz):
            assert choice.stretched.wire == string.wire
            continue
        lists = load_gauges()
        plain = "nylon_plain" if instrument == "ukulele" else "steel_plain"
        wound = "steel_wound_long" if instrument == "bass" else "steel_wound"
        sizes = lists[plain if string.wire.winding == "plain" else wound]
        off = {
            mils: abs(math.log(pull_by_hand(string, hz, mils) / string.tension_n)) for mils in sizes
        }
        best = min(sizes, key=lambda mils: off[mils])
        assert choice.stretched.wire.gauge_m / MIL_M == pytest.approx(best)
        assert choice.percent == pytest.approx(
            100 * (pull_by_hand(string, hz, best) / string.tension_n - 1), abs=1e-6
        )
        assert choice.near == (abs(choice.percent) <= 5)


def test_half_a_step_down_a_set_of_tens_becomes_one_of_ten_and_a_half() -> None:
    strings = set_on_instrument(find_tuning("guitar"), SETS["guitar"])
    down = [(s.target_hz(), s.note) for s in find_tuning("guitar", "half-step-down").strings]

    found = keep_feel_of_set(strings, down)

    # by hand: every gauge times 2^(1/12) = 1.0595: 10.6, 13.8, 18.0, 27.5, 38.1, 48.7
    mils = [round(each.stretched.wire.gauge_m / MIL_M, 1) for each in found]
    assert mils == [10.5, 14, 18, 28, 38, 49]


@pytest.mark.parametrize("mils", [10, 17, 26, 46])
@pytest.mark.parametrize("semitones", [-4, -2, -1, 1, 2])
def test_keeping_the_bending_too_no_string_on_sale_is_a_better_compromise(
    mils: int, semitones: int
) -> None:
    wire = plain_wire(mils * MIL_M, STEEL) if mils < 20 else wound_wire(mils * MIL_M, STEEL, PLATED)
    string = Stretched(3, "G3", 196.0, SCALE_M, wire)
    hz = 196.0 * 2 ** (semitones / 12)

    choice = keep_feel(string, hz, "X", bending=True, wrap=PLATED)

    every = [plain_wire(m * MIL_M, STEEL) for m in load_gauges()["steel_plain"]]
    every += [wound_wire(m * MIL_M, STEEL, PLATED) for m in load_gauges()["steel_wound"]]

    def off(other: Wire) -> float:
        pull = math.log(other.unit_kg_m / wire.unit_kg_m) + 2 * math.log(hz / 196.0)
        return pull**2 + math.log(other.stretch_n / wire.stretch_n) ** 2

    assert off(choice.stretched.wire) == pytest.approx(min(map(off, every)), rel=1e-9)


def test_keeping_the_bending_too_lies_between_the_old_gauge_and_the_same_pull() -> None:
    string = Stretched(1, "E4", 329.63, SCALE_M, plain_wire(10 * MIL_M, STEEL))
    low = 329.63 * 2 ** (-4 / 12)

    pull, both = (keep_feel(string, low, "C4", bending=each) for each in (False, True))

    # by hand: same pull 10 * 2^(4/12) = 12.6; halfway in the logarithm 10 * 2^(2/12) = 11.2
    assert pull.stretched.wire.gauge_m / MIL_M == pytest.approx(12.5)
    assert both.stretched.wire.gauge_m / MIL_M == pytest.approx(11.0)


def test_a_pull_can_be_wished_for() -> None:
    strings = set_on_instrument(find_tuning("guitar"), SETS["guitar"])
    here = [(each.hz, each.note) for each in strings]

    found = keep_feel_of_set(strings, here, pull_n=parse_force("20lb"))

    assert all(abs(each.percent) < 6 for each in found)
    assert all(each.stretched.tension_n == pytest.approx(89, rel=0.06) for each in found)


def test_plain_strings_stay_plain_and_wound_ones_wound_as_they_are() -> None:
    flat = Stretched(6, "E2", 82.41, SCALE_M, wound_wire(46 * MIL_M, STEEL, PLATED, "flat"))
    plain = Stretched(3, "G3", 196.0, SCALE_M, plain_wire(17 * MIL_M, STEEL))

    assert {w.winding for w in alternatives(flat)} == {"flat"}
    assert {w.winding for w in alternatives(plain)} == {"plain"}
    assert {w.winding for w in alternatives(plain, PLATED)} == {"plain", "round"}
    assert {w.winding for w in alternatives(flat, PLATED)} == {"plain", "flat"}


def test_every_choice_can_be_bought() -> None:
    long_bass = Stretched(4, "E1", 41.2, 34 * INCH_M, wound_wire(105 * MIL_M, STEEL, PLATED))

    mils = [gauge / MIL_M for gauge in gauges_on_sale(long_bass.wire, True)]

    assert mils == pytest.approx(load_gauges()["steel_wound_long"])
    assert find_instrument("bass").scale_length_mm == 864


def test_a_string_known_by_weight_alone_has_no_other_gauge() -> None:
    string = Stretched(5, "A2", 110.0, 0.65, Wire(None, STEEL, given_kg_m=4e-3))

    with pytest.raises(WireError, match="a gauge is needed"):
        keep_feel(string, 98.0, "G2")
    assert keep_feel_of_set([string], [(98.0, "G2")]) == [None]
    [same] = keep_feel_of_set([string], [(110.0, "A2")])
    assert same.percent == 0.0


def test_beyond_the_list_the_nearest_is_said_not_to_be_near() -> None:
    string = Stretched(1, "E4", 329.63, SCALE_M, plain_wire(10 * MIL_M, STEEL))

    choice = keep_feel(string, 329.63 / 4, "E2")

    assert choice.stretched.wire.gauge_m / MIL_M == pytest.approx(26)
    assert not choice.near
    assert replace(choice, near=True) != choice
