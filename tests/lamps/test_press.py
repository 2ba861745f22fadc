"""What a press of a button means."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from station.lamps.press import BOUNCE_S, LONG_S, STUCK_S, PressJudge


def test_a_short_press_counts_when_it_is_let_go():
    judge = PressJudge()
    judge.down(10.0)

    assert judge.held(11.0) is None
    assert judge.up(11.0) == "short"


def test_a_long_press_counts_once_while_it_is_held():
    judge = PressJudge()
    judge.down(10.0)

    assert judge.held(12.0) == "long"
    assert judge.held(14.0) is None
    assert judge.up(15.0) is None


def test_a_long_press_that_nobody_asked_about_counts_when_it_is_let_go():
    judge = PressJudge()
    judge.down(10.0)

    assert judge.up(12.5) == "long"


def test_a_press_shorter_than_a_finger_can_be_is_a_bounce():
    judge = PressJudge()
    judge.down(10.0)

    assert judge.up(10.0 + 0.9 * BOUNCE_S) is None


def test_a_button_let_go_that_was_never_seen_pressed_means_nothing():
    judge = PressJudge()

    assert judge.held(20.0) is None
    assert judge.up(20.0) is None
    judge.down(21.0)
    assert judge.up(21.2) == "short"


def test_a_button_that_stays_down_is_stuck_and_said_to_be_once():
    judge = PressJudge()
    judge.down(0.0)

    assert not judge.has_stuck(STUCK_S - 0.1)
    assert judge.has_stuck(STUCK_S)
    assert not judge.has_stuck(STUCK_S + 2.0)
    judge.up(STUCK_S + 3.0)
    judge.down(100.0)
    assert not judge.has_stuck(101.0)


def test_a_button_that_was_down_at_the_start_means_nothing_until_it_has_been_let_go():
    judge = PressJudge()
    judge.was_down()

    assert judge.stuck
    assert judge.held(60.0) is None
    assert not judge.has_stuck(60.0)
    assert judge.up(61.0) is None
    assert not judge.stuck
    judge.down(62.0)
    assert judge.up(62.2) == "short"


def test_a_stuck_button_works_again_after_it_was_let_go():
    judge = PressJudge()
    judge.down(0.0)
    assert judge.held(LONG_S) == "long"
    assert judge.has_stuck(STUCK_S)

    assert judge.up(STUCK_S + 1.0) is None
    judge.down(STUCK_S + 2.0)

    assert not judge.stuck
    assert judge.up(STUCK_S + 2.2) == "short"


@given(st.lists(st.tuples(st.booleans(), st.floats(0.0, 5.0)), max_size=40))
def test_however_the_contact_behaves_there_are_never_more_presses_than_contacts(changes):
    judge, now_s, told, contacts = PressJudge(), 0.0, 0, 0
    for down, later_s in changes:
        now_s += later_s
        told += judge.held(now_s) is not None
        if down:
            judge.down(now_s)
            contacts += 1
        else:
            told += judge.up(now_s) is not None

    assert told <= contacts


@given(st.floats(BOUNCE_S + 1e-6, LONG_S - 1e-6), st.floats(0.0, 1e4))
def test_whatever_a_finger_does_is_short_or_long(length_s, from_s):
    judge = PressJudge()
    judge.down(from_s)

    assert judge.up(from_s + length_s + 1e-6) in ("short", "long")
