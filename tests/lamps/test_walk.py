"""What the lamp test shows: every lamp alone and once, then signs that differ and never flash."""

from __future__ import annotations

import pytest

from station.lamps.column import DARK
from station.lamps.walk import Step, settled, steps
from station.lamps.wiring import STANDARD, own_wiring

FRAME_S = 0.02


def frames(step: Step) -> list[tuple[float, ...]]:
    shown = (DARK, 0.0)
    seen = []
    for number in range(int(step.seconds / FRAME_S)):
        shown = settled(shown, step.shown(number * FRAME_S), FRAME_S)
        seen.append((*shown[0], shown[1]))
    return seen


def test_every_lamp_is_lit_fully_and_alone_in_the_order_it_hangs():
    lamps = [step for step in steps(STANDARD, 1.0) if step.kind == "lamp"]

    assert [step.lamp for step in lamps] == [*STANDARD.column, STANDARD.band]
    for place, step in enumerate(lamps):
        assert frames(step)[-1] == tuple(float(each == place) for each in range(8))


def test_a_short_column_without_a_band_lamp_is_walked_likewise():
    wiring = own_wiring([4, 17, 27])
    shown = list(steps(wiring, 1.0))

    lamps = [step for step in shown if step.kind == "lamp"]
    assert [step.name for step in lamps] == ["flat", "in", "sharp"]
    assert [frames(step)[-1].index(1.0) for step in lamps] == [2, 3, 4]
    assert "roll call" not in {step.name for step in shown}


def test_every_sign_lights_something_and_no_two_are_alike():
    signs = [step for step in steps(STANDARD, 1.0) if step.kind == "sign"]

    shown = [tuple(frames(step)) for step in signs]

    assert len(signs) == 7
    assert all(max(max(lights) for lights in each) > 0.2 for each in shown)
    assert len(set(shown)) == len(signs)


@pytest.mark.parametrize("lamp_s", [0.02, 0.3, 1.0, 3.0])
def test_no_lamp_flashes_more_than_three_times_a_second_at_any_speed(lamp_s):
    lights: list[list[float]] = [[] for _ in range(8)]
    shown = (DARK, 0.0)
    for step in steps(STANDARD, lamp_s):
        for number in range(max(1, int(step.seconds / FRAME_S))):
            shown = settled(shown, step.shown(number * FRAME_S), FRAME_S)
            for each, light in zip(lights, (*shown[0], shown[1]), strict=True):
                each.append(light)

    for each in lights:
        for start in range(max(1, len(each) - 50)):
            assert flashes(each[start : start + 51]) <= 3


def flashes(lights: list[float]) -> int:
    """Rises by nine tenths and more of full light since the last fall as deep."""
    count, low, high, rising = 0, lights[0], lights[0], True
    for light in lights:
        if rising:
            low = min(low, light)
            if light - low >= 0.9:
                count, rising, high = count + 1, False, light
        else:
            high = max(high, light)
            if high - light >= 0.9:
                rising, low = True, light
    return count
