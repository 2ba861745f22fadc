"""The round of an instrument's pairs, and what beatless tuning adds up to."""

from __future__ import annotations

import pytest

from station.errors import ReferenceRangeError
from station.music.pairs_tour import candidates, tour
from station.music.tunings import find_tuning_by_name, tuning_names, with_capo

COMMA = 1.955  # 1200 log2(3/2) - 700


@pytest.mark.parametrize("name", tuning_names())
def test_every_tuning_has_a_round_that_reaches_all_its_strings(name):
    found = tour(find_tuning_by_name(name))

    assert found.left_out == ()
    known = {found.start.number}
    for step in found.steps:
        assert step.against.number in known
        known.add(step.tuned.number)
    assert known == {string.number for string in found.tuning.strings}


def test_a_bass_adds_up_to_three_fourths():
    found = tour(find_tuning_by_name("bass"))

    assert [step.pair.way for step in found.steps] == ["harmonics"] * 3
    assert dict(found.beatless) == pytest.approx(
        {4: COMMA, 3: 0, 2: -COMMA, 1: -2 * COMMA}, abs=1e-3
    )
    assert found.worst_cents == pytest.approx(3 * COMMA, abs=1e-3)


def test_a_guitar_goes_by_its_harmonics_and_one_open_string():
    steps = {step.tuned.number: step for step in tour(find_tuning_by_name("guitar")).steps}

    assert steps[6].equal_beat_hz == pytest.approx(0.372, abs=0.0005)
    # The 7th-fret harmonic of A2 is 330 Hz, the open E4 329.628: by hand.
    assert steps[1].pair.partials == (3, 1)
    assert steps[1].signed_beat_hz == pytest.approx(0.372, abs=0.0005)
    assert [steps[n].beatless_cents for n in (6, 4)] == pytest.approx([COMMA, -COMMA], abs=1e-3)


def test_violins_begin_at_a_and_go_by_open_fifths():
    found = tour(find_tuning_by_name("violin"))

    assert found.start.note == "A4"
    assert {(step.pair.way, step.pair.partials) for step in found.steps} == {("open", (3, 2))}
    assert dict(found.beatless)[4] == pytest.approx(-2 * COMMA, abs=1e-3)


def test_courses_are_tuned_to_themselves():
    mandolin = tour(find_tuning_by_name("mandolin")).steps
    twelve = tour(find_tuning_by_name("guitar-12")).steps

    assert sum(step.tuned.number == step.against.number for step in mandolin) == 4
    courses = [step for step in twelve if step.tuned.course == step.against.course]
    assert sorted(step.pair.partials for step in courses) == [(1, 1)] * 2 + [(2, 1)] * 4


def test_a_capo_moves_the_pitches_not_the_frets():
    guitar = find_tuning_by_name("guitar")

    plain, raised = tour(guitar), tour(with_capo(guitar, 2))

    by_pair = {step.pair.partials: step for step in plain.steps}
    assert by_pair.keys() >= {(4, 3)}
    for step in raised.steps:
        assert step.pair.first.touched_fret in (0, 5, 7, 12)


def test_beats_follow_the_reference_and_it_is_checked():
    bass = find_tuning_by_name("bass")

    for low, high in zip(tour(bass, 440.0).steps, tour(bass, 442.0).steps, strict=True):
        assert high.equal_beat_hz == pytest.approx(low.equal_beat_hz * 442 / 440)
    with pytest.raises(ReferenceRangeError):
        tour(bass, 4400.0)


def test_candidates_hold_every_step_and_each_pair_once():
    guitar = find_tuning_by_name("guitar")

    found = candidates(guitar)

    assert len(found) == len(set(found))
    assert {step.pair for step in tour(guitar).steps} <= set(found)
