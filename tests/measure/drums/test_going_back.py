"""The way back to a drum's good state, against simulated heads whose turns are known."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from station.errors import DrumError
from station.measure.drums.going_back import NOT_LEARNED, THERE, by_head, by_taps
from station.measure.drums.plain import rim_as_data, rim_from_data
from station.measure.drums.turning import RimState, spread

LUGS = 6


def head_at(hz: float, learned: int = 2, offsets: tuple[float, ...] = (0.0,) * LUGS) -> RimState:
    """A head of which all is known: a turn adds 1.2 times the tension at 160 Hz."""
    tensions = (hz * 2 ** (np.array(offsets) / 1200)) ** 2
    mean = np.concatenate([tensions, np.full(LUGS, 1.2 * 160.0**2)])
    return RimState(mean, np.diag(1e-4 * mean) ** 2, learned)


def test_a_head_that_is_where_it_was_needs_nothing() -> None:
    back = by_head([160.0] * LUGS, head_at(160.0))

    assert (back.verdict, back.says) == ("in", (THERE,))
    assert all(each.verdict == "in" and each.turns is None for each in back.lugs)


def test_the_turns_that_it_says_bring_every_lug_back() -> None:
    offsets = (-20.0, 5.0, 10.0, -20.0, 5.0, 10.0)  # opposite lugs alike: no more can be heard
    now = head_at(157.0, offsets=offsets)

    back = by_head([160.0] * LUGS, now)

    turns = np.array(
        [
            0.0 if each.turns is None else each.turns * (1 if each.verdict == "tighten" else -1)
            for each in back.lugs
        ]
    )
    # Hooke: tension goes up evenly with the turns, a tenth of it at each neighbour.
    after = now.mean[:LUGS] + spread(LUGS) @ (turns * now.mean[LUGS:])
    assert np.sqrt(after) == pytest.approx([160.0] * LUGS, abs=0.2)


def test_one_lugs_change_is_told_as_tension_and_cents_by_the_square_law() -> None:
    back = by_taps(110.0, 110.0 * 2 ** (-50 / 1200))

    assert back.cents == pytest.approx(-50.0)
    assert back.verdict == "tighten"
    # f squared: 2 ** (2 * 50 / 1200) = 1.0595
    assert back.tension_percent == pytest.approx(5.95, abs=0.01)


def test_how_far_is_told_only_of_a_drum_whose_response_is_learned() -> None:
    known, unknown = head_at(160.0), head_at(160.0, learned=0)

    told = by_taps(110.0, 108.0, known, 160.0)
    untold = by_taps(110.0, 108.0, unknown, 160.0)
    lug_by_lug = by_head([163.0] * LUGS, unknown)

    # The mean tension is to rise by 160^2 (1 - (108/110)^2); a turn at every lug adds
    # (1 + 2 * 0.1) * 1.2 * 160^2.
    expected = (1 - (108 / 110) ** 2) / (1.2 * 1.2)
    assert told.turns == pytest.approx(expected, rel=1e-6)
    assert told.turns_uncertainty is not None and told.turns_uncertainty < 0.01
    assert untold.turns is None
    assert NOT_LEARNED in untold.says
    assert all(each.turns is None for each in lug_by_lug.lugs)
    assert all(each.verdict == "tighten" for each in lug_by_lug.lugs)


def test_a_long_way_back_is_gone_in_parts() -> None:
    back = by_head([320.0] * LUGS, head_at(160.0))

    assert max(each.turns or 0.0 for each in back.lugs) == pytest.approx(0.5)
    assert any("part of the way" in line for line in back.says)


def test_another_drum_is_refused() -> None:
    with pytest.raises(DrumError, match="another drum"):
        by_head([160.0] * 8, head_at(160.0))


def test_a_rim_is_read_back_as_it_was_kept() -> None:
    rim = RimState.first(10, 180.0)

    again = rim_from_data(json.loads(json.dumps(rim_as_data(rim), allow_nan=False)))

    assert again.mean == pytest.approx(rim.mean)
    assert again.covariance == pytest.approx(rim.covariance)
    assert again.evenness(10.0)[0] == pytest.approx(rim.evenness(10.0)[0], rel=0.03)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("lugs", 7),
        ("lugs", True),
        ("mean", [1.0]),
        ("mean", [-1.0] * 8),
        ("mean", [math.nan] * 8),
        ("mean", "loud"),
        ("covariance", [0.0] * 35),
        ("covariance", [1e30] * 36),
        ("covariance", [(-1.0) ** at * 1e3 for at in range(36)]),
        ("learned", -1),
        ("learned", 2.5),
    ],
)
def test_a_rim_that_cannot_be_is_refused_in_one_line(key: str, value: object) -> None:
    data = rim_as_data(RimState.first(4, 180.0)) | {key: value}

    with pytest.raises(DrumError) as refused:
        rim_from_data(data)

    assert "\n" not in str(refused.value)
