"""Was a string's pitch moved by a peg, and where did it stay? A peg moves all partials as one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.measure.fit import Fit, Guess, listen_and_fit
from station.measure.stayed import MOVED_CENTS, moved_as_one, stayed_since
from station.measure.windows import Heard
from tests.support.strings import Floats, noise

RATE_HZ = 16000.0
STRING_HZ = 110.0
STIFFNESS = 1.2e-4
PARTIALS = np.arange(1.0, 13.0)
EVERY = round(0.02 * RATE_HZ)


def heard(
    hz: float, stiffness: float, off_cents: Floats | float = 0.0, snr_db: float = 60
) -> Heard:
    """Half a second of a string, its partials `off_cents` from where a stiff one has them."""
    t = np.arange(round(0.5 * RATE_HZ)) / RATE_HZ
    at_hz = PARTIALS * hz * np.sqrt((1 + stiffness * PARTIALS**2) / (1 + stiffness))
    at_hz = at_hz * 2 ** (np.broadcast_to(np.asarray(off_cents, float), PARTIALS.shape) / 1200)
    x = sum(0.2 / k * np.cos(2 * np.pi * f * t + k) for k, f in zip(PARTIALS, at_hz, strict=True))
    level_db = 10 * math.log10(float(np.mean(np.square(x)))) - snr_db
    found = listen_and_fit(x + noise(t.size, level_db, 1), RATE_HZ, Guess(hz, stiffness))
    assert found is not None
    return found[0]


@pytest.mark.parametrize("cents", [-40.0, -3.0, 2.5, 12.0])
@pytest.mark.parametrize("snr_db", [60.0, 15.0])
def test_a_peg_moves_all_partials_as_one(cents: float, snr_db: float) -> None:
    ratio = 2 ** (cents / 1200)
    stiffness = STIFFNESS / ratio**2  # as one over the tension
    last = heard(STRING_HZ * ratio, stiffness, snr_db=snr_db)

    moved = moved_as_one(heard(STRING_HZ, STIFFNESS, snr_db=snr_db), last)

    assert moved is not None
    assert moved.cents == pytest.approx(cents, rel=0.03, abs=0.1)


@pytest.mark.parametrize("seed", range(5))
def test_partials_that_go_each_its_own_way_were_moved_by_no_peg(seed: int) -> None:
    ways_cents = -3.0 + np.random.default_rng(seed).normal(0, 1.5, PARTIALS.size)

    before, after = heard(STRING_HZ, STIFFNESS), heard(STRING_HZ, STIFFNESS, ways_cents)

    assert moved_as_one(before, after) is None


def test_a_string_that_loses_its_stiffness_was_moved_by_no_peg() -> None:
    # As where a recording goes on in a loop: partials stand at whole multiples from there on.
    assert moved_as_one(heard(STRING_HZ, STIFFNESS), heard(STRING_HZ, 0.0)) is None


def test_of_two_partials_nobody_can_say_which_one_went_astray() -> None:
    first, last = heard(STRING_HZ, 0.0), heard(STRING_HZ, 0.0, [9.0, -9.0] + [0.0] * 10)
    k = first.numbers.size  # of a row, as `windows.write_rows` has it, what two partials need
    columns = [0, 1, k, k + 1, k + 2, 2 * k + 1, 2 * k + 2, 2 * k + 3, 3 * k + 2, 3 * k + 3]

    def of_two(each: Heard) -> Heard:
        return each._replace(
            numbers=each.numbers[:2],
            frequencies_hz=each.frequencies_hz[:2],
            rows=each.rows[:, columns],
        )

    assert moved_as_one(of_two(first), of_two(last)) is not None


def track(cents_at: Floats) -> list[tuple[int, Fit]]:
    return [
        ((place + 1) * EVERY, Fit(STRING_HZ * 2 ** (cents / 1200), 0.0, 0.02, 8, 0.99))
        for place, cents in enumerate(cents_at)
    ]


@pytest.mark.parametrize("moved_cents", [-8.0, 2.0 * MOVED_CENTS])
def test_what_moves_and_then_holds_still_has_stayed_since_then(moved_cents: float) -> None:
    readings = track(np.r_[np.zeros(60), np.linspace(0, moved_cents, 10), np.full(50, moved_cents)])

    stayed = stayed_since(readings, 0, 60 * EVERY, RATE_HZ)

    assert stayed is not None
    assert 60 * EVERY <= stayed.since <= 72 * EVERY
    assert stayed.moved_cents == pytest.approx(abs(moved_cents))
    assert stayed.hz == pytest.approx(STRING_HZ * 2 ** (moved_cents / 1200))


@pytest.mark.parametrize(
    "cents_at",
    [
        np.zeros(120),
        np.r_[np.zeros(60), np.full(60, 0.5 * MOVED_CENTS)],
        10 * np.sin(np.arange(120) * 2 * np.pi / 9),
        np.r_[np.zeros(8), np.full(8, 10.0)],
    ],
    ids=["still", "hardly", "swaying", "too short"],
)
def test_what_never_moved_or_sways_has_stayed_nowhere(cents_at: Floats) -> None:
    assert stayed_since(track(cents_at), 0, cents_at.size // 2 * EVERY, RATE_HZ) is None
