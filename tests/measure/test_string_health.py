"""Dull and false strings against their own first day, and no alarm for good ones."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from station.errors import SignalError, StringStateError
from station.measure.string_health import hear_pluck, judge, state_of
from station.measure.string_health_types import StringState
from tests.support.pairs import PLUCK_S, RECORDED_HZ, recorded
from tests.support.worn_strings import RATE_HZ, Worn

GOOD = Worn(110.0)


def day(string: Worn, seed: int, plucks: int = 3, snr_db: float = 40) -> StringState:
    heard = [
        hear_pluck(string.pluck(100 * seed + i, snr_db), RATE_HZ, string.hz) for i in range(plucks)
    ]
    return state_of(heard)


@pytest.fixture(scope="module")
def first_day() -> StringState:
    return day(GOOD, 1, 4)


def test_falls_are_told_as_they_were_made():
    steady = replace(GOOD, scatter=0.0)

    pluck = hear_pluck(steady.pluck(3), RATE_HZ, 110.4)

    assert pluck is not None
    assert pluck.hz == pytest.approx(110.0, rel=2e-5)
    assert pluck.inharmonicity == pytest.approx(GOOD.stiffness, rel=0.02)
    for partial in pluck.partials:
        assert partial.fall_per_s == pytest.approx(steady.fall_per_s(partial.number), rel=0.1)
        assert partial.split_hz is None
        assert abs(partial.off_cents) < 0.1


@pytest.mark.parametrize("snr_db", [40, 25])
def test_a_good_string_is_never_flagged(first_day, snr_db):
    for seed in range(2, 5):
        assert judge(first_day, day(GOOD, seed, snr_db=snr_db)).health == "as on its first day"


def test_upper_partials_that_die_away_faster_make_it_dull(first_day):
    said = judge(first_day, day(replace(GOOD, upper_times=1.5), 7))

    assert said.health == "dull"
    assert said.evidence.faster == pytest.approx(1.5, rel=0.08)
    assert said.evidence.lower_faster == pytest.approx(1.0, rel=0.1)
    assert "times as fast" in said.why[0]


@pytest.mark.parametrize("times", [1.15, 0.7])
def test_a_little_faster_or_slower_is_not_dull(first_day, times):
    assert (
        judge(first_day, day(replace(GOOD, upper_times=times), 8)).health == "as on its first day"
    )


def test_a_hand_that_damps_all_partials_does_not_make_it_dull(first_day):
    damped = replace(GOOD, ring_s=1.5)

    assert judge(first_day, day(damped, 9)).health == "as on its first day"


def test_two_pitches_make_it_false(first_day):
    said = judge(first_day, day(replace(GOOD, split_cents=3.0), 10))

    assert said.health == "false"
    assert said.evidence.split_cents == pytest.approx(3.0, abs=0.2)
    assert said.evidence.first_split_cents is None
    assert len(said.evidence.split_partials) >= 3


def test_partials_off_the_law_make_it_false(first_day):
    said = judge(first_day, day(replace(GOOD, uneven_cents=5.0), 11))

    assert said.health == "false"
    assert said.evidence.off_cents is not None
    assert said.evidence.off_cents > 3.0


def test_one_split_partial_does_not(first_day):
    one = replace(GOOD, split_cents=4.0, split_only=6)

    assert judge(first_day, day(one, 12)).health == "as on its first day"


def test_a_string_that_was_split_on_its_first_day_is_no_worse_for_being_so():
    born_so = replace(GOOD, split_cents=2.5)

    assert judge(day(born_so, 13), day(born_so, 14)).health == "as on its first day"


def test_two_plucks_are_not_enough_for_anything(first_day):
    worn = day(replace(GOOD, upper_times=2.0), 15)
    few = StringState(worn.plucks[:2])

    assert judge(first_day, few).health == "cannot be told"
    assert judge(few, worn).health == "cannot be told"
    assert judge(StringState(()), worn).health == "cannot be told"
    with pytest.raises(StringStateError):
        state_of([*worn.plucks[:2], None])


def test_a_state_is_kept_as_plain_data(first_day):
    kept = json.loads(json.dumps(first_day.to_plain()))

    assert StringState.from_plain(kept) == first_day


@pytest.mark.parametrize(
    "plain",
    [
        None,
        [],
        {},
        {"plucks": 3},
        {"plucks": [{"hz": 110.0, "inharmonicity": 0.0}]},
        {"plucks": [{"hz": float("nan"), "inharmonicity": 0.0, "partials": []}]},
        {"plucks": [{"hz": -1, "inharmonicity": 0.0, "partials": []}]},
        {"plucks": [{"hz": 110, "inharmonicity": 0.0, "partials": [[0, 1.0, 0.0, None]]}]},
        {"plucks": [{"hz": 110, "inharmonicity": 0.0, "partials": [[1, 0.0, 0.0, None]]}]},
        {"plucks": [{"hz": 110, "inharmonicity": 0.0, "partials": [[1, 1.0]]}]},
        {"plucks": [{"hz": "110", "inharmonicity": True, "partials": []}]},
    ],
    ids=range(11),
)
def test_a_kept_state_that_does_not_hold_together_is_refused_in_one_line(plain):
    with pytest.raises(StringStateError) as caught:
        StringState.from_plain(plain)

    assert "\n" not in str(caught.value)


def test_what_is_no_pluck_says_nothing_or_is_refused():
    assert hear_pluck(np.zeros(2 * RATE_HZ), RATE_HZ, 110.0) is None
    assert hear_pluck(GOOD.pluck(1)[: RATE_HZ // 3], RATE_HZ, 110.0) is None
    for x, rate_hz, hz in (
        (np.full(RATE_HZ, np.nan), RATE_HZ, 110.0),
        (np.zeros((9, 2)), RATE_HZ, 110.0),
        (np.zeros(RATE_HZ), 1000, 110.0),
        (np.zeros(RATE_HZ), RATE_HZ, 3.0),
        (np.zeros(RATE_HZ), RATE_HZ, float("nan")),
    ):
        with pytest.raises(SignalError):
            hear_pluck(x, rate_hz, hz)


@pytest.mark.parametrize(("program", "midi"), [(24, 45), (33, 33)])
def test_a_recording_heard_again_at_other_levels_and_in_other_hiss_is_not_flagged(
    program: int, midi: int, tmp_path: Path
) -> None:
    hz = 440 * 2 ** ((midi - 69) / 12)
    x = recorded(tmp_path, program, midi, 2.6)[round(PLUCK_S * RECORDED_HZ) :]
    rng = np.random.default_rng(program)

    def takes(count: int) -> StringState:
        hiss = np.sqrt(np.mean(x[: RECORDED_HZ // 2] ** 2)) / 10 ** (35 / 20)
        levels = rng.uniform(0.5, 1.5, count)
        cuts = rng.integers(0, 960, count)
        heard = [
            hear_pluck(level * x[cut:] + hiss * rng.normal(size=x.size - cut), RECORDED_HZ, hz)
            for level, cut in zip(levels, cuts, strict=True)
        ]
        return state_of(heard)

    said = judge(takes(3), takes(3))

    assert said.health in ("as on its first day", "cannot be told")
