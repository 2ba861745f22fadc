"""Beats of real strings: two single recordings mixed, one of them replayed by known cents.

The recordings are a free sound font's (`tests/support/soundfont.py`). No limit of the
measuring was set on them. What the mix beats at is measured on each recording alone.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from station.measure.beats.ear import BeatEar
from station.music.pairs import Way, pair_by_way, strings_named
from tests.support.pairs import RECORDED_HZ, mixed, recorded

# General MIDI programs, counted from 0.
PAIRS: tuple[tuple[str, int, str, Way], ...] = (
    ("nylon guitar", 24, "E2-A2", "open"),
    ("steel guitar", 25, "D3-G3", "fretted"),
    ("fingered bass", 33, "A1-D2", "open"),
    ("picked bass", 34, "E1-A1", "fretted"),
    ("banjo", 105, "G3-B3", "fretted"),
)


@pytest.mark.parametrize(
    ("program", "name", "way"),
    [each[1:] for each in PAIRS],
    ids=[f"{each[0]} {each[2]} {each[3]}" for each in PAIRS],
)
def test_two_recorded_strings_are_within_a_fiftieth_of_a_beat_after_three_seconds(
    program: int, name: str, way: Way, tmp_path: Path
) -> None:
    pair = pair_by_way(*strings_named(name), way)
    assert pair is not None
    first = recorded(tmp_path, program, pair.first.string.midi + pair.first.fret, 3.4)
    second = recorded(tmp_path, program, pair.second.string.midi, 3.4)

    for cents in (-9.0, 3.0):
        made = mixed(first, second, pair, cents, 3.3)
        ear = BeatEar(RECORDED_HZ, pair, every_s=10.0, thorough=True)
        said = ear.push(made.x.astype(np.float32)) + ear.finish()

        assert said, cents
        assert said[-1].beat_hz == pytest.approx(abs(made.beat_hz), abs=0.02), cents
        if said[-1].signed_hz is not None:
            assert said[-1].signed_hz * made.beat_hz > 0, cents
