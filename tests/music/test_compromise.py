"""A reference between instruments that disagree: hand-calculated, and what must hold anywhere."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import ReferenceRangeError, UsageError
from station.music.compromise import compromise, deviations

a4s_hz = st.lists(st.floats(392.0, 466.0), min_size=1, max_size=6)
rules = st.sampled_from(["worst", "mean"])


@pytest.mark.parametrize("rule", ["worst", "mean"])
def test_of_two_both_rules_take_the_geometric_mean(rule):
    # sqrt(440 * 442) = sqrt(194480) = 440.9989 Hz; 1200 log2(442 / 440) = 7.8514 cents apart,
    # so each is 3.9257 off; 440.9989 - 440 and 442 - 440.9989 beats a second.
    found = compromise([440.0, 442.0], rule)

    flat, sharp = found.shares
    assert found.a4_hz == pytest.approx(440.99887, abs=1e-5)
    assert (flat.cents, sharp.cents) == pytest.approx((-3.9257, 3.9257), abs=1e-4)
    assert (flat.beats_hz, sharp.beats_hz) == pytest.approx((0.99887, 1.00113), abs=1e-5)
    assert found.worst_cents == pytest.approx(3.9257, abs=1e-4)


def test_of_three_the_worst_is_smallest_between_the_outer_two():
    # sqrt(440 * 444) = sqrt(195360) = 441.99548 Hz: the one in between has no say.
    found = compromise([441.0, 440.0, 444.0])

    assert found.a4_hz == pytest.approx(441.99548, abs=1e-5)
    # 1200 log2(444 / 440) / 2 = 7.8337; 1200 log2(441 / 441.99548) = -3.9035.
    assert [each.cents for each in found.shares] == pytest.approx(
        [-3.9035, -7.8337, 7.8337], abs=1e-4
    )


def test_of_three_the_mean_square_is_smallest_at_the_geometric_mean():
    # The cube root of 440 * 441 * 444 = 86153760 is 441.66340 Hz.
    found = compromise([440.0, 441.0, 444.0], "mean")

    assert found.a4_hz == pytest.approx(441.66340, abs=1e-5)
    assert sum(each.cents for each in found.shares) == pytest.approx(0.0, abs=1e-9)


def test_a_weight_of_three_draws_the_mean_three_times_as_near():
    # (440**3 * 444)**(1/4): a quarter of 15.6674 cents up from 440, 3.9168.
    found = compromise([440.0, 444.0], "mean", [3.0, 1.0])

    assert 1200.0 * math.log2(found.a4_hz / 440.0) == pytest.approx(3.9168, abs=1e-4)


def test_weights_do_not_move_the_smallest_worst():
    assert compromise([440.0, 444.0], "worst", [9.0, 1.0]).a4_hz == pytest.approx(441.99548)


def test_of_one_it_is_its_own():
    found = compromise([441.3])

    assert found.a4_hz == pytest.approx(441.3)
    assert found.worst_cents == pytest.approx(0.0, abs=1e-9)


def test_deviations_are_counted_from_any_reference():
    (share,) = deviations([442.0], 440.0)

    assert share.cents == pytest.approx(7.8514, abs=1e-4)
    assert share.beats_hz == 2.0


@given(a4s_hz, rules, st.floats(-30.0, 30.0))
def test_no_other_reference_is_better_by_its_own_rule(a4s, rule, moved):
    found = compromise(a4s, rule)
    other_hz = found.a4_hz * 2.0 ** (moved / 1200.0)
    if not 390.0 <= other_hz <= 470.0:
        return

    ours = [each.cents for each in found.shares]
    theirs = [each.cents for each in deviations(a4s, other_hz)]

    def cost(cents):
        return max(map(abs, cents)) if rule == "worst" else sum(each**2 for each in cents)

    assert cost(ours) <= cost(theirs) + 1e-6


@given(a4s_hz, rules)
def test_order_and_pitch_of_the_instruments_do_not_matter(a4s, rule):
    found, turned = compromise(a4s, rule), compromise(a4s[::-1], rule)

    assert turned.a4_hz == pytest.approx(found.a4_hz, rel=1e-12)
    assert min(a4s) <= found.a4_hz <= max(a4s)
    assert found.worst_cents == max(abs(each.cents) for each in found.shares)


@pytest.mark.parametrize("a4_hz", [389.9, 470.1, math.nan, 880.0, True, "440"])
def test_an_a4_out_of_range_is_refused(a4_hz):
    with pytest.raises(ReferenceRangeError, match="A4 must be a number from 390 to 470"):
        compromise([440.0, a4_hz])


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (([],), "no instruments"),
        (([440.0], "best"), "'best' is not known: choose worst or mean"),
        (([440.0, 441.0], "mean", [1.0]), "1 weights for 2 instruments"),
        (([440.0, 441.0], "mean", [1.0, 0.0]), "weight 0: it must be positive"),
        (([440.0, 441.0], "mean", [1.0, math.inf]), "weight inf"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(arguments, told):
    with pytest.raises(UsageError, match=told) as refused:
        compromise(*arguments)

    assert "\n" not in str(refused.value)
