"""`station intonation`: a recorded string's fretted notes, and what they say of its saddle."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from station.music.intonation import saddle_mm
from tests.support.strings import StiffString, after_silence

RATE_HZ = 16_000
OPEN_HZ = 110.0


def take(path: Path, *cents: float) -> Path:
    """Notes so many cents above A2, one after the other, each damped before the next."""
    notes = []
    for place, each in enumerate(cents):
        sound = StiffString(OPEN_HZ * 2 ** (each / 1200), 5e-5).sound(RATE_HZ, 0.9, place)
        sound[-400:] *= np.linspace(1, 0, 400)
        notes.append(after_silence(sound, RATE_HZ, 0.35))
    soundfile.write(path, np.concatenate(notes), RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture(scope="module")
def sharp(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("intonation")
    return take(folder / "sharp.wav", 0, 1205.2, 0, 1204.8, 0, 1205.0)


def test_a_sharp_twelfth_is_told_with_millimetres(command, sharp):
    result = command("intonation", sharp, "--scale", "648", "--json")

    (found,) = [json.loads(line) for line in result.stdout.splitlines()]
    assert result.exit_code == 0
    assert (found["kind"], found["against"], found["note"]) == ("intonation", "open", "A2")
    assert found["cents"] == pytest.approx(5.0, abs=0.1)
    assert found["mm"] == pytest.approx(saddle_mm(5.0, 648), abs=0.05)
    assert (found["saddle"], found["enough"]) == ("back", True)
    assert found["uncertainty_mm"] > 0


def test_people_read_which_way_how_far_and_the_caution(command, sharp):
    lines = command("intonation", sharp, "--tuning", "guitar", "--names", "german").stdout

    assert "fretted 12th 5.0 cents" in lines
    assert "the saddle: back, by about 1.9 mm" in lines
    assert "slacken the string" in lines


def test_harmonic_and_fretted_note_in_turn_are_known_by_their_pitch(command, tmp_path):
    path = take(tmp_path / "turns.wav", 1200, 1196, 1200, 1196)

    result = command("intonation", path, "--scale", "25.5in", "--json")

    found = json.loads(result.stdout)
    assert found["against"] == "harmonic"
    assert found["cents"] == pytest.approx(-4.0, abs=0.1)
    assert (found["saddle"], found["enough"]) == ("forward", False)


def test_the_neck_is_mapped_from_several_files(command, tmp_path):
    low = take(tmp_path / "low.wav", 0, 106, 502)
    high = take(tmp_path / "high.wav", 702, 1203)

    result = command("intonation", low, high, "--map", "--scale", "648", "--json")

    *frets, whole = [json.loads(line) for line in result.stdout.splitlines()]
    assert [each["fret"] for each in frets] == [1, 5, 7, 12]
    assert [each["cents"] for each in frets] == pytest.approx([6, 2, 2, 3], abs=0.15)
    assert whole["enough"] is False


def test_without_a_scale_length_the_way_to_it_is_said(command, sharp):
    assert "add --scale" in command("intonation", sharp).stdout


@pytest.mark.parametrize(
    ("arguments", "code"),
    [(["--scale", "25.5"], 2), (["--scale", "long"], 2), (["--tuning", "viola"], 2)],
)
def test_scale_lengths_that_cannot_be_are_refused_in_one_line(command, sharp, arguments, code):
    result = command("intonation", sharp, *arguments)

    assert result.exit_code == code
    assert len(result.stderr.splitlines()) == 1


def test_one_note_or_no_twelfth_fret_is_a_fault_in_one_line(command, tmp_path):
    one = take(tmp_path / "one.wav", 0)
    fifth = take(tmp_path / "fifth.wav", 0, 501)

    for path, why in (
        (one, "one note only"),
        (fifth, "no 12th fret"),
        (tmp_path / "no", "no such"),
    ):
        result = command("intonation", path, "--scale", "648")

        assert result.exit_code == 1
        assert len(result.stderr.splitlines()) == 1
        assert why in result.stderr
