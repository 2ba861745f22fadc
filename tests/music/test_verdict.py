"""The word a player sees."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FrequencyError
from station.music import verdict


@pytest.mark.parametrize(
    ("cents", "was_in", "word"),
    [
        (-12.0, False, "tighten"),
        (12.0, False, "slacken"),
        (0.0, False, "in"),
        (2.0, False, "in"),
        (-2.0, False, "in"),
        (2.5, False, "slacken"),
        (2.5, True, "in"),
        (-3.0, True, "in"),
        (-3.01, True, "tighten"),
        (math.inf, False, "slacken"),
    ],
)
def test_flat_is_tightened_and_sharp_is_slackened(cents: float, was_in: bool, word: str) -> None:
    assert verdict(cents, was_in=was_in) == word


@given(st.floats(-1200, 1200), st.floats(0, 50), st.floats(0, 50))
def test_a_string_that_was_in_never_leaves_earlier_than_it_came(
    cents: float, in_cents: float, leave_cents: float
) -> None:
    if verdict(cents, in_cents, False, leave_cents) == "in":
        assert verdict(cents, in_cents, True, leave_cents) == "in"


@given(st.floats(-1200, 1200), st.booleans())
def test_sharp_and_flat_are_mirror_images(cents: float, was_in: bool) -> None:
    mirrored = {"tighten": "slacken", "slacken": "tighten", "in": "in"}

    assert verdict(-cents, was_in=was_in) == mirrored[verdict(cents, was_in=was_in)]


def test_a_wide_target_is_not_narrowed_by_the_leaving_limit() -> None:
    assert verdict(4.5, in_cents=5.0, was_in=True) == "in"


def test_no_verdict_is_given_on_what_is_not_a_number() -> None:
    with pytest.raises(FrequencyError, match="nan"):
        verdict(math.nan)
