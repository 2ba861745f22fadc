"""The lamp column while a drummer goes round a head: higher or lower than the head's mean."""

from __future__ import annotations

from typing import Any

import pytest

from station.lamps.animation import LUG_LASTS_S, Animation
from station.lamps.column import DARK, MIDDLE

ROOM: dict[str, Any] = {
    "roll_call": {"in": 0, "total": 0},
    "players": [{"id": "ida", "now": None}],
    "heads": {"passes": {"ida": {}}},
}


def lug_told(cents: float, verdict: str | None = None, **more: Any) -> dict[str, Any]:
    heard = {"lug": 3, "hz": 160.0, "offset_cents": cents, "uncertainty_cents": 1.0}
    head = {"last": 3, "turn_next": None, "heard": [{**heard, "verdict": verdict}], **more}
    return {"player": "ida", "line": 1, "head": head}


def lit_at(animation: Animation, now_s: float) -> tuple[float, ...]:
    """The column once it has settled, its pulse at any point."""
    for step in range(30):
        found, _ = animation.frame(now_s + step * 0.02)
    return found


@pytest.mark.parametrize(("cents", "side"), [(-25.0, -1), (25.0, 1), (-4.0, -1), (4.0, 1)])
def test_a_lug_below_the_mean_lights_below_and_one_above_above(cents: float, side: int) -> None:
    animation = Animation()
    animation.show(lug_told(cents), 1.0)

    column = lit_at(animation, 1.0)

    lit = [lamp for lamp, light in enumerate(column) if light > 0.01]
    assert lit
    assert all((lamp - MIDDLE) * side > 0 for lamp in lit)


def test_a_lug_at_the_mean_lights_the_white_lamp_alone() -> None:
    animation = Animation()
    animation.show(lug_told(0.5, "in"), 1.0)

    column = lit_at(animation, 1.0)

    assert [lamp for lamp, light in enumerate(column) if light > 0.01] == [MIDDLE]


def test_once_turns_are_advised_the_lug_to_turn_is_shown_instead() -> None:
    low = {"lug": 5, "hz": 158.0, "offset_cents": -30.0, "uncertainty_cents": 1.0}
    told = lug_told(0.0, "in", turn_next={"lug": 5, "verdict": "tighten"})
    told["head"]["heard"].append({**low, "verdict": "tighten"})
    animation = Animation()
    animation.show(told, 1.0)

    column = lit_at(animation, 1.0)

    assert column[MIDDLE] < 0.01
    assert max(column[:MIDDLE]) > 0.01


def test_it_outlives_a_snapshot_and_ends_with_the_pass_or_after_a_while() -> None:
    animation = Animation()
    animation.show(lug_told(25.0), 1.0)
    animation.show(ROOM, 1.1)
    kept = lit_at(animation, 1.1)
    animation.show({**ROOM, "heads": {"passes": {}}}, 2.0)
    left = lit_at(animation, 2.0)
    animation.show(lug_told(25.0), 3.0)
    late = lit_at(animation, 3.1 + LUG_LASTS_S)

    assert max(kept) > 0.01
    assert left == DARK
    assert late == DARK


def test_a_column_that_follows_another_player_is_not_taken() -> None:
    animation = Animation(player="tove")
    animation.show(lug_told(25.0), 1.0)

    assert lit_at(animation, 1.0) == DARK


def test_a_lug_nobody_has_heard_yet_lights_nothing() -> None:
    animation = Animation()
    animation.show(lug_told(25.0, last=None), 1.0)

    assert lit_at(animation, 1.0) == DARK
