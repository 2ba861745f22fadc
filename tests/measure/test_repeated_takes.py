"""Takes of one recorded note differ by no more and no less than their uncertainty says."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.takes import CUTS_S, TAKES, over_claim, recorded

# General MIDI programs, counted from 0, and open strings.
INSTRUMENTS = {
    "nylon guitar": (24, (40, 45, 50, 55, 59, 64)),
    "steel guitar": (25, (40,)),  # whose stroke told a stiffness that was not the string's
    "clean guitar": (27, (40, 45, 50, 55, 59, 64)),
    "double bass": (32, (28, 33, 38, 43)),
    "picked bass": (34, (28, 33, 38, 43)),
    "fretless bass": (35, (28, 33, 38, 43)),
    "slapped bass": (36, (28, 33, 38, 43)),
    "banjo": (105, (50, 55, 59, 62)),
    "fingered bass": (33, (33, 43)),  # whose pitch wanders all along
    "violin": (40, (55, 69)),  # with vibrato
}
ONLY_CUT = ("fingered bass", "violin")  # from one start they wander alike every time


@pytest.mark.parametrize("name", [name for name in INSTRUMENTS if name not in ONLY_CUT])
def test_a_recorded_string_in_fresh_hiss_differs_by_what_its_uncertainty_says(
    name: str, tmp_path: Path
) -> None:
    strings = recorded(*INSTRUMENTS[name], tmp_path)

    assert 0.4 < over_claim(strings, (0.0,) * TAKES) < 2


@pytest.mark.parametrize(
    "name",
    ["nylon guitar", "double bass", "fretless bass", "slapped bass", "fingered bass", "violin"],
)
def test_stretches_of_one_recorded_note_differ_by_what_their_uncertainty_says(
    name: str, tmp_path: Path
) -> None:
    strings = recorded(*INSTRUMENTS[name], tmp_path)

    assert 0.4 < over_claim(strings, CUTS_S) < 2
