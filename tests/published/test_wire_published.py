"""Strings as wire against what is printed outside the project: worked examples and tables."""

from __future__ import annotations

import math

import pytest

from station.music.windings import plain_wire, wound_wire
from station.music.wire import Stretched, inharmonicity, pitch_hz, tension_n, unit_weight_kg_m
from station.music.wire_heat import USUAL
from station.music.wire_materials import find_material
from station.music.wire_strength import (
    KSI_PA,
    STEEL_A_KSI,
    STEEL_M,
    least_strength_pa,
    steel_modulus_pa,
    tensile_strength_pa,
)
from station.music.wire_units import (
    INCH_M,
    POUND_FORCE_N,
    POUND_PER_INCH_KG_M,
    parse_gauge,
    parse_length,
)

STEEL, PLATED = find_material("steel"), find_material("nickel-plated")
SCALE_M = 25.5 * INCH_M

# -- pull, pitch, weight --------------------------------------------------

# Unit weight (kg/m), speaking length (m), pitch (Hz), pull (N), and how closely it is printed.
WORKED = {
    # Bauer & Westfall, University Physics with Modern Physics, chapter 15, problem 10: a string
    # 0.750 m long of 5.00 g tuned to E (660 Hz); answer c) 6.53e3 N.
    "university physics, 660 Hz": (5.00e-3 / 0.750, 0.750, 660.0, 6.53e3, 1e-3),
    # Giambattista et al., College Physics, chapter 11, problem 67: 300.0 N, 2.0 m, 27.5 Hz;
    # answer 49.6 g in all.
    "college physics, 27.5 Hz": (0.0496 / 2.0, 2.0, 27.5, 300.0, 1e-3),
    # University of Minnesota, laboratory on strings: 1.25e-4 kg over 0.33 m at 640 Hz; 68 N.
    "laboratory, 640 Hz": (1.25e-4 / 0.33, 0.33, 640.0, 68.0, 8e-3),
    # Antonine Education, Physics 2, waves, question 3: 7.8125e-4 kg/m, 1.15 m, 50.0 Hz; 10.3 N.
    "school physics, 50 Hz": (7.8125e-4, 1.15, 50.0, 10.3, 5e-3),
    # Halliday, Resnick & Walker, Fundamentals of Physics, chapter 16, problem 83: 0.044 kg over
    # 0.90 m in four loops at 60 Hz, so 15 Hz in one; 36 N.
    "fundamentals of physics, 15 Hz": (0.044 / 0.90, 0.90, 15.0, 36.0, 1.5e-2),
    # Young & Freedman, University Physics, problem 15.74: 25.5 in, 78.0 N at 82.4, 196.0 and
    # 329.6 Hz. The unit weights by arithmetic: 78 / (1.2954 f)^2.
    "25.5 in, E2": (6.846e-3, 0.6477, 82.4, 78.0, 5e-4),
    "25.5 in, G3": (1.2100e-3, 0.6477, 196.0, 78.0, 5e-4),
    "25.5 in, E4": (4.2788e-4, 0.6477, 329.6, 78.0, 5e-4),
    # The same, (b): the E2 string brought to G3 pulls 78 (196.0 / 82.4)^2 = 441 N.
    "25.5 in, E2 tuned to G3": (6.846e-3, 0.6477, 196.0, 441.0, 1e-3),
}


@pytest.mark.parametrize("name", WORKED)
def test_worked_examples_of_textbooks_come_out(name: str) -> None:
    unit_kg_m, length_m, hz, pull_n, close = WORKED[name]

    assert tension_n(unit_kg_m, length_m, hz) == pytest.approx(pull_n, rel=close)
    assert unit_weight_kg_m(pull_n, length_m, hz) == pytest.approx(unit_kg_m, rel=close)
    assert pitch_hz(unit_kg_m, length_m, pull_n) == pytest.approx(hz, rel=close)


def test_waves_on_a_guitars_e_strings_run_as_in_the_textbook() -> None:
    """OpenStax, University Physics 1, section 16.3, the wave speed of a guitar string: 3.09e-4
    and 5.78e-3 kg/m, 56.40 N; 427.23 m/s, and 1055 N for the same speed (answers from memory)."""
    length_m = 0.65

    speed = 2 * length_m * pitch_hz(3.09e-4, length_m, 56.40)

    assert speed == pytest.approx(427.23, abs=0.01)
    assert tension_n(5.78e-3, length_m, speed / 2 / length_m) == pytest.approx(1055.0, abs=0.5)


def test_piano_wire_of_twenty_thousandths_pulls_as_a_piano_technician_reckons() -> None:
    """Piano technicians' mailing list, worked example: steel of 0.020 in and 0.283 lb/in3, 16 in
    long, at 440 Hz: 45.6 lb (with gravity at 32.2 ft/s2)."""
    unit = 0.283 * math.pi * 0.010**2 * POUND_PER_INCH_KG_M

    pull_lb = tension_n(unit, 16 * INCH_M, 440.0) / POUND_FORCE_N

    assert pull_lb == pytest.approx(45.6, rel=2e-3)


# By hand, at 7850 kg/m3 and 25.5 in: mu = 7850 pi/4 d^2, T = mu (2 0.6477 f)^2. E4 329.628,
# B3 246.942, G3 195.998 Hz (ISO 16 and equal temperament).
@pytest.mark.parametrize(
    ("gauge", "hz", "unit_kg_m", "pull_n", "pull_lb"),
    [
        (".010", 329.628, 3.9777e-4, 72.526, 16.304),
        (".011", 329.628, 4.8130e-4, 87.756, 19.728),
        (".012", 329.628, 5.7279e-4, 104.437, 23.478),
        (".013", 246.942, 6.7223e-4, 68.790, 15.464),
        (".016", 195.998, 1.01829e-3, 65.643, 14.757),
        (".017", 195.998, 1.14956e-3, 74.105, 16.660),
    ],
)
def test_plain_strings_pull_as_reckoned_by_hand(
    gauge: str, hz: float, unit_kg_m: float, pull_n: float, pull_lb: float
) -> None:
    string = Stretched(1, "E4", hz, parse_length("25.5in"), plain_wire(parse_gauge(gauge), STEEL))

    assert string.wire.unit_kg_m == pytest.approx(unit_kg_m, rel=2e-4)
    assert string.tension_n == pytest.approx(pull_n, rel=3e-4)
    assert string.tension_n / POUND_FORCE_N == pytest.approx(pull_lb, rel=3e-4)


# Unit weights in lb/in as the trade prints them on charts, from memory: plain steel, and nickel-
# plated steel round wound on a hexagonal core.
@pytest.mark.parametrize(
    ("mils", "lb_in"),
    [
        (10, 2.215e-5),
        (13, 3.744e-5),
        (17, 6.402e-5),
        (26, 1.267e-4),
        (36, 2.396e-4),
        (46, 3.822e-4),
    ],
)
def test_unit_weights_are_near_those_of_the_trade(mils: float, lb_in: float) -> None:
    gauge_m = mils * 1e-3 * INCH_M

    wire = plain_wire(gauge_m, STEEL) if mils < 20 else wound_wire(gauge_m, STEEL, PLATED)

    off_percent = 100 * (wire.unit_kg_m / POUND_PER_INCH_KG_M / lb_in - 1)
    assert abs(off_percent) < 2 * wire.unit_percent


# -- strength -------------------------------------------------------------

# ASTM A228, least tensile strength in ksi by diameter in inches, as wire mills print it.
A228_KSI = {
    0.004: 439, 0.005: 426, 0.006: 415, 0.007: 407, 0.008: 399, 0.009: 393, 0.010: 387, 0.011: 382,
    0.012: 377, 0.013: 373, 0.014: 369, 0.015: 365, 0.016: 362, 0.018: 356, 0.020: 350, 0.022: 345,
    0.024: 341, 0.026: 337, 0.028: 333, 0.030: 330, 0.032: 327, 0.036: 321, 0.040: 315, 0.045: 309,
    0.051: 303, 0.059: 296, 0.063: 293,
}  # fmt: skip


@pytest.mark.parametrize("inches", A228_KSI)
def test_margins_are_never_reckoned_with_more_than_the_standard_promises(inches: float) -> None:
    promised = A228_KSI[inches]

    reckoned = least_strength_pa(STEEL, inches * INCH_M) / KSI_PA

    assert 0.985 * promised < reckoned <= promised


@pytest.mark.parametrize("inches", A228_KSI)
def test_the_handbooks_law_follows_the_standard_within_two_and_a_half_percent(
    inches: float,
) -> None:
    assert tensile_strength_pa(inches * INCH_M) / KSI_PA == pytest.approx(
        A228_KSI[inches], rel=0.025
    )


def test_the_law_gives_the_handbooks_own_examples() -> None:
    # Shigley's Mechanical Engineering Design, solutions to chapter 10: 0.105 in has 278.7 kpsi
    # (problem 10-3); A is 2214 MPa mm^m from 201 kpsi in^m (problem 10-2), 2211 in its table.
    assert tensile_strength_pa(0.105 * INCH_M) / KSI_PA == pytest.approx(278.7, abs=0.05)
    in_si = STEEL_A_KSI * KSI_PA * 1e-6 * 25.4**STEEL_M
    assert in_si == pytest.approx(2214, rel=1e-3)
    assert in_si == pytest.approx(2211, rel=2e-3)


# The same, table 10-5, music wire: GPa by diameter in inches.
@pytest.mark.parametrize(
    ("inches", "gpa"), [(0.010, 203.4), (0.031, 203.4), (0.033, 200), (0.063, 200), (0.064, 196.5),
                        (0.125, 196.5), (0.130, 193)]
)  # fmt: skip
def test_the_modulus_is_the_handbooks(inches: float, gpa: float) -> None:
    assert steel_modulus_pa(inches * INCH_M) == pytest.approx(gpa * 1e9)


# -- stiffness ------------------------------------------------------------


@pytest.mark.parametrize(
    ("mils", "length_in", "hz"), [(31, 5.0, 1046.5), (39, 15.0, 440.0), (45, 40.0, 130.8)]
)
def test_inharmonicity_is_that_of_piano_makers(mils: float, length_in: float, hz: float) -> None:
    """Two makers' formulas for plain wire, in cents of the first partial, 1731/2 B.

    McFerrin, The Piano: its Acoustics, section 4.5: 3.4e13 d^2 / (f^2 L^4), in centimetres.
    Fairchild: d^4 / (81 L^2 T), d in thousandths, L in inches, T in pounds. (Both as quoted on the
    piano technicians' mailing list.)
    """
    string = Stretched(1, "A4", hz, length_in * INCH_M, plain_wire(mils * 1e-3 * INCH_M, STEEL))
    cents = 1731 / 2 * string.inharmonicity

    d_cm, length_cm = mils * 2.54e-3, length_in * 2.54
    assert cents == pytest.approx(3.4e13 * d_cm**2 / (hz**2 * length_cm**4), rel=0.03)
    pull_lb = string.tension_n / POUND_FORCE_N
    assert cents == pytest.approx(mils**4 / (81 * length_in**2 * pull_lb), rel=0.03)


def test_inharmonicity_of_bending_stiffness_is_the_books() -> None:
    # Fletcher & Rossing: pi^3 E d^4 / (64 T L^2) is pi^2 E I / (T L^2) with I = pi d^4 / 64
    d, modulus, pull, length = 0.4e-3, 2e11, 70.0, 0.65

    general = inharmonicity(modulus * math.pi * d**4 / 64, pull, length)

    assert general == pytest.approx(math.pi**3 * modulus * d**4 / (64 * pull * length**2))


# -- heat -----------------------------------------------------------------


def test_the_moduluss_change_lies_within_the_tables_slopes() -> None:
    # Roark's Formulas for Stress and Strain, effect of temperature on the modulus, carbon steel of
    # more than 0.3 % carbon: 206.8, 202.0, 197.2 GPa at -73, 21, 93 degrees Celsius.
    below = (202.0 - 206.8) / (21 - -73) / 202.0
    above = (197.2 - 202.0) / (93 - 21) / 202.0

    assert above < USUAL.modulus < below
    assert pytest.approx((above + below) / 2, rel=0.02) == USUAL.modulus


def test_expansions_lie_within_tables() -> None:
    # Music wire 12e-6 (materials tables, A228), carbon steel 11.7e-6 (from memory); wood along
    # the grain 3.1 to 4.5e-6 (Wood Handbook, from memory), 3 to 5e-6 in engineers' tables.
    assert 11e-6 < USUAL.string < 12.1e-6
    assert 3.1e-6 < USUAL.neck < 4.5e-6
