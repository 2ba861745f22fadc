"""In which order lugs are turned and tapped."""

from __future__ import annotations

import pytest

from station.errors import DrumError
from station.music.lugs import (
    LUG_COUNTS,
    check_lugs,
    clockwise_order,
    cross_order,
    opposite_lug,
)


@pytest.mark.parametrize("lugs", LUG_COUNTS)
def test_every_order_takes_each_lug_once_and_begins_with_lug_1(lugs: int) -> None:
    for order in (clockwise_order(lugs), cross_order(lugs)):
        assert sorted(order) == list(range(1, lugs + 1))
        assert order[0] == 1


@pytest.mark.parametrize("lugs", [n for n in LUG_COUNTS if n % 2 == 0])
def test_across_each_lug_is_followed_by_its_opposite(lugs: int) -> None:
    order = cross_order(lugs)

    for first, second in zip(order[::2], order[1::2], strict=True):
        assert opposite_lug(first, lugs) == second
        assert opposite_lug(second, lugs) == first


def test_the_orders_drummers_know() -> None:
    # Common practice, no source.
    assert cross_order(4) == (1, 3, 2, 4)
    assert cross_order(5) == (1, 3, 5, 2, 4)
    assert cross_order(6) == (1, 4, 2, 5, 3, 6)
    assert cross_order(8) == (1, 5, 3, 7, 2, 6, 4, 8)


@pytest.mark.parametrize("lugs", [8, 10, 12])
def test_the_second_pair_is_as_far_from_the_first_as_can_be(lugs: int) -> None:
    second = cross_order(lugs)[2] - 1

    assert second in (lugs // 4, (lugs + 2) // 4)


def test_clockwise_may_begin_anywhere() -> None:
    assert clockwise_order(6, 5) == (5, 6, 1, 2, 3, 4)


@pytest.mark.parametrize("lugs", [-1, 0, 1, 3, 7, 9, 11, 13, 16])
def test_other_numbers_of_lugs_are_refused_with_those_there_are(lugs: int) -> None:
    with pytest.raises(DrumError, match="4, 5, 6, 8, 10 or 12"):
        check_lugs(lugs)


@pytest.mark.parametrize("lug", [0, 7, -3])
def test_a_lug_the_head_has_not_is_refused(lug: int) -> None:
    with pytest.raises(DrumError, match="lugs are 1 to 6"):
        opposite_lug(lug, 6)


def test_five_lugs_have_their_opposite_beside_the_middle() -> None:
    assert opposite_lug(1, 5) == 3
