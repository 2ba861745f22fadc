"""Which lugs may be the one farthest out: right as often as is said, no more than are needed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from station.measure.drums.farthest import Floats, Found, drawn, farthest, found, in_words
from station.measure.drums.plain import rim_as_data, rim_from_data
from station.measure.drums.rim import families, family_rows
from station.measure.drums.turning import Turn
from station.measure.drums.types import Farthest
from tests.support.head_taps import Drummer, Hand, Kind, random_drummer
from tests.support.membrane import Response, SimulatedHead

NOISE_CENTS = 0.8  # of what a family tells, in a round of two taps a lug


def heard(cents: Floats, rng: np.random.Generator) -> Found:
    """What a round tells of lugs that stand so."""
    told = []
    for order in families(cents.size):
        rows = family_rows(order, cents.size)
        seen = rows @ cents + rng.normal(0.0, NOISE_CENTS, 2)
        told.append((rows, seen, NOISE_CENTS**2 * np.eye(2)))
    return found(told)


def head_cents(kind: Kind, lugs: int, rng: np.random.Generator) -> Floats:
    """Lugs of a head in cents from their mean, one 5 to 20 % slack, or all within 1 or 5 %."""
    within = 0.01 if kind == "one slack" else 0.05
    shares = 1.0 + rng.uniform(-within, within, lugs)
    if kind != "random":
        shares[rng.integers(lugs)] = 1.0 - rng.uniform(0.05, 0.20)
    cents = 600.0 * np.log2(shares)
    return np.asarray(cents - cents.mean())


def holds(far: Farthest, cents: Floats) -> bool:
    return any(int(np.abs(cents).argmax()) + 1 in each for each in far.candidates)


@pytest.mark.parametrize("kind", ["one slack", "one slack, others random", "random"])
def test_the_lug_farthest_out_is_among_those_told_as_often_as_is_said(kind: Kind) -> None:
    rng = np.random.default_rng(71)
    within, sizes = [], []

    for _ in range(80):
        cents = head_cents(kind, 8, rng)
        far = farthest(drawn(heard(cents, rng)))
        within.append(holds(far, cents))
        sizes.append(len(far.candidates))
        assert far.probability >= 0.95

    assert np.mean(within) >= 0.93  # 95 % of 80, less a third of a standard deviation
    assert np.mean(sizes) < {"one slack": 1.7, "random": 4.0}.get(kind, 3.0)


@pytest.mark.parametrize("lugs", [4, 6, 8, 10, 12])
def test_one_lug_far_off_and_the_others_alike_is_one_pair(lugs: int) -> None:
    cents = np.full(lugs, 0.0)
    cents[1] = -120.0

    far = farthest(drawn(heard(cents - cents.mean(), np.random.default_rng(3))))

    if lugs > 6:  # two or three pairs leave more open
        assert far.candidates == ((2, 2 + lugs // 2),)
    assert far.lug == 2
    assert far.opposite == 2 + lugs // 2


def test_five_lugs_are_told_one_by_one() -> None:
    cents = np.array([10.0, 10.0, -40.0, 10.0, 10.0])

    far = farthest(drawn(heard(cents, np.random.default_rng(3))))

    assert far.candidates[0] == (3,)


def test_a_head_of_which_nothing_stands_out_leaves_every_lug_possible() -> None:
    cents = np.zeros(6)

    far = farthest(drawn(heard(cents, np.random.default_rng(4))))

    assert len(far.candidates) == 3
    assert in_words(far, 6).endswith("but it may be any")


def test_words_name_the_likeliest_first() -> None:
    assert in_words(Farthest(3, 7, ((3, 7),), 0.99), 8) == "farthest out: lug 3 or 7"
    assert in_words(Farthest(3, 7, ((3, 7), (1, 5), (2, 6)), 0.99), 8) == (
        "farthest out: most likely lug 3 or 7; perhaps 1 or 5, 2 or 6"
    )


def slack(turned: int | None) -> tuple[Drummer, Farthest]:
    """Lug 2 of eight 15 % slack, and what is said after a turn of a lug, exactly brought up."""
    head = SimulatedHead((1000.0, 850.0, *(1000.0,) * 6))
    hand = Hand(hz_cents=0.2, key_deg=0.0)
    drummer = Drummer(head, Response((1000.0,) * 8, 0.0), hand, np.random.default_rng(5))
    said = drummer.tap_round()
    if turned is not None:
        assert drummer.known is not None
        drummer.head = drummer.head.turned(turned, 0.15, drummer.response)
        drummer.known = drummer.known.after([Turn(turned, 0.15)])
        said = drummer.tap_round()
    return drummer, said.farthest


def test_a_turn_at_one_lug_leaves_it_open_whether_that_or_its_opposite_was_off() -> None:
    _, right = slack(2)
    _, wrong = slack(6)

    # Lug 2 is where the others are now, or lug 6 is as far off as lug 2: both sound the same.
    assert (2, 6) in right.candidates
    assert (2, 6) in wrong.candidates


def test_what_the_first_round_told_outlives_a_restart() -> None:
    drummer, _ = slack(2)
    known = drummer.known
    assert known is not None

    again = rim_from_data(rim_as_data(known))

    assert farthest(again.lots()) == farthest(known.lots())
    assert again.still == pytest.approx(known.still)
    older = {key: each for key, each in rim_as_data(known).items() if key != "found"}
    assert rim_from_data(older).found is None


def test_heads_in_the_simulator_hold_it_too() -> None:
    for seed in range(12):
        drummer = random_drummer("one slack, others random", 6, 9000 + seed)
        drummer.hand = replace(drummer.hand, taps=1)
        cents = drummer.head.pitch_cents()

        assert holds(drummer.tap_round().farthest, cents)
