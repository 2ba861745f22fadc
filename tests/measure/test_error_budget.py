"""The shares of a pitch's error, each said with where it is known from."""

from __future__ import annotations

import pytest

from station.measure.error_budget import cents_of_ppm, error_budget, just_noticeable_cents


def test_parts_in_a_million_are_told_in_cents():
    # 1200 / ln 2 = 1731.234: 100 ppm are 0.1731 cents, 11.55 ppm are 0.02 (arithmetic).
    assert cents_of_ppm(100.0) == pytest.approx(0.17312, abs=1e-5)
    assert cents_of_ppm(11.55) == pytest.approx(0.02, abs=1e-5)
    assert cents_of_ppm(0.0) == 0.0


def test_the_budget_names_each_share_with_its_source():
    budget = error_budget(0.006, "measured", 0.05, 442.0)

    assert [share["what"] for share in budget] == ["card", "estimator", "hearing"]
    assert [share["cents"] for share in budget] == [0.006, 0.05, just_noticeable_cents(442.0)]
    assert [share["from"] for share in budget][:2] == [
        "measured",
        "the usual reading's own uncertainty",
    ]
    assert "442 Hz" in budget[2]["from"]


def test_before_anything_was_heard_the_estimators_share_is_not_known():
    _, estimator, _ = error_budget(0.17, "not measured", None)

    assert (estimator["cents"], estimator["from"]) == (None, "nothing heard yet")
