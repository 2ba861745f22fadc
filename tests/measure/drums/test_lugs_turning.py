"""How far to turn: what is assumed, what is learned, and that following it makes heads even."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.drums.coupled import beyond
from station.measure.drums.families import Split
from station.measure.drums.lugs import describe
from station.measure.drums.rim import CENTS, families, family_rows, pushed_apart
from station.measure.drums.turning import (
    FIRST_RESPONSE,
    FIRST_TURNS,
    MOST_TURNS,
    RimState,
    Turn,
    spread,
)
from tests.support.head_taps import Drummer, Hand, Kind, advised, random_drummer, true_split
from tests.support.membrane import Response, SimulatedHead

KINDS: tuple[Kind, ...] = ("one slack", "one slack, others random", "random")


def slack_head(per_turn: float, share: float = 0.15) -> Drummer:
    tensions = (1000.0 * (1 - share), *(1000.0,) * 7)
    hand = Hand(hz_cents=0.2, key_deg=0.0)
    response = Response((per_turn,) * 8)
    return Drummer(SimulatedHead(tensions), response, hand, np.random.default_rng(5))


def test_a_drum_not_known_yet_is_turned_by_a_sixteenth_at_most() -> None:
    said = slack_head(1000.0, share=0.2).tap_round()

    turns = [each.turns for each in said.lugs if each.turns is not None]
    assert 0.0 < max(turns) <= FIRST_TURNS + 1e-9


@pytest.mark.parametrize("per_turn", [600.0, 1000.0, 2500.0])
def test_a_turn_that_was_heard_tells_what_a_turn_does_on_this_drum(per_turn: float) -> None:
    drummer = slack_head(per_turn)
    drummer.follow(drummer.tap_round())

    drummer.tap_round()

    assert drummer.known is not None
    square = drummer.known.overtone_hz() ** 2
    learned = drummer.known.mean[8] / square * np.mean(drummer.head.tensions)
    assert drummer.known.learned == 1
    assert learned == pytest.approx(per_turn, rel=0.3)


def test_what_was_learned_makes_turns_surer() -> None:
    drummer = slack_head(700.0)
    before = drummer.tap_round()
    assert drummer.known is not None
    first = drummer.known.covariance[8, 8]
    drummer.follow(before)

    drummer.tap_round()

    assert drummer.known.covariance[8, 8] < 0.5 * first


def test_a_turn_moves_what_is_expected_and_makes_it_less_sure() -> None:
    known = RimState.first(6, 200.0)

    after = known.after([Turn(1, 0.05)])

    gained = after.mean[:6] - known.mean[:6]
    assert gained[0] == pytest.approx(0.05 * FIRST_RESPONSE * 200.0**2)
    assert gained[1] == pytest.approx(0.1 * gained[0])
    assert gained[3] == 0.0
    assert after.covariance[0, 0] > known.covariance[0, 0]


def test_no_turn_changes_nothing() -> None:
    known = RimState.first(6, 200.0)

    assert known.after([]) is known
    assert known.after([Turn(2, 0.1), Turn(2, -0.1)]) is known


def test_neighbours_share_and_the_rim_closes() -> None:
    assert spread(4)[0] == pytest.approx([1.0, 0.1, 0.0, 0.1])


def test_nobody_is_told_to_turn_more_than_half_a_turn() -> None:
    tensions = np.full(6, 200.0**2)
    tensions[[0, 3]] *= 0.3
    known = RimState(np.concatenate([tensions, np.full(6, 0.3 * 200.0**2)]), np.eye(12), learned=1)

    turns, _ = known.needed()

    assert np.abs(turns).max() == pytest.approx(MOST_TURNS)


def test_a_flat_lug_is_to_be_tightened_and_a_sharp_one_slackened() -> None:
    tensions = np.full(8, 200.0**2)
    tensions[[1, 5]] *= 0.95
    tensions[[2, 6]] *= 1.05
    known = RimState(np.concatenate([tensions, np.full(8, 200.0**2)]), np.eye(16) * 1e4)

    said = describe(known, 120.0)

    assert said.lugs[1].verdict == "tighten"
    assert said.lugs[2].verdict == "slacken"
    assert {turn.lug: turn.turns > 0 for turn in advised(said)}[2]
    assert said.lugs[0].verdict == "in"
    assert said.lugs[0].turns is None


def nearly_even(cents: float) -> RimState:
    """Eight lugs, the third and the one opposite flat by so much, all known."""
    tensions = np.full(8, 200.0**2)
    tensions[[2, 6]] *= np.exp(-cents / CENTS)
    return RimState(np.concatenate([tensions, np.full(8, 200.0**2)]), np.eye(16), learned=1)


def test_little_is_turned_at_one_lug_for_two_and_much_at_both_alike() -> None:
    little, much = nearly_even(6.0), nearly_even(40.0)

    turned = {each.lug: each.turns for each in advised(describe(little, 120.0))}
    both = {each.lug: each.turns for each in advised(describe(much, 120.0))}

    assert set(turned) == {3}
    assert {3, 7} <= set(both)
    assert both[3] == pytest.approx(both[7])
    evened = little.after([Turn(3, turned[3])])
    assert np.ptp(evened.cents()[0]) < 2.0
    assert little.key_cents()[2] == pytest.approx(much.key_cents()[2] / np.sqrt(2.0), rel=0.05)


def test_of_two_lugs_the_one_that_was_not_turned_alone_is_turned_next() -> None:
    known = nearly_even(6.0).after([Turn(3, 0.004)])

    turned = {each.lug: each.turns for each in advised(describe(known, 120.0))}

    assert set(turned) == {7}


@pytest.mark.parametrize("lugs", [6, 10])
def test_what_modes_do_to_each_other_is_what_the_rims_harmonics_leave(lugs: int) -> None:
    left, linear = [], []
    for seed in range(6):
        head = random_drummer("one slack, others random", lugs, seed).head
        pitches = CENTS * np.log(np.array(head.tensions))
        pitches -= pitches.mean()

        for order in families(lugs):
            z = true_split(head, order) - family_rows(order, lugs) @ pitches
            if order == 2:
                z -= pushed_apart(family_rows(1, lugs) @ pitches)
            linear.append(np.hypot(*z))
            left.append(np.hypot(*(z - beyond(order, pitches[None])[0])))

    # Rayleigh-Ritz has all orders; what is left is the third.
    assert np.sqrt(np.mean(np.square(linear))) > 0.25
    assert np.sqrt(np.mean(np.square(left))) < 0.4 * np.sqrt(np.mean(np.square(linear)))


def test_heads_nobody_can_tell_apart_leave_the_splits_in_doubt() -> None:
    drummer = random_drummer("one slack, others random", 10, 2)
    state = RimState.first(10, 200.0)
    heard = [
        Split(order, true_split(drummer.head, order), np.eye(2) * 1e-4, 200.0, 0.1)
        for order in families(10)
    ]

    _, first, _ = state._heard(heard, None).cents()
    _, again, _ = state.heard(heard).cents()

    assert (again > first).all()


def left_after_three_rounds(drummer: Drummer) -> float:
    """Cents from the lowest lug to the highest, opposite ones averaged: the truth."""
    said = drummer.tap_round()
    for _ in range(3):
        if said.even:
            break
        drummer.follow(said)
        said = drummer.tap_round()
    return float(np.ptp(drummer.truly()))


def test_following_the_advice_makes_nine_heads_in_ten_even_in_three_rounds() -> None:
    # A few of those of `tests.bench.bench_heads`.
    left = [
        left_after_three_rounds(random_drummer(kind, lugs, seed))
        for kind in KINDS
        for lugs in (6, 8, 10)
        for seed in (0, 1)
    ]

    assert np.mean(np.array(left) < 10.0) >= 0.9
    assert max(left) < 20.0


@pytest.mark.parametrize("lugs", [6, 8, 10])
def test_a_single_slack_lug_or_its_opposite_is_always_named(lugs: int) -> None:
    for seed in range(6):
        drummer = random_drummer("one slack", lugs, seed)
        slackest = int(np.argmin(drummer.head.tensions)) + 1

        said = drummer.tap_round()

        assert slackest in (said.worst, said.lugs[said.worst - 1].opposite)
