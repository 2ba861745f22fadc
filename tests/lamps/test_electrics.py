"""Lamps on 3.3 V: the resistor, and what flows at the least and at the most."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import LampMapError
from station.lamps.animation import QUIET_SHARE
from station.lamps.column import FADED
from station.lamps.electrics import (
    DARK_THRESHOLD_LX,
    DIODES,
    FORWARD_V,
    LOW_BELOW_V,
    PIN_LIMIT_MA,
    PIN_OHM,
    PULL_UP_OHM,
    SUPPLY_V,
    TOTAL_LIMIT_MA,
    WANTED_MA,
    at_eye_lx,
    current_ma,
    currents,
    seen_threshold_lx,
    series_resistor_ohm,
)
from station.lamps.pins import BAND, COLUMN

RESISTOR_OHM = {"amber": 330, "white": 150, "blue": 150}


@pytest.mark.parametrize("colour", DIODES)
def test_each_colour_has_the_resistor_of_ohms_law(colour):
    # By hand: 1.3 V / 4 mA = 325 ohm, next 330; 0.4 V / 3 mA = 133 ohm, next 150.
    assert series_resistor_ohm(FORWARD_V[colour], WANTED_MA[colour]) == RESISTOR_OHM[colour]


@pytest.mark.parametrize(
    ("colour", "supply_v", "ohm", "rated_v", "flows_ma", "at_v"),
    [
        # By hand: at 6.245 mA a blue LED rated 2.8 V has 2.8 + 0.075 ln(6.245 / 20)
        # + 10 x (0.006245 - 0.02) = 2.8 - 0.0873 - 0.1376 = 2.575 V; 3.465 V - 2.575 V over
        # 0.95 x 150 = 142.5 ohm is 6.245 mA.
        ("blue", 3.465, 142.5, 2.8, 6.245, 2.575),
        # 1.8 + 0.05 ln(5.738 / 20) + 5 x (0.005738 - 0.02) = 1.8 - 0.0624 - 0.0713 = 1.666 V;
        # (3.465 - 1.666) / 313.5 ohm = 5.738 mA.
        ("amber", 3.465, 313.5, 1.8, 5.738, 1.666),
        # 3.2 + 0.075 ln(1.276 / 20) + 10 x (0.001276 - 0.02) = 3.2 - 0.2064 - 0.1872 = 2.806 V;
        # (3.135 - 2.806) / (157.5 + 100) ohm = 1.276 mA.
        ("blue", 3.135, 257.5, 3.2, 1.276, 2.806),
    ],
    ids=["blue at the most", "amber at the most", "blue at the least"],
)
def test_what_flows_solves_the_circuit(colour, supply_v, ohm, rated_v, flows_ma, at_v):
    found_ma = current_ma(supply_v, ohm, DIODES[colour], rated_v)

    assert found_ma == pytest.approx(flows_ma, abs=0.002)
    assert DIODES[colour].forward_v(found_ma, rated_v) == pytest.approx(at_v, abs=0.001)


def test_the_extremes_are_the_worst_of_everything_at_once():
    blue = currents("blue", 150)

    assert blue.most_ma == pytest.approx(6.245, abs=0.002)
    assert blue.least_ma == pytest.approx(1.276, abs=0.002)


def test_a_pin_loses_no_more_than_its_data_sheet_says():
    # Compute Module Datasheet 1.0, table 5: at least 2.5 V of 2.7 V at 2 mA.
    assert pytest.approx((2.7 - 2.5) / 0.002) == PIN_OHM


@pytest.mark.parametrize("colour", DIODES)
def test_every_lamp_is_lit_even_at_the_least_and_no_pin_is_overloaded_at_the_most(colour):
    flows = currents(colour, RESISTOR_OHM[colour])

    assert 1.0 < flows.least_ma < flows.usual_ma < flows.most_ma < PIN_LIMIT_MA == 8.0
    assert flows.least_ma > 0.3 * flows.usual_ma


def test_all_lamps_at_the_most_stay_within_the_boards_limit():
    # By hand: 3 x 5.738 + 5 x 6.245 = 48.44 mA.
    total_ma = sum(lamp.worst_ma for lamp in (*COLUMN, BAND))

    assert total_ma == pytest.approx(48.44, abs=0.02)
    assert total_ma < TOTAL_LIMIT_MA == 50.0


def test_a_blue_led_of_3_4_volts_is_still_lit_but_dim():
    # What the guide says of it: some 0.7 mA.
    assert current_ma(0.95 * SUPPLY_V, 257.5, DIODES["blue"], 3.4) == pytest.approx(0.7, abs=0.01)


@given(
    st.sampled_from(sorted(DIODES)),
    st.floats(10.0, 1e6),
    st.floats(0.0, 5.5),
)
def test_whatever_the_resistor_supply_and_load_agree(colour, ohm, supply_v):
    diode = DIODES[colour]
    flows_ma = current_ma(supply_v, ohm, diode, diode.usual_v)
    across_v = diode.forward_v(max(flows_ma, 1e-9), diode.usual_v) + flows_ma * ohm / 1000.0

    assert 0.0 < flows_ma < 1000.0
    if supply_v > diode.usual_v:
        assert across_v == pytest.approx(supply_v, abs=0.02 + 1e-4 * ohm / 1000.0)


@pytest.mark.parametrize("forward_v", [3.3, 4.0, -0.1, math.nan, math.inf])
def test_a_lamp_that_the_supply_cannot_light_is_refused(forward_v):
    with pytest.raises(LampMapError, match=r"cannot be lit from 3\.3 V"):
        series_resistor_ohm(forward_v, 3.0)


@pytest.mark.parametrize("wanted_ma", [0.0, -1.0, math.nan, math.inf, 1e-9])
def test_a_current_that_cannot_be_meant_is_refused(wanted_ma):
    with pytest.raises(LampMapError) as refused:
        series_resistor_ohm(2.0, wanted_ma)

    assert "\n" not in str(refused.value)


def test_a_button_needs_no_resistor_and_bears_one_of_a_kilohm():
    # By hand: 3.3 V / 50 kilohm = 66 microampere; 3.3 V x 1 / 51 = 65 mV.
    assert 1e6 * SUPPLY_V / PULL_UP_OHM[0] == pytest.approx(66.0)
    assert SUPPLY_V * 1000.0 / (1000.0 + PULL_UP_OHM[0]) == pytest.approx(0.0647, abs=1e-4)
    assert LOW_BELOW_V > 0.0647


# -- how far it is seen --------------------------------------------------------


def test_in_the_dark_the_threshold_is_that_of_signal_lighting():
    # IES Lighting Library, "nominal range of a light signal": 0.2 microlux in dark conditions.
    assert seen_threshold_lx(0.0) == pytest.approx(DARK_THRESHOLD_LX, rel=0.25)
    # By day, 10000 cd/m2, signal lighting asks 1 millilux: from memory.
    assert seen_threshold_lx(10_000.0) == pytest.approx(1e-3, rel=0.01)


def test_the_worst_lamp_in_quiet_is_seen_at_three_metres_in_a_lit_room():
    # By hand: 0.2 cd x 1.276 / 20 x 0.25 / 9 m2 = 0.354 millilux; the wall asks
    # 0.242 x (1 + sqrt(12))^2 = 4.82 microlux.
    worst_lx = at_eye_lx(200.0, currents("blue", 150).least_ma, QUIET_SHARE, 3.0)

    assert worst_lx == pytest.approx(0.354e-3, rel=0.01)
    assert seen_threshold_lx(30.0) == pytest.approx(4.82e-6, rel=0.01)
    assert worst_lx / seen_threshold_lx(30.0) == pytest.approx(73.5, rel=0.02)
    assert FADED * worst_lx > 7 * seen_threshold_lx(30.0)


def test_the_usual_lamp_in_quiet_is_conspicuous_at_three_metres():
    usual_lx = at_eye_lx(200.0, currents("blue", 150).usual_ma, QUIET_SHARE, 3.0)

    assert usual_lx == pytest.approx(1.08e-3, rel=0.01)
    assert usual_lx > 100 * seen_threshold_lx(30.0)
