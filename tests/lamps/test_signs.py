"""The two signs about the reference: brackets that close in, and one slow bloom."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_column import FRAME_S, drawn, flashes, reading

from station.lamps.animation import Animation
from station.lamps.column import DARK, MIDDLE
from station.lamps.pins import BAND, COLUMN, TOTAL_LIMIT_MA
from station.lamps.signs import BLOOM_S, FAR_CENTS, NEAR_CENTS, bloom, brackets, next_span, span

FAR, NEAR, ALONE = (1, 0, 0, 0, 0, 0, 1), (0, 0, 1, 0, 1, 0, 0), (0, 0, 0, 1, 0, 0, 0)
FIRST, SECOND, THIRD = "2026-05-09T19:30:00Z", "2026-05-09T19:41:20Z", "2026-05-09T19:58:03Z"


def instrument(uncertainty_cents: float, enough: bool = False) -> dict:
    return {"uncertainty_cents": uncertainty_cents, "enough": enough}


def measuring(heard: dict | None, sounding: bool = True) -> dict:
    return {"id": "sanna", "name": "Sanna's harmonica", "sounding": sounding, "instrument": heard}


def room(measured: dict | None = None, set_at: str = FIRST, a4_hz: float = 440.0) -> dict:
    return {
        "roll_call": {"in": 0, "total": 6, "complete": False},
        "players": [],
        "measuring": measured,
        "reference": {"a4_hz": a4_hz, "set_at": set_at},
    }


# -- measuring -----------------------------------------------------------


@pytest.mark.parametrize(
    ("heard", "lamps"),
    [
        (None, FAR),
        (instrument(40.0), FAR),
        (instrument(FAR_CENTS), FAR),
        (instrument(math.sqrt(FAR_CENTS * NEAR_CENTS)), (0, 1, 0, 0, 0, 1, 0)),
        (instrument(NEAR_CENTS), NEAR),
        (instrument(0.1), NEAR),  # never the white one alone before it is enough
        (instrument(0.0), NEAR),
        (instrument(0.4, enough=True), ALONE),
    ],
)
def test_the_surer_the_reference_the_closer_the_brackets(heard, lamps):
    assert brackets(span(heard), 0.0) == pytest.approx(lamps)


@given(st.floats(0, 100), st.floats(0, 100))
def test_the_surer_of_two_never_stands_wider(one, other):
    sure, unsure = sorted((one, other))

    assert span(instrument(sure)) <= span(instrument(unsure))


@given(st.floats(0, 3), st.floats(0, 100))
def test_the_brackets_stand_as_high_as_low_and_are_never_gone(wide, waited_s):
    lights = brackets(wide, waited_s)

    assert lights == pytest.approx(lights[::-1])
    assert all(0.0 <= light <= 1.0 for light in lights)
    assert max(lights) > 0.04


def test_the_brackets_are_still_while_it_sounds_and_breathe_while_it_does_not():
    waiting = [max(brackets(2.0, number * FRAME_S)) for number in range(400)]  # eight seconds

    assert {brackets(2.0, 0.0) for _ in range(50)} == {(0, 1, 0, 0, 0, 1, 0)}
    assert flashes(waiting, swing=0.5) == 2


@given(st.floats(0, 3), st.floats(0, 3), st.floats(0, 1))
def test_the_brackets_move_slowly_and_stop_where_they_belong(shown, wanted, passed_s):
    moved = next_span(shown, wanted, passed_s)

    assert abs(moved - shown) <= 1.5 * passed_s + 1e-9
    assert min(shown, wanted) - 1e-9 <= moved <= max(shown, wanted) + 1e-9
    assert next_span(shown, wanted, 2.0) == pytest.approx(wanted)


def test_measuring_shows_brackets_that_close_in_until_the_white_lamp_is_alone():
    animation = Animation()
    columns = []
    for number, heard in enumerate([None, instrument(6.0), instrument(2.0), instrument(0.4, True)]):
        animation.show(room(measuring(heard)), 4.0 * number)
        columns.append(drawn(animation, 4.0 * number, 200)[0])

    assert columns[0] == FAR
    assert columns[3] == ALONE
    widths = [
        sum(abs(lamp - MIDDLE) * light for lamp, light in enumerate(lights)) / sum(lights)
        for lights in columns
    ]
    assert all(closer < wider for wider, closer in pairwise(widths))


def test_while_it_is_silent_the_brackets_breathe_and_the_first_sound_stills_them():
    animation = Animation()
    animation.show(room(measuring(None, sounding=False)), 0.0)
    waiting = [animation.frame(number * FRAME_S)[0][0] for number in range(400)]
    animation.show(room(measuring(None, sounding=True)), 8.0)
    sounding = [animation.frame(8.0 + number * FRAME_S)[0][0] for number in range(100)]

    assert max(waiting) - min(waiting[20:]) > 0.5
    assert set(sounding[20:]) == {1.0}


def test_what_players_play_meanwhile_is_not_shown_until_the_measuring_ends():
    animation = Animation()
    animation.show(room(measuring(None)), 0.0)
    animation.show(reading(-10.0, 0.0), 0.0)
    during, _ = drawn(animation, 0.0, 40)
    animation.show(room(None), 0.8)
    animation.show(reading(-10.0, 0.0), 0.8)

    after, _ = drawn(animation, 0.8, 40)

    assert during == FAR
    assert after[1] == 1.0
    assert sum(after) == 1.0


def test_the_next_instrument_begins_with_the_brackets_far_apart():
    animation = Animation()
    animation.show(room(measuring(instrument(0.4, True))), 0.0)
    drawn(animation, 0.0, 200)
    animation.show(room(None), 4.0)
    animation.show(room(measuring(None)), 4.1)

    assert drawn(animation, 4.1, 30)[0] == FAR


# -- agreed --------------------------------------------------------------


def test_light_spreads_from_the_white_lamp_to_all_and_draws_back_once():
    ages = [number * FRAME_S for number in range(round(BLOOM_S / FRAME_S))]
    frames = [bloom(age_s) for age_s in ages]
    columns = [frame[0] for frame in frames if frame]

    assert len(columns) == len(ages)
    for lights in columns:
        assert lights == lights[::-1]
        assert all(inner >= outer for inner, outer in pairwise(lights[MIDDLE:]))
    for lamp in range(7):
        lights = [lights[lamp] for lights in columns]
        top = lights.index(max(lights))
        assert lights[top] == pytest.approx(1.0, abs=0.01)
        assert all(a <= b + 1e-9 for a, b in pairwise(lights[: top + 1]))
        assert all(a >= b - 1e-9 for a, b in pairwise(lights[top:]))
    assert bloom(-0.1) is None
    assert bloom(BLOOM_S) is None


def test_the_bloom_never_outruns_what_the_lamps_may_do():
    steps = [bloom(number * FRAME_S) for number in range(round(BLOOM_S / FRAME_S))]

    for (before, band_before), (after, band_after) in pairwise(step for step in steps if step):
        changes = [abs(b - a) for a, b in zip(before, after, strict=True)]
        assert max(*changes, abs(band_after - band_before)) <= 6.0 * FRAME_S  # SLEW_PER_S


def test_at_its_brightest_the_bloom_stays_within_the_boards_limit():
    brightest, band = bloom(BLOOM_S / 2) or (DARK, 0.0)

    lamps = zip((*COLUMN, BAND), (*brightest, band), strict=True)
    total_ma = sum(light * lamp.worst_ma for lamp, light in lamps)

    assert (*brightest, band) == pytest.approx([1.0] * 8)
    # By hand in tests/lamps/test_electrics.py: amber 5.74 mA, white and blue 6.24 mA at the most.
    assert total_ma == pytest.approx(3 * 5.738 + 5 * 6.245, abs=0.01)
    assert total_ma <= TOTAL_LIMIT_MA == 50.0


def brightest_of(animation: Animation, from_s: float, seconds: float = BLOOM_S) -> float:
    """The least lit lamp's best moment: 1 when all bloom."""
    frames = [animation.frame(from_s + n * FRAME_S) for n in range(round(seconds / FRAME_S))]
    return max(min((*lights, band)) for lights, band in frames)


def test_a_newer_reference_blooms_once_and_then_all_is_as_before():
    animation = Animation()
    animation.show(room(), 0.0)
    drawn(animation, 0.0, 10)
    animation.show(room(set_at=SECOND, a4_hz=442.0), 1.0)

    first = brightest_of(animation, 1.0)
    animation.show(room(set_at=SECOND, a4_hz=442.0), 5.0)
    second = brightest_of(animation, 5.0)

    assert first > 0.95
    assert second == 0.0


def test_the_reference_there_is_at_the_start_does_not_bloom():
    animation = Animation()
    animation.show(room(set_at=SECOND), 0.0)

    assert brightest_of(animation, 0.0) == 0.0


def test_a_reference_set_for_the_first_time_blooms():
    animation = Animation()
    animation.show(room(set_at=""), 0.0)
    animation.show(room(set_at=FIRST), 1.0)

    assert brightest_of(animation, 1.0) > 0.95


def test_an_undo_does_not_bloom_and_what_is_agreed_after_it_does():
    animation = Animation()
    animation.show(room(set_at=FIRST), 0.0)
    animation.show(room(set_at=SECOND, a4_hz=442.0), 0.0)
    brightest_of(animation, 0.0, 4.0)

    animation.show(room(set_at=FIRST), 5.0)
    undone = brightest_of(animation, 5.0)
    animation.show(room(set_at=THIRD, a4_hz=441.0), 10.0)
    agreed = brightest_of(animation, 10.0)

    assert undone == 0.0
    assert agreed > 0.95


def test_quiet_dims_both_signs_to_a_quarter():
    animation = Animation()
    animation.quiet = True
    animation.show(room(measuring(None)), 0.0)
    column, _ = drawn(animation, 0.0, 40)
    animation.show(room(None, set_at=SECOND), 1.0)

    frames = [animation.frame(1.0 + n * FRAME_S) for n in range(150)]

    assert column == tuple(0.25 * light for light in FAR)
    assert max(max(*lights, band) for lights, band in frames) == pytest.approx(0.25, abs=0.01)


# -- whatever happens ----------------------------------------------------

happenings = st.one_of(
    st.tuples(st.just("reading"), st.floats(-40, 40), st.floats(0, 30)),
    st.tuples(
        st.just("measuring"), st.sampled_from([None, 9.0, 3.0, 0.9, 0.0]), st.booleans()
    ),
    st.tuples(st.just("idle"), st.just(None), st.just(None)),
    st.tuples(st.just("agreed"), st.just(None), st.just(None)),
    st.tuples(st.just("quiet"), st.booleans(), st.just(None)),
)  # fmt: skip


@settings(deadline=None)
@given(st.lists(happenings, min_size=5, max_size=40))
def test_whatever_happens_no_lamp_flashes_more_than_three_times_a_second(sequence):
    animation = Animation()
    frames = []
    taken = 0
    for number in range(150):
        now_s = number * FRAME_S
        if number % 3 == 0:
            what, value, more = sequence[(number // 3) % len(sequence)]
            if what == "reading":
                animation.show(reading(value, more), now_s)
            elif what == "measuring":
                heard = None if value is None else instrument(value, enough=value == 0.0)
                animation.show(room(measuring(heard, more), f"{taken:04}"), now_s)
            elif what == "quiet":
                animation.quiet = value
            else:
                taken += what == "agreed"
                animation.show(room(None, f"{taken:04}"), now_s)
        column, band = animation.frame(now_s)
        frames.append((*column, band))

    for lights in map(list, zip(*frames, strict=True)):
        assert all(0.0 <= light <= 1.0 for light in lights)
        for start in range(0, 100, 10):
            assert flashes(lights[start : start + 51], swing=0.9) <= 3
