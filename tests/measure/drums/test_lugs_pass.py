"""The guided pass: which lug next, when it is over, what the page is told."""

from __future__ import annotations

import json

import numpy as np
import pytest

from station.errors import DrumError
from station.measure.drums.head_pass import TAPS, HeadPass, turns_in_words
from station.measure.drums.turning import Turn
from station.measure.drums.types import Mode
from station.music.lugs import LUG_COUNTS, clockwise_order, cross_order
from tests.support.head_taps import Drummer, Hand, random_drummer, stroke_of
from tests.support.membrane import SimulatedHead

KEYS = {
    "lugs", "phase", "tap_next", "order", "heard", "advice", "evenness_cents", "even", "says",
    "passes", "confusion", "farthest", "turn_next", "to_turn", "taps_wanted", "last",
}  # fmt: skip


class Clock:
    """Every stroke a second after the one before."""

    def __init__(self) -> None:
        self.at_s = 0.0

    def next(self) -> float:
        self.at_s += 1.0
        return self.at_s


def tap_round(guide: HeadPass, drummer: Drummer, clock: Clock) -> list[int]:
    """Tap what is asked for until nothing is; the lugs in order."""
    phase, tapped = guide.phase, []
    while guide.phase == phase and (lug := guide.tap_next()) is not None:
        guide.tapped(stroke_of(drummer.modes(lug), clock.next()))
        tapped.append(lug)
    return tapped


@pytest.mark.parametrize("lugs", LUG_COUNTS)
def test_from_finger_tight_it_goes_across_and_then_clockwise_twice_a_lug(lugs: int) -> None:
    guide, drummer, clock = HeadPass(lugs, "cross"), random_drummer("random", lugs, 1), Clock()

    across = tap_round(guide, drummer, clock)
    around = tap_round(guide, drummer, clock)

    assert tuple(across) == cross_order(lugs)
    assert around == [lug for lug in clockwise_order(lugs) for _ in range(TAPS)]
    assert guide.phase == "fine"
    assert guide.head is not None


def test_the_page_is_told_what_it_needs_in_every_state() -> None:
    guide, drummer, clock = HeadPass(6, "cross"), random_drummer("one slack", 6, 2), Clock()
    states = [guide.payload()]

    for _ in range(40):
        lug = guide.tap_next()
        if lug is None:
            guide.turned()
        else:
            guide.tapped(stroke_of(drummer.modes(lug), clock.next()))
        states.append(guide.payload())

    for state in states:
        assert set(state) == KEYS
        assert state["says"]
        assert "\n" not in state["says"]
        json.dumps(state, allow_nan=False)
    assert {state["phase"] for state in states} == {"cross", "fine"}


def test_what_each_tap_sounded_like_is_shown_while_the_round_goes_on() -> None:
    guide, drummer = HeadPass(6), random_drummer("random", 6, 1)

    guide.tapped(stroke_of(drummer.modes(1), 1.0))
    guide.tapped(stroke_of(drummer.modes(1), 2.0))
    guide.tapped(stroke_of(drummer.modes(2), 3.0))

    heard = guide.payload()["heard"]
    assert [each["lug"] for each in heard] == [1, 2]
    low, high = drummer.head.modes()[1:3]
    for each in heard:
        assert low.hz * 0.99 < each["hz"] < high.hz * 1.01


def test_a_slack_lug_is_advised_first_with_its_opposite_and_how_far() -> None:
    guide, drummer = HeadPass(8), random_drummer("one slack", 8, 4)
    slackest = drummer.head.tensions.index(min(drummer.head.tensions)) + 1

    tap_round(guide, drummer, Clock())

    opposite = (slackest + 3) % 8 + 1
    first, second = guide.advised()[:2]
    assert {first.lug, second.lug} == {slackest, opposite}
    assert first.turns > 0
    assert f"lug {first.lug} first: tighten by" in guide.says()
    assert not guide.even


def test_rounds_of_tapping_and_turning_end_with_an_even_head() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("one slack", 6, 3), Clock()

    for _ in range(5):
        tap_round(guide, drummer, clock)
        if guide.even:
            break
        for lug, turns in guide.advised():
            drummer.head = drummer.head.turned(lug, turns, drummer.response)
        guide.turned()

    assert guide.even
    assert guide.passes <= 4
    assert guide.advised() == ()
    assert guide.says().startswith("even")
    assert guide.tap_next() is None


@pytest.mark.parametrize("verdict", ["rim", "double", "clipped", "other drum"])
def test_a_bad_stroke_is_not_counted_and_the_page_says_why(verdict: str) -> None:
    guide, drummer = HeadPass(6), random_drummer("random", 6, 1)

    guide.tapped(stroke_of(drummer.modes(1), 1.0, verdict))

    assert guide.tap_next() == 1
    assert guide.payload()["heard"] == []
    assert guide.says().endswith("tap again")


def test_a_stroke_without_modes_was_too_soft() -> None:
    guide = HeadPass(6)

    guide.tapped(stroke_of((), 1.0))

    assert guide.says() == "too soft to hear: tap again"


def test_the_next_good_stroke_takes_the_complaint_back() -> None:
    guide, drummer = HeadPass(6), random_drummer("random", 6, 1)
    guide.tapped(stroke_of(drummer.modes(1), 1.0, "rim"))

    guide.tapped(stroke_of(drummer.modes(1), 2.0))

    assert guide.says().startswith("tap an inch and a half")


def test_a_stroke_told_again_replaces_what_it_told_before() -> None:
    guide = HeadPass(6)
    guide.tapped(stroke_of((Mode(200.0, 5.0, 0.0, None),), 1.0))

    guide.tapped(stroke_of((Mode(201.0, 0.2, 0.0, 0.8),), 1.0))

    heard = guide.payload()["heard"]
    assert [(each["lug"], each["hz"]) for each in heard] == [(1, 201.0)]


def test_a_lug_tapped_out_of_turn_may_be_named() -> None:
    guide, drummer = HeadPass(6), random_drummer("random", 6, 1)

    guide.tapped(stroke_of(drummer.modes(4), 1.0), lug=4)

    assert guide.tap_next() == 1
    assert [each["lug"] for each in guide.payload()["heard"]] == [4]


def test_what_was_really_turned_may_be_told() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("one slack", 6, 2), Clock()
    tap_round(guide, drummer, clock)
    made = [Turn(2, 0.03)]
    drummer.head = drummer.head.turned(2, 0.03, drummer.response)

    guide.turned(made)
    tap_round(guide, drummer, clock)

    assert guide.known is not None
    assert guide.known.learned == 1


def test_a_round_nobody_hears_a_pair_in_is_begun_again() -> None:
    guide = HeadPass(4)

    for at in range(4 * TAPS):
        guide.tapped(stroke_of((Mode(100.0, 1.0, -40.0, 1.0),), float(at)))

    assert guide.head is None
    assert guide.tap_next() == 1
    assert "mute the centre" in guide.says()


def test_restarting_forgets_the_round_and_not_the_drum() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("random", 6, 1), Clock()
    tap_round(guide, drummer, clock)
    known = guide.known
    guide.turned([])
    guide.tapped(stroke_of(drummer.modes(1), clock.next()))

    guide.restart()

    assert guide.payload()["heard"] == []
    assert guide.known is known


def test_a_round_tapped_anew_says_which_lug_is_farthest_out_whatever_was_tapped_before() -> None:
    guide, clock = HeadPass(6), Clock()
    for slack in (1, 3):
        tensions = [1000.0] * 6
        tensions[slack - 1] = 850.0
        head = SimulatedHead(tuple(tensions))
        drummer = Drummer(head, None, Hand(), np.random.default_rng(slack))
        guide.restart()
        tap_round(guide, drummer, clock)

    assert guide.head is not None
    assert guide.head.farthest.candidates[0] == (3, 6)


def test_the_rounds_last_stroke_told_again_concludes_it_anew_and_only_once() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("one slack", 6, 3), Clock()
    tap_round(guide, drummer, clock)
    first = guide.head
    again = stroke_of(drummer.modes(6), clock.at_s)

    counts = guide.tapped(again)

    assert counts
    assert guide.head is not None
    assert guide.head != first
    assert guide.passes == 1
    assert guide.taps[-1] == (6, again)


def test_a_last_stroke_that_was_no_tap_after_all_opens_the_round_again() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("one slack", 6, 3), Clock()
    tap_round(guide, drummer, clock)

    guide.tapped(stroke_of(drummer.modes(6), clock.at_s, "double"))

    assert guide.tap_next() == 6
    assert (guide.head, guide.known, guide.passes) == (None, None, 0)
    assert "tap lug 6 again" in guide.says()


def test_the_last_stroke_across_told_again_is_no_tap_of_the_next_round() -> None:
    guide, drummer, clock = HeadPass(6, "cross"), random_drummer("random", 6, 1), Clock()
    tap_round(guide, drummer, clock)

    counts = guide.tapped(stroke_of(drummer.modes(3), clock.at_s))

    assert not counts
    assert guide.taps == ()


def test_once_a_lug_was_turned_what_is_told_again_changes_no_advice() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("one slack", 6, 2), Clock()
    tap_round(guide, drummer, clock)
    guide.turned_one(guide.advised()[0].lug)
    left = guide.advised()

    guide.tapped(stroke_of(drummer.modes(6), clock.at_s, "double"))

    assert guide.advised() == left


def test_lugs_are_turned_one_by_one_and_the_next_round_follows_the_last() -> None:
    one, all_at_once = HeadPass(6), HeadPass(6)
    for guide in (one, all_at_once):
        tap_round(guide, random_drummer("one slack", 6, 2), Clock())
    advised = one.advised()

    for lug, _ in advised:
        assert one.tap_next() is None
        one.turned_one(lug)
    all_at_once.turned()

    assert one.tap_next() == 1
    assert one.known is not None and all_at_once.known is not None
    assert one.known.mean == pytest.approx(all_at_once.known.mean)


def test_a_lug_may_be_tapped_anew() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("random", 6, 1), Clock()
    for lug in (1, 1, 2):
        guide.tapped(stroke_of(drummer.modes(lug), clock.next()))

    guide.again()
    assert guide.tap_next() == 2
    assert [lug for lug, _ in guide.taps] == [1, 1]
    guide.again(1)

    assert guide.taps == ()
    assert not guide.tapped(stroke_of(drummer.modes(1), clock.at_s))  # it has been taken back


@pytest.mark.parametrize("steps", [0, 3, 12, 14, 20, 26, 31])
def test_a_pass_goes_on_from_what_was_kept_wherever_it_was_broken_off(steps: int) -> None:
    drummers = [random_drummer("one slack", 6, 3) for _ in range(2)]
    guide, clock = HeadPass(6), Clock()

    def step(passing: HeadPass, drummer: Drummer, at_s: float) -> None:
        lug = passing.tap_next()
        if lug is not None:
            passing.tapped(stroke_of(drummer.modes(lug), at_s))
        elif passing.advised():
            passing.turned_one(passing.advised()[0].lug)
        else:
            passing.restart()

    for _ in range(steps):
        step(guide, drummers[0], clock.next())
    again = HeadPass.from_state(json.loads(json.dumps(guide.state(), allow_nan=False)))
    drummers[1].rng = np.random.default_rng()
    drummers[1].rng.bit_generator.state = drummers[0].rng.bit_generator.state

    for _ in range(16):
        at_s = clock.next()
        step(guide, drummers[0], at_s)
        step(again, drummers[1], at_s)

    assert again.says() == guide.says()
    assert again.tap_next() == guide.tap_next()
    assert again.passes == guide.passes
    assert [turn.turns for turn in again.advised()] == pytest.approx(
        [turn.turns for turn in guide.advised()], rel=1e-4
    )


def test_what_is_known_of_another_evening_makes_turns_sure_and_pitches_open() -> None:
    guide, drummer, clock = HeadPass(6), random_drummer("one slack", 6, 3), Clock()
    for _ in range(3):
        tap_round(guide, drummer, clock)
        for lug, turns in guide.advised():
            drummer.head = drummer.head.turned(lug, turns, drummer.response)
        guide.turned()
    learned = guide.known
    assert learned is not None

    anew = learned.anew()

    assert anew.mean[6:] == pytest.approx(learned.mean[6:])
    assert (anew.covariance[6:, 6:] == learned.covariance[6:, 6:]).all()
    assert (np.diag(anew.covariance)[:6] > np.diag(learned.covariance)[:6]).all()
    assert anew.learned == learned.learned
    assert HeadPass(6, known=anew).known is anew
    with pytest.raises(DrumError):
        HeadPass(8, known=anew)


def test_impossible_lugs_are_refused() -> None:
    with pytest.raises(DrumError):
        HeadPass(7)
    with pytest.raises(DrumError):
        HeadPass(6).tapped(stroke_of((), 1.0), lug=7)
    with pytest.raises(DrumError):
        HeadPass(6).turned([Turn(0, 0.1)])


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        (0.5, "half a turn"),
        (-0.25, "a quarter of a turn"),
        (0.0625, "a sixteenth of a turn"),
        (1 / 36, "10 degrees"),
        (0.004, "1.4 degrees"),
    ],
)
def test_turns_are_told_as_drummers_say_them(turns: float, words: str) -> None:
    assert turns_in_words(turns) == words


def test_ten_lugs_are_tapped_thrice_once_they_are_nearly_even() -> None:
    for lugs, later in ((8, 2), (10, 3)):
        guide, clock = HeadPass(lugs), Clock()
        drummer = random_drummer("one slack, others random", lugs, 4)

        first = tap_round(guide, drummer, clock)
        guide.turned()
        second = tap_round(guide, drummer, clock)

        assert (len(first), len(second)) == (2 * lugs, later * lugs)
