"""Levels, pads, capacitors, transformers and pickups against arithmetic by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hw.line_levels import (
    BLOCKING_F,
    BRIDGING_OHM,
    DBU_0_V,
    INSTRUMENT_OHM,
    LINE_INPUT_OHM,
    LOWEST_HZ,
    PADS,
    PHANTOM_V,
    PICKUP_H,
    PICKUP_OHM,
    PIEZO_F,
    corner_hz,
    daily_s,
    dbu_to_v,
    dbv_to_v,
    high_pass_db,
    pad_db,
    pad_input_ohm,
    parallel_ohm,
    pickup_corner_hz,
    pickup_loss_db,
    reflected_ohm,
    speaker_v,
    turns_ratio,
    v_to_dbu,
    v_to_dbv,
)


def test_nominal_levels_are_those_of_the_standards():
    # 0 dBV = 1 V; 0 dBu = sqrt(0.6) V, 1 mW in 600 ohm: IEC 60268, from memory.
    assert pytest.approx(0.7746, abs=5e-5) == DBU_0_V
    assert pytest.approx(1e-3) == DBU_0_V**2 / 600.0
    assert dbv_to_v(-10.0) == pytest.approx(0.316, abs=5e-4)
    assert dbu_to_v(4.0) == pytest.approx(1.228, abs=5e-4)


def test_studio_is_eleven_point_eight_decibels_above_consumer():
    # By hand: 20 log10(1.228 / 0.316) = 11.79 dB.
    assert v_to_dbv(dbu_to_v(4.0)) - -10.0 == pytest.approx(11.79, abs=0.01)


@given(st.floats(-120.0, 60.0))
def test_levels_and_volts_are_inverse(level):
    assert v_to_dbu(dbu_to_v(level)) == pytest.approx(level, abs=1e-9)
    assert v_to_dbv(dbv_to_v(level)) == pytest.approx(level, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "loss_db", "from_600_db", "seen_ohm"),
    [
        # 1.2 x 10 / 11.2 = 1.0714 kohm; 1.0714 / 11.0714 = 0.09677: -20.28 dB;
        # from 600 ohm 1.0714 / 11.6714 = 0.0918: -20.74 dB.
        ("20 dB", -20.28, -20.74, 11_071.0),
        # 4.7 x 10 / 14.7 = 3.1973 kohm; 3.1973 / 13.1973 = 0.2423: -12.31 dB;
        # from 600 ohm 3.1973 / 13.7973 = 0.2317: -12.70 dB.
        ("12 dB", -12.31, -12.70, 13_197.0),
    ],
)
def test_a_pad_takes_away_what_the_divider_says(name, loss_db, from_600_db, seen_ohm):
    series, shunt = PADS[name]

    assert pad_db(series, shunt) == pytest.approx(loss_db, abs=0.01)
    assert pad_db(series, shunt, source_ohm=600.0) == pytest.approx(from_600_db, abs=0.01)
    assert pad_input_ohm(series, shunt) == pytest.approx(seen_ohm, abs=1.0)


def test_a_pad_is_what_kirchhoffs_node_equations_give():
    # Two nodes solved as a matrix: the source drives R1 into a node held by R2 and the load.
    for series, shunt in PADS.values():
        g1, g2, g_load, g_source = 1 / series, 1 / shunt, 1 / LINE_INPUT_OHM, 1 / 600.0
        conductances = np.array([[g_source + g1, -g1], [-g1, g1 + g2 + g_load]])
        volts = np.linalg.solve(conductances, np.array([g_source, 0.0]))

        assert 20 * math.log10(volts[1]) == pytest.approx(pad_db(series, shunt, source_ohm=600.0))


@pytest.mark.parametrize("name", PADS)
@pytest.mark.parametrize("load_ohm", [10_000.0, 22_000.0, 47_000.0])
def test_no_pad_loads_a_source_more_than_bridging_allows(name, load_ohm):
    assert pad_input_ohm(*PADS[name], load_ohm) >= BRIDGING_OHM


def test_behind_the_larger_pad_a_studio_outputs_peaks_reach_a_card_of_two_volts():
    # By hand: +24 dBu is 12.28 V; less 20.28 dB is 1.19 V.
    assert dbu_to_v(24.0) == pytest.approx(12.28, abs=0.01)
    assert dbu_to_v(24.0) * 10 ** (pad_db(*PADS["20 dB"]) / 20) == pytest.approx(1.188, abs=0.005)


@pytest.mark.parametrize("name", PADS)
def test_the_capacitors_corner_lies_a_decade_below_the_lowest_note(name):
    # By hand for 20 dB: 1 / (2 pi x 11.07 kohm x 10 uF) = 1.44 Hz; at 27.5 Hz
    # 10 log10(1 + (1.44 / 27.5)^2) = 0.012 dB.
    corner = corner_hz(pad_input_ohm(*PADS[name]), BLOCKING_F)

    assert corner < LOWEST_HZ / 10
    assert high_pass_db(LOWEST_HZ, corner) > -0.02
    if name == "20 dB":
        assert corner == pytest.approx(1.44, abs=0.01)
        assert high_pass_db(LOWEST_HZ, corner) == pytest.approx(-0.0119, abs=1e-4)


def test_at_its_corner_a_capacitor_takes_three_decibels():
    assert high_pass_db(50.0, 50.0) == pytest.approx(-3.01, abs=0.01)


def test_a_transformer_of_ten_kilohms_to_six_hundred_makes_studio_level_consumer_level():
    # By hand: sqrt(10000 / 600) = 4.08; 20 log10(4.08) = 12.2 dB; 10 kohm x 4.08^2 = 167 kohm.
    ratio = turns_ratio(10_000.0, 600.0)

    assert ratio == pytest.approx(4.08, abs=0.005)
    assert v_to_dbv(dbu_to_v(4.0) / ratio) == pytest.approx(-10.4, abs=0.05)
    assert reflected_ohm(10_000.0, ratio) == pytest.approx(166_700.0, abs=100.0)


def test_one_to_one_a_transformer_shows_the_source_its_load():
    assert turns_ratio(10_000.0, 10_000.0) == 1.0
    assert reflected_ohm(11_071.0, 1.0) == 11_071.0


def test_a_line_input_dulls_and_weakens_a_pickup_and_an_instrument_input_does_not():
    # By hand: 20 log10(10 / 18) = -5.1 dB, 18 kohm / (2 pi 3 H) = 955 Hz;
    # 20 log10(1000 / 1008) = -0.07 dB.
    assert pickup_loss_db(PICKUP_OHM, LINE_INPUT_OHM) == pytest.approx(-5.1, abs=0.01)
    assert pickup_corner_hz(PICKUP_OHM, PICKUP_H, LINE_INPUT_OHM) == pytest.approx(955, abs=0.5)
    assert pickup_loss_db(PICKUP_OHM, INSTRUMENT_OHM) == pytest.approx(-0.07, abs=0.005)
    assert pickup_corner_hz(PICKUP_OHM, PICKUP_H, INSTRUMENT_OHM) > 50_000


@pytest.mark.parametrize(("load_ohm", "hz"), [(1e4, 15_915.0), (1e6, 159.2), (1e7, 15.92)])
def test_a_piezo_pickup_needs_megohms(load_ohm, hz):
    # By hand: 1 / (2 pi x 10 kohm x 1 nF) = 15.9 kHz, and a hundredth, a thousandth of it.
    assert corner_hz(load_ohm, PIEZO_F) == pytest.approx(hz, rel=1e-3)


def test_a_loudspeaker_output_is_far_above_any_line():
    # By hand: sqrt(100 W x 8 ohm) = 28.3 V; 20 log10(28.3 / 1.228) = 27.3 dB.
    assert speaker_v(100.0, 8.0) == pytest.approx(28.28, abs=0.01)
    assert v_to_dbu(speaker_v(100.0, 8.0)) - 4.0 == pytest.approx(27.25, abs=0.01)


@pytest.mark.parametrize(("name", "step_v"), [("20 dB", 2.88), ("12 dB", 7.67)])
def test_phantom_power_switched_on_is_a_step_of_volts_behind_a_pad(name, step_v):
    # By hand: 48 V x 1.071 / (6.8 + 11.071) = 2.88 V, 48 V x 3.197 / (6.8 + 13.197) = 7.67 V;
    # 48 V through 6.8 kohm in each leg: IEC 61938, from memory.
    share = 10 ** (pad_db(*PADS[name], source_ohm=6_800.0) / 20)

    assert PHANTOM_V * share == pytest.approx(step_v, abs=0.01)


def test_a_dose_of_sound_halves_every_three_decibels():
    # NIOSH 98-126, from memory: 85 dB(A) 8 h, 88 dB(A) 4 h, 100 dB(A) 15 min.
    assert [daily_s(level) for level in (85.0, 88.0, 100.0)] == pytest.approx(
        [8 * 3600.0, 4 * 3600.0, 900.0]
    )


@given(st.lists(st.floats(1.0, 1e7), min_size=1, max_size=5))
def test_resistances_side_by_side_are_less_than_the_least(resistances):
    assert parallel_ohm(*resistances) <= min(resistances) * (1 + 1e-12)
