"""What a band's drifts have in common, and whose the rest is."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.measure.rehearsal.common import Drift, take_apart


def strings(*cents: float, sd: float = 0.5) -> list[Drift]:
    return [Drift(number, each, sd) for number, each in enumerate(cents, 1)]


def test_what_all_do_is_common_and_one_string_stands_out() -> None:
    shares = take_apart(
        {
            "wren": strings(-6.0, -5.7, -6.2, -6.1, -15.0, -5.9),
            "isolde": strings(-5.8, -6.3, -6.0, -6.1, -5.9, -6.2),
            "odell": strings(-6.2, -5.9, -5.8, -6.1),
        }
    )

    assert shares.common is not None
    assert shares.common.cents == pytest.approx(-6.0, abs=0.3)
    assert shares.common.uncertainty_cents < 1.0
    assert shares.strings["wren", 5].cents == pytest.approx(-9.0, abs=0.5)
    assert shares.strings["wren", 5].probability > 0.99
    assert all(own.probability < 0.01 for key, own in shares.strings.items() if key != ("wren", 5))


def test_one_of_three_who_moved_with_all_strings_is_the_one() -> None:
    shares = take_apart(
        {"wren": strings(-9.0, -9.2, -8.8), "isolde": strings(0.1, -0.2), "odell": strings(0.3)}
    )

    assert shares.common is not None
    assert abs(shares.common.cents) < 1.0
    assert shares.players["wren"].probability > 0.95
    assert shares.players["isolde"].probability < 0.05


def test_a_band_of_one_cannot_tell_its_drift_from_the_rooms() -> None:
    shares = take_apart({"wren": strings(-7.0, -7.0, -7.0), "odell": []})

    assert shares.common is None
    assert shares.strings["wren", 1].cents == pytest.approx(-7.0)
    assert shares.players["wren"].cents == pytest.approx(-7.0, abs=0.5)


def test_of_two_who_differ_nobody_is_blamed_for_sure() -> None:
    shares = take_apart({"wren": strings(-10.0, -10.0, -10.0), "isolde": strings(0.0, 0.0, 0.0)})

    assert shares.common is not None
    assert shares.common.uncertainty_cents > 3.0
    assert shares.players["wren"].probability < 0.9


def test_an_error_that_all_strings_of_a_player_share_counts_once() -> None:
    drifts = {
        "wren": strings(*[1.5] * 6, sd=1.1),
        "isolde": strings(*[0.0] * 6),
        "odell": strings(*[0.0] * 4),
    }

    alone, shared = take_apart(drifts), take_apart(drifts, {"wren": 1.0})

    assert alone.common is not None
    assert shared.common is not None
    assert abs(shared.common.cents) < abs(alone.common.cents)


def test_what_tells_nothing_is_left_out() -> None:
    shares = take_apart(
        {
            "wren": [Drift(1, math.nan, 0.5), Drift(2, 0.0, math.inf), Drift(3, 500.0, 0.5)],
            "isolde": [Drift(1, 1.0, 9.0), Drift(2, 1.0, 0.5, doubt=0.8)],
        }
    )

    assert (shares.common, shares.players, shares.strings) == (None, {}, {})
    assert take_apart({}).common is None


@pytest.mark.parametrize("seed", range(3))
def test_its_uncertainty_is_about_its_error(seed: int) -> None:
    rng, over = np.random.default_rng(seed), []
    for _ in range(60):
        common = rng.normal(0, 5)
        drifts = {
            player: [
                Drift(n, common + rng.normal(0, 0.6) + (rng.random() < 0.1) * -12.0, 0.6)
                for n in range(1, count + 1)
            ]
            for player, count in (("wren", 6), ("isolde", 6), ("odell", 4))
        }
        told = take_apart(drifts).common
        assert told is not None
        over.append((told.cents - common) / told.uncertainty_cents)

    assert 0.3 < float(np.sqrt(np.mean(np.square(over)))) < 1.5
