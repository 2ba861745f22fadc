"""A round of taps on simulated heads: what it says of the lugs."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from station.errors import DrumError
from station.measure.drums.lugs import beside_lug, describe, good_taps, head, ringing, splits
from station.measure.drums.turning import RimState
from station.measure.drums.types import Mode
from station.music.lugs import LUG_COUNTS
from tests.support.head_taps import Drummer, Hand, random_drummer, stroke_of
from tests.support.membrane import Response, SimulatedHead

STEADY = Hand(taps=1, radius=0.0, angle_deg=0.0, key_deg=0.0, hz_cents=0.05, level_db=0.0)


def drummer(tensions: tuple[float, ...], hand: Hand = STEADY, seed: int = 1) -> Drummer:
    response = Response((1000.0,) * len(tensions))
    return Drummer(SimulatedHead(tensions), response, hand, np.random.default_rng(seed))


def with_slack(lugs: int, lug: int, share: float) -> tuple[float, ...]:
    return tuple(1000.0 * (1.0 - share * (at == lug)) for at in range(1, lugs + 1))


@pytest.mark.parametrize("lugs", LUG_COUNTS)
def test_an_even_head_is_even_and_asks_for_no_turn(lugs: int) -> None:
    said = drummer((1000.0,) * lugs).tap_round()

    assert max(abs(each.offset_cents) for each in said.lugs) < 2.0
    assert {each.verdict for each in said.lugs} == {"in"}
    assert {each.turns for each in said.lugs} == {None}


@pytest.mark.parametrize("lugs", [4, 6, 8, 10, 12])
def test_a_slack_lug_or_its_opposite_is_named_and_both_asked_to_be_tightened(lugs: int) -> None:
    said = drummer(with_slack(lugs, 2, 0.1)).tap_round()

    pair = {2, 2 + lugs // 2}
    assert said.worst in pair
    for lug in pair:
        assert said.lugs[lug - 1].verdict == "tighten"
        assert said.lugs[lug - 1].turns is not None
    assert not said.even


@pytest.mark.parametrize("lugs", [6, 8, 10])
def test_the_mean_of_opposite_lugs_is_told_within_three_times_its_uncertainty(lugs: int) -> None:
    errors = []
    for seed in range(4):
        each = random_drummer("random", lugs, seed)

        said = each.tap_round()

        true = each.truly() - each.truly().mean()
        errors += [
            (lug.offset_cents - true[lug.lug - 1]) / lug.uncertainty_cents for lug in said.lugs
        ]
    assert max(np.abs(errors)) < 3.0
    assert np.std(errors) > 0.1  # and not said to be far less sure than it is


def test_a_lug_by_itself_is_known_worse_than_with_its_opposite() -> None:
    for lug in drummer(with_slack(8, 1, 0.1)).tap_round().lugs:
        assert lug.alone_cents > 3 * lug.uncertainty_cents


def test_the_taps_of_a_head_and_of_that_head_turned_by_half_are_the_same_up_to_loudness() -> None:
    tensions = with_slack(6, 2, 0.1)
    here, there = drummer(tensions), drummer(tensions[3:] + tensions[:3])

    first, second = here.tap_round(), there.tap_round()

    for one, other in zip(first.lugs, second.lugs, strict=True):
        assert one.offset_cents == pytest.approx(other.offset_cents, abs=1.0)


def test_the_head_says_in_one_line_what_cannot_be_told_apart() -> None:
    for lugs in LUG_COUNTS:
        said = drummer((1000.0,) * lugs).tap_round()

        assert "\n" not in said.confusion
        assert "cents" in said.confusion
    assert "opposite" in drummer((1000.0,) * 6).tap_round().confusion


def test_hz_and_offset_tell_the_same() -> None:
    said = drummer(with_slack(8, 3, 0.15)).tap_round()

    for lug in said.lugs:
        expected = said.overtone_hz * 2 ** (lug.offset_cents / 1200)
        assert lug.hz == pytest.approx(expected)


def test_a_head_that_stands_higher_with_the_same_unevenness_is_said_to_be_as_uneven() -> None:
    low = drummer(with_slack(8, 3, 0.1))
    high = drummer(tuple(2.0 * each for each in with_slack(8, 3, 0.1)))

    evenness = low.tap_round().evenness_cents, high.tap_round().evenness_cents

    assert evenness[0] == pytest.approx(evenness[1], rel=0.1)


@pytest.mark.parametrize("follows", [True, False])
def test_a_round_of_two_taps_makes_surer_than_a_round_of_one(follows: bool) -> None:
    def sure(taps: int) -> float:
        hand = Hand(taps=taps, follows=follows)
        each = random_drummer("one slack", 8, 3, hand)
        return float(np.mean([lug.uncertainty_cents for lug in each.tap_round().lugs]))

    assert sure(4) < sure(1)


def test_a_lug_that_was_not_tapped_leaves_the_head_unsaid() -> None:
    taps = [tap for tap in drummer((1000.0,) * 6).taps() if tap[0] != 4]

    assert splits(6, taps) == []
    assert head(6, [(lug, stroke_of(modes)) for lug, modes in taps]) is None


def test_strokes_on_the_rim_and_double_ones_are_left_out() -> None:
    taps = drummer(with_slack(6, 1, 0.1)).taps()
    strokes = [(lug, stroke_of(modes, lug)) for lug, modes in taps]
    wild = (Mode(333.0, 0.1, 0.0, 1.0),)
    bad = [(2, stroke_of(wild, 20.0, "rim")), (3, stroke_of(wild, 21.0, "double"))]

    clean, mixed = head(6, strokes), head(6, [*strokes, *bad])

    assert clean is not None
    assert mixed is not None
    assert mixed[0] == clean[0]
    assert len(good_taps([*strokes, *bad])) == 6


def test_silence_says_nothing() -> None:
    assert head(6, []) is None
    assert head(6, [(lug, stroke_of(())) for lug in range(1, 7)]) is None
    assert beside_lug(()) is None


def test_what_the_finger_damps_is_not_taken_for_the_overtone() -> None:
    muted = Mode(100.0, 1.0, 0.0, 0.12)
    rings = Mode(175.0, 0.2, -6.0, 0.9)

    assert ringing((muted, rings)) == [rings]
    assert beside_lug((muted, rings)) == rings


def test_a_pair_that_the_room_makes_louder_beside_half_the_lugs_is_not_taken_for_the_lowest() -> (
    None
):
    low, high = Mode(150.0, 0.5, -17.0, 1.5), Mode(205.0, 0.5, 0.0, 1.4)
    louder = dataclasses.replace(low, level_db=-8.0)

    found = splits(6, [(lug, (louder if lug % 2 else low, high)) for lug in range(1, 7)])

    assert [round(each.centre_hz) for each in found][:1] == [150]


def test_the_fundamental_is_heard_where_it_can_be_and_else_told_from_the_overtone() -> None:
    strokes = [(lug, stroke_of(modes)) for lug, modes in drummer((1000.0,) * 6).taps()]
    silent = [
        (lug, dataclasses.replace(stroke, modes=tuple(ringing(stroke.modes))))
        for lug, stroke in strokes
    ]

    heard, told = head(6, strokes), head(6, silent)

    assert heard is not None
    assert told is not None
    truth = SimulatedHead((1000.0,) * 6).modes()[0].hz
    assert heard[0].fundamental_hz == pytest.approx(truth, rel=2e-3)
    assert told[0].fundamental_hz == pytest.approx(told[0].overtone_hz / 1.59334, rel=1e-4)


@pytest.mark.parametrize("lugs", [3, 7, 9, 16])
def test_a_number_of_lugs_no_head_has_is_refused(lugs: int) -> None:
    with pytest.raises(DrumError, match="a head has"):
        head(lugs, [])


def test_a_lug_beyond_the_last_is_refused() -> None:
    with pytest.raises(DrumError, match="lug 7"):
        splits(6, [(7, (Mode(100.0, 1.0, 0.0, 1.0),))])


def test_knowledge_of_another_head_is_refused() -> None:
    with pytest.raises(DrumError, match="6 lugs, but what is known is of 8"):
        head(6, [], RimState.first(8, 200.0))


def test_without_a_tap_every_lug_is_off_by_what_is_assumed() -> None:
    said = describe(RimState.first(8, 200.0), 120.0)

    assert {each.offset_cents for each in said.lugs} == {0.0}
    assert not said.even
    assert said.evenness_cents > 30.0
