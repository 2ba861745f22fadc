"""Which pitches a tuning's strings stand for, and courses of two."""

from __future__ import annotations

import pytest

from station.errors import ReferenceRangeError
from station.measure.strum.types import targets_of
from station.music.tunings import find_tuning_by_name, load_instruments


def test_targets_stand_lowest_first_whatever_their_numbers():
    targets = targets_of(find_tuning_by_name("ukulele"))

    assert [target.note for target in targets] == ["C4", "E4", "G4", "A4"]
    assert [target.numbers for target in targets] == [(3,), (2,), (4,), (1,)]


def test_a_mandolins_pairs_are_two_strings_of_one_number():
    targets = targets_of(find_tuning_by_name("mandolin"))

    assert [target.numbers for target in targets] == [(4,), (3,), (2,), (1,)]
    assert {target.unison for target in targets} == {2}


def test_a_twelve_strings_unison_courses_are_one_target_and_its_octaves_two():
    targets = targets_of(find_tuning_by_name("guitar-12"))

    assert [target.numbers for target in targets if target.unison == 2] == [(3, 4), (1, 2)]
    assert sum(target.unison for target in targets) == 12


def test_every_string_of_every_tuning_is_a_target_once():
    for instrument in load_instruments().values():
        for tuning in instrument.tunings.values():
            numbers = [n for target in targets_of(tuning) for n in target.numbers]
            assert sorted(numbers) == [string.number for string in tuning.strings]


def test_an_impossible_reference_is_refused():
    with pytest.raises(ReferenceRangeError):
        targets_of(find_tuning_by_name("guitar"), 300.0)
