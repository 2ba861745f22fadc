"""What the lamps show: height, colour, beat, and never a dangerous flash."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.lamps.animation import READING_LASTS_S, Animation
from station.lamps.column import (
    DARK,
    MIDDLE,
    NEVER_HZ,
    TRUE_TO_HZ,
    band_light,
    column_at,
    next_phase,
    pulse,
    pulse_hz,
    settled,
)
from station.lamps.pins import BAND, COLUMN

FRAME_S = 0.02


def height(column: tuple[float, ...]) -> float:
    """Where the light's centre is, in lamps above the white one."""
    return sum((lamp - MIDDLE) * light for lamp, light in enumerate(column)) / sum(column)


@pytest.mark.parametrize(
    ("cents", "lamp"),
    [
        (-300.0, 0), (-50.0, 0), (-23.0, 0),
        (-17.0, 1), (-7.0, 1),
        (-5.0, 2), (-2.1, 2),
        (-2.0, 3), (0.0, 3), (2.0, 3),
        (2.1, 4), (5.0, 4),
        (7.0, 5), (17.0, 5),
        (23.0, 6), (50.0, 6), (300.0, 6),
    ],
)  # fmt: skip
def test_each_distance_lights_its_lamp_and_no_other(cents, lamp):
    column = column_at(cents, phase=0.0)

    assert column == tuple(1.0 if place == lamp else 0.0 for place in range(7))


@pytest.mark.parametrize(
    ("cents", "colour"), [(-9.0, "amber"), (-3.0, "amber"), (0.5, "white"), (3.0, "blue")]
)
def test_amber_is_below_blue_above_and_white_in(cents, colour):
    column = column_at(cents, phase=0.0)

    assert COLUMN[column.index(max(column))].colour == colour


@given(st.floats(-400, 400), st.floats(-400, 400), st.floats(0, 1))
def test_the_sharper_of_two_pitches_never_stands_lower(one, other, phase):
    low, high = sorted((one, other))

    assert height(column_at(low, phase)) <= height(column_at(high, phase)) + 1e-9


@given(st.floats(-400, 400), st.floats(0, 1))
def test_brightness_stays_between_dark_and_full(cents, phase):
    column = column_at(cents, phase)

    assert len(column) == 7
    assert all(0.0 <= light <= 1.0 for light in column)
    assert sum(light > 0.0 for light in column) in (1, 2)


@given(st.floats(2.05, 300), st.floats(0, 1))
def test_flat_mirrors_sharp(cents, phase):
    assert column_at(-cents, phase) == pytest.approx(column_at(cents, phase)[::-1])


@given(st.floats(2.2, 100))
def test_a_pitch_moving_a_little_moves_the_light_a_little(cents):
    here, near = column_at(cents, 0.0), column_at(cents * 1.01, 0.0)

    assert max(abs(a - b) for a, b in zip(here, near, strict=True)) < 0.06


@pytest.mark.parametrize("cents", [None, math.nan, math.inf])
def test_no_pitch_no_light(cents):
    assert column_at(cents, 0.0) == DARK


def test_the_rooms_word_decides_at_the_edge_of_in():
    assert column_at(2.6, 0.0, verdict="in")[MIDDLE] == 1.0
    assert column_at(1.9, 0.0, verdict="slacken")[MIDDLE] == 0.0


@given(st.floats(0, 1))
def test_in_is_still_whatever_the_beats(phase):
    assert column_at(1.0, phase) == column_at(0.0, 0.0)


@given(st.floats(0, 1000), st.floats(0, 1000))
def test_the_pulse_never_speeds_up_as_the_string_approaches(one, other):
    far, near = max(one, other), min(one, other)

    assert pulse_hz(near) <= pulse_hz(far)


@pytest.mark.parametrize("beats_hz", [0.01, 0.5, 1.0, 2.0, 2.5, 4.0, 8.0, 12.0, 20.0, 40.0])
def test_the_pulse_slows_visibly_between_rates_a_tenth_apart(beats_hz):
    assert pulse_hz(0.9 * beats_hz) < pulse_hz(beats_hz)


@given(st.floats(0, TRUE_TO_HZ))
def test_slow_beats_are_shown_at_their_true_rate(beats_hz):
    assert pulse_hz(beats_hz) == beats_hz


@given(st.floats())
def test_no_rate_of_beats_pulses_three_times_a_second(beats_hz):
    # WCAG 2.1, success criterion 2.3.1: not more than three flashes in any one second.
    assert 0.0 <= pulse_hz(beats_hz) < NEVER_HZ == 3.0


def test_the_pulse_follows_the_beat_over_time():
    phases = [next_phase(0.0, beats_hz=0.5, passed_s=passed_s) for passed_s in (0.0, 1.0, 2.0, 3.0)]
    lights = [max(column_at(10.0, phase)) for phase in phases]

    # Half a beat a second: bright at 0 s, faded at 1 s, bright again at 2 s.
    assert lights == pytest.approx([1.0, 0.1, 1.0, 0.1])


@given(st.floats(0, 1), st.floats(0, 30), st.floats(0, FRAME_S))
def test_the_pulse_never_outruns_what_the_lamps_may_do(phase, beats_hz, passed_s):
    after = next_phase(phase, beats_hz, passed_s)

    assert settled([pulse(phase)], [pulse(after)], passed_s)[0] == pytest.approx(pulse(after))


@given(st.lists(st.floats(0, 1), min_size=2, max_size=200))
def test_whatever_is_asked_at_most_three_full_flashes_fit_in_any_second(asked):
    shown = [0.0]
    for light in asked:
        shown.append(settled([shown[-1]], [light], FRAME_S)[0])

    second = round(1.0 / FRAME_S)
    for start in range(0, len(shown), 5):
        window = shown[start : start + second + 1]
        # A full flash is a rise from 0 to 1 and a fall back: 2.0 of travel.
        assert sum(abs(b - a) for a, b in pairwise(window)) / 2.0 <= 3.0 + 1e-9


def flashes(lights: list[float], swing: float) -> int:
    """Pairs of opposing changes of at least ``swing``, as WCAG 2.1 defines a flash."""
    turns, anchor, direction = 0, lights[0], 0
    for light in lights:
        step = light - anchor
        if (direction >= 0 and step > 0) or (direction <= 0 and step < 0):
            if abs(step) >= swing and direction == 0:
                direction, turns = (1 if step > 0 else -1), turns + 1
            if direction != 0:
                anchor = light
        elif abs(step) >= swing:
            direction, turns, anchor = -direction, turns + 1, light
    return turns // 2


def test_the_flash_counter_counts_flashes():
    assert flashes([0, 1, 0, 1, 0], 0.5) == 2
    assert flashes([0, 0.2, 0, 0.2], 0.5) == 0
    assert flashes([0.0, 0.5, 1.0, 0.5, 0.0, 1.0], 0.5) == 1


@given(st.lists(st.tuples(st.floats(-40, 40), st.floats(0, 30)), min_size=5, max_size=40))
def test_jumping_readings_never_make_a_lamp_flash_more_than_three_times_a_second(sounds):
    animation = Animation()
    column_frames = []
    for number in range(100):
        now_s = number * FRAME_S
        if number % 5 == 0:  # ten readings a second
            cents, beats_hz = sounds[(number // 5) % len(sounds)]
            animation.show(reading(cents, beats_hz), now_s)
        column_frames.append(animation.frame(now_s)[0])

    for lamp in range(7):
        lights = [frame[lamp] for frame in column_frames]
        for start in range(0, 50, 10):
            assert flashes(lights[start : start + 51], swing=0.9) <= 3


def reading(cents: float | None, beats_hz: float, player: str | None = "oda", **more) -> dict:
    verdict = None if cents is None else "in" if abs(cents) <= 2 else "tighten"
    return {
        "player": player,
        "at_s": 1.0,
        "string_cents": cents,
        "beats_hz": beats_hz,
        "verdict": verdict,
        **more,
    }


def room(heard_in: int, total: int, now: dict | None = None) -> dict:
    return {
        "roll_call": {"in": heard_in, "total": total, "complete": heard_in == total},
        "players": [{"id": "oda", "now": now}],
    }


def drawn(animation: Animation, from_s: float, frames: int) -> tuple[tuple[float, ...], float]:
    for number in range(frames):
        frame = animation.frame(from_s + number * FRAME_S)
    return frame


def test_the_band_lamp_is_still_only_when_the_roll_call_is_complete():
    times = [number * 0.25 for number in range(33)]

    for heard_in in range(14):
        lights = {band_light(heard_in, 14, t_s) for t_s in times}
        assert len(lights) > 4
        assert max(lights) < 0.7
    assert {band_light(14, 14, t_s) for t_s in times} == {1.0}


def test_a_room_without_strings_is_never_complete():
    assert band_light(0, 0, 0.0) != band_light(0, 0, 1.0)


@given(st.integers(1, 40), st.data(), st.floats(0, 100))
def test_the_band_lamp_grows_brighter_with_every_string_that_is_in(total, data, t_s):
    heard_in = data.draw(st.integers(0, total - 1))

    assert band_light(heard_in, total, t_s) < band_light(heard_in + 1, total, t_s)


def test_the_band_lamp_breathes_slower_than_any_beat_limit():
    lights = [band_light(3, 14, number * FRAME_S) for number in range(200)]  # four seconds

    assert flashes(lights, swing=0.1) == 1


def test_a_reading_lights_the_column_and_silence_darkens_it():
    animation = Animation()
    animation.show(reading(-30.0, 0.0), 0.0)

    lit, _ = drawn(animation, 0.0, 20)
    dark, _ = drawn(animation, READING_LASTS_S + 0.1, 20)

    assert lit[0] == 1.0
    assert dark == DARK


def test_the_column_stays_with_a_player_until_they_fall_silent():
    animation = Animation()
    animation.show(reading(-30.0, 0.0, player="oda"), 0.0)
    animation.show(reading(30.0, 0.0, player="bram"), 0.5)
    first, _ = drawn(animation, 0.0, 20)

    animation.show(reading(30.0, 0.0, player="bram"), 1.6)
    second, _ = drawn(animation, 1.6, 40)

    assert first[0] == 1.0
    assert second[6] == 1.0


def test_a_fixed_player_alone_moves_the_column():
    animation = Animation(player="bram")
    animation.show(reading(-30.0, 0.0, player="oda"), 0.0)

    assert drawn(animation, 0.0, 20)[0] == DARK


def test_a_note_that_has_ended_and_a_reading_without_a_string_light_nothing():
    animation = Animation()
    ended = reading(-30.0, 0.0)
    del ended["at_s"]

    animation.show(ended, 0.0)
    animation.show(reading(None, 0.3), 0.0)

    assert drawn(animation, 0.0, 20)[0] == DARK


def test_a_new_reference_takes_the_old_reading_off_the_column():
    animation = Animation()
    animation.show(reading(-30.0, 0.0), 0.0)
    drawn(animation, 0.0, 10)

    animation.show(room(0, 6, now=None), 0.3)

    assert drawn(animation, 0.3, 20)[0] == DARK


def test_quiet_dims_everything_to_a_quarter():
    animation = Animation()
    animation.show(reading(0.0, 0.0), 0.0)
    animation.show(room(6, 6, now={}), 0.0)
    animation.quiet = True

    column, band = drawn(animation, 0.0, 30)

    assert column[MIDDLE] == 0.25
    assert band == 0.25


def test_colours_stand_in_their_order():
    assert [lamp.colour for lamp in COLUMN] == ["amber"] * 3 + ["white"] + ["blue"] * 3
    assert BAND.colour == "white"


# -- turns ---------------------------------------------------------------------


def with_turn(*holders: str | None, players: tuple[str, ...] = ("oda", "per")) -> dict:
    lines = [{"line": 1, "players": list(players), "turn": each} for each in holders]
    return {**room(0, 6), "turns": lines}


def lit(animation: Animation, at_s: float, *readings: dict) -> float:
    for each in readings:
        animation.show(each, at_s)
    return max(drawn(animation, at_s, 20)[0])


def test_the_column_follows_who_has_the_turn():
    animation = Animation()
    animation.show(with_turn("per"), 0.0)

    assert lit(animation, 0.0, reading(0.5, 0.0, "oda")) == 0.0
    assert lit(animation, 1.0, reading(0.5, 0.0, "per")) == 1.0
    animation.show(with_turn("oda"), 1.5)
    assert lit(animation, 1.5) == 0.0  # a new turn begins in the dark
    assert lit(animation, 2.0, reading(0.5, 0.0, "per")) == 0.0
    assert lit(animation, 2.5, reading(0.5, 0.0, "oda")) == 1.0


def test_a_column_of_one_player_follows_turns_on_that_players_line_only():
    animation = Animation("oda")
    animation.show(with_turn("per"), 0.0)

    assert lit(animation, 0.0, reading(0.5, 0.0, "per")) == 1.0
    animation.show(with_turn("ulf", players=("ulf", "per")), 1.0)
    assert lit(animation, 3.0, reading(0.5, 0.0, "ulf")) == 0.0
    assert lit(animation, 3.5, reading(0.5, 0.0, "oda")) == 1.0
    animation.show(with_turn(None), 4.0)
    assert lit(animation, 5.5, reading(0.5, 0.0, "oda")) == 1.0
