"""What heat does to strings on a neck, against the same equilibrium found another way."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, minimize_scalar

from station.errors import WireError
from station.music.windings import Wire, plain_wire, wound_wire
from station.music.wire import Stretched
from station.music.wire_heat import (
    USUAL,
    Heat,
    at_first,
    drift_cents,
    drifts,
    rigid,
    slope_cents,
)
from station.music.wire_materials import find_material
from station.music.wire_units import INCH_M

MIL_M = 1e-3 * INCH_M
STEEL, PLATED = find_material("steel"), find_material("nickel-plated")
SCALE_M = 25.5 * INCH_M
TUNED = ((329.63, 10), (246.94, 13), (196.0, 17), (146.83, 26), (110.0, 36), (82.41, 46))


def string(number: int, hz: float, mils: float) -> Stretched:
    wire = plain_wire(mils * MIL_M, STEEL) if mils < 22 else wound_wire(mils * MIL_M, STEEL, PLATED)
    return Stretched(number, "E4", hz, SCALE_M, wire)


SET = [string(number, hz, mils) for number, (hz, mils) in enumerate(TUNED, 1)]


def by_energy(strings: list[Stretched], degrees: float, heat: Heat) -> list[float]:
    """Cents from the length at which neck and springs together hold the least elastic energy.

    Everything in metres and newtons; the neck is a spring of its own natural length, each string
    one of its own, both lengths having grown with the temperature.
    """
    pulls = np.array([each.tension_n for each in strings])
    stretch = np.array([each.wire.stretch_n for each in strings])
    natural = SCALE_M / (1 + pulls / stretch) * (1 + heat.string * degrees)
    stiff = stretch * (1 + heat.modulus * degrees) * (1 + heat.string * degrees) ** 2
    neck = SCALE_M / (1 - pulls.sum() / heat.stiffness_n) * (1 + heat.neck * degrees)

    def energy(length: float) -> float:
        strings_j: NDArray[np.float64] = stiff / natural * (length - natural) ** 2 / 2
        return float(strings_j.sum() + heat.stiffness_n / neck * (length - neck) ** 2 / 2)

    found = minimize_scalar(
        lambda grown: energy(SCALE_M * (1 + grown * 1e-3)), bracket=(-1.0, 1.0), tol=1e-12
    )
    length = SCALE_M * (1 + found.x * 1e-3)
    mass = np.array([each.wire.unit_kg_m * SCALE_M for each in strings])  # stays between its ends
    now = stiff * (length / natural - 1)
    before_hz, after_hz = np.sqrt(pulls / mass / SCALE_M), np.sqrt(now / mass / length)
    cents: NDArray[np.float64] = 1200 * np.log2(after_hz / before_hz)
    return list(map(float, cents))


@pytest.mark.parametrize("degrees", [-25.0, -8.0, 3.0, 20.0])
@pytest.mark.parametrize("heat", [USUAL, at_first(), replace(USUAL, stiffness_n=3e5)], ids=str)
def test_the_equilibrium_is_that_of_least_energy(degrees: float, heat: Heat) -> None:
    assert drift_cents(SET, degrees, heat) == pytest.approx(by_energy(SET, degrees, heat), abs=2e-3)


def test_a_balance_of_forces_found_by_bisection_agrees_closely() -> None:
    degrees, heat = -8.0, USUAL
    pulls = [each.tension_n for each in SET]
    stretch = [each.wire.stretch_n for each in SET]
    grown = 1 + heat.string * degrees
    warm = (1 + heat.modulus * degrees) * grown**2
    natural = [grown / (1 + t / s) for t, s in zip(pulls, stretch, strict=True)]
    neck = (1 + heat.neck * degrees) / (1 - sum(pulls) / heat.stiffness_n)

    def left_over(length: float) -> float:
        inward = sum(s * warm * (length / n - 1) for s, n in zip(stretch, natural, strict=True))
        return inward - heat.stiffness_n * (1 - length / neck)

    length = brentq(left_over, 0.99, 1.01, xtol=1e-15)

    expected = [
        600 * math.log2(s * warm * (length / n - 1) / t / length)
        for s, n, t in zip(stretch, natural, pulls, strict=True)
    ]
    assert drift_cents(SET, degrees) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("each", SET, ids=lambda each: f"string {each.number}")
def test_on_a_rigid_neck_the_formula_is_the_slope_of_the_equilibrium(each: Stretched) -> None:
    up, down = (drift_cents([each], d, rigid())[0] for d in (1e-3, -1e-3))

    assert slope_cents(each) == pytest.approx((up - down) / 2e-3, rel=1e-6)


def test_a_first_string_by_hand() -> None:
    """E4 on .010 at 25.5 in: e = 72.5 N / (203.4 GPa 0.05067 mm2) = 0.00703; then the formula."""
    strain = 72.5 / (203.4e9 * 0.050671e-6)
    pull = -2.9e-4 + 2 * 11.7e-6 + (3.8e-6 - 11.7e-6) * (1 + strain) / strain
    by_hand = 1200 / math.log(2) * (pull / 2 - 3.8e-6 / 2)

    assert slope_cents(SET[0]) == pytest.approx(by_hand, rel=1e-3)
    assert by_hand == pytest.approx(-1.21, abs=0.01)


def test_cold_sharpens_and_warmth_flattens_all_strings_of_steel() -> None:
    assert all(cents > 0 for cents in drift_cents(SET, -8))
    assert all(cents < 0 for cents in drift_cents(SET, 8))
    assert drift_cents(SET, 0.0) == pytest.approx([0.0] * 6, abs=1e-9)


def test_a_neck_that_gives_drifts_less_than_a_rigid_one() -> None:
    soft, stiff = drift_cents(SET, -8), drift_cents(SET, -8, rigid())

    assert all(abs(one) < abs(other) for one, other in zip(soft, stiff, strict=True))


def test_at_first_it_is_worse_than_when_all_has_settled() -> None:
    first, settled = drift_cents(SET, -8, at_first()), drift_cents(SET, -8)

    assert all(one > other for one, other in zip(first, settled, strict=True))


def test_strings_of_little_strain_drift_most() -> None:
    strains = [each.tension_n / each.wire.stretch_n for each in SET]
    cents = drift_cents(SET, -8, rigid())

    by_strain = [c for _, c in sorted(zip(strains, cents, strict=True))]
    assert by_strain == sorted(by_strain, reverse=True)


def test_at_a_pull_that_stays_only_length_and_weight_change() -> None:
    """By hand: half of 11.7e-6 up, 3.8e-6 down a degree, without what the section's growth takes
    off the strain (7 thousandths of 23e-6 at most, a twentieth of the difference)."""
    cents = drift_cents(SET, 10.0, replace(USUAL, modulus=0.0), hold="fixed tension")

    expected = 1200 / math.log(2) * 10 * (11.7e-6 / 2 - 3.8e-6)
    assert cents == pytest.approx([expected] * 6, rel=0.05)


def test_pairs_pull_the_neck_twice() -> None:
    pairs = [replace(each, count=2) for each in SET]

    assert drift_cents(pairs, -8) == pytest.approx(drift_cents([*SET, *SET], -8)[:6])


def test_the_uncertainty_covers_what_tables_say() -> None:
    told = drifts(SET, -8)
    tables = [
        replace(USUAL, string=a, neck=n, modulus=b)
        for a in (11.1e-6, 12.3e-6) for n in (3.1e-6, 4.5e-6) for b in (-2.5e-4, -3.3e-4)
    ]  # fmt: skip

    for heat in tables:
        for said, cents in zip(told, drift_cents(SET, -8, heat), strict=True):
            assert abs(cents - said.cents) < 2 * said.uncertainty_cents
    assert all(said.uncertainty_cents < 0.3 * said.cents for said in told)


def test_a_guessed_core_is_less_sure_than_a_known_one() -> None:
    known = [replace(each, wire=replace(each.wire, core_assumed=False)) for each in SET]

    guessed, sure = drifts(SET, -8)[5], drifts(known, -8)[5]

    assert guessed.cents == sure.cents
    assert guessed.uncertainty_cents > sure.uncertainty_cents


def test_nylon_and_strings_known_by_weight_cannot_be_told() -> None:
    nylon = Stretched(1, "E4", 329.63, 0.65, plain_wire(0.7e-3, find_material("nylon")))
    weight = Stretched(2, "A2", 110.0, 0.65, Wire(None, STEEL, given_kg_m=4e-3))

    told = drifts([nylon, SET[1], weight], -8)

    assert (told[0].cents, told[2].uncertainty_cents) == (None, None)
    assert told[1].cents > 0
    assert [each.cents for each in drifts([nylon], -8)] == [None]


def test_a_string_that_would_hang_slack_is_said() -> None:
    slack = Stretched(6, "E2", 20.0, SCALE_M, plain_wire(30 * MIL_M, STEEL))

    with pytest.raises(WireError, match="would hang slack"):
        drift_cents([slack], 60.0)


def test_heat_needs_a_core() -> None:
    with pytest.raises(WireError, match="needs its core"):
        drift_cents([Stretched(2, "A2", 110.0, 0.65, Wire(None, STEEL, given_kg_m=4e-3))], -8)
