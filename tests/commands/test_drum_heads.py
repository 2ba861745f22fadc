"""`station drum heads`: batter against resonant head from two files."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.support.drum_strokes import RATE_HZ, clap, take, tom


def taps_file(path: Path, hz: float, count: int = 3) -> Path:
    strokes = [(0.4 + 1.6 * at, tom(hz, 0.8, seed=at).sound(1.6)) for at in range(count)]
    soundfile.write(path, take(strokes, 0.4 + 1.6 * count), RATE_HZ)
    return path


@pytest.fixture(scope="module")
def top(tmp_path_factory) -> Path:
    return taps_file(tmp_path_factory.mktemp("heads") / "top.wav", 110.0)


@pytest.fixture(scope="module")
def bottom(tmp_path_factory) -> Path:
    return taps_file(tmp_path_factory.mktemp("heads") / "bottom.wav", 123.471)


def test_two_files_tell_each_heads_pitch_and_the_interval_between(command, top, bottom):
    result = command("drum", "heads", top, bottom, "--json")

    batter, resonant, both = (json.loads(line) for line in result.stdout.splitlines())
    assert result.exit_code == 0
    assert (batter["head"], batter["note"], resonant["head"], resonant["note"]) == (
        "batter", "A2", "resonant", "B2",
    )  # fmt: skip
    assert batter["fundamental_hz"] == pytest.approx(110.0, abs=0.3)
    assert (both["kind"], both["higher"], both["warning"]) == ("two heads", "resonant", None)
    # 1200 log2(123.471 / 110) = 200.0 cents
    assert both["cents"] == pytest.approx(200.0, abs=6.0)
    assert both["advice"][-1] == "no rule: what you like is right"


def test_people_read_which_head_is_higher_and_no_rule(command, top, bottom):
    result = command("drum", "heads", bottom, top)

    assert "the batter head is higher" in result.stdout
    assert "top for feel, bottom for tone" in result.stdout
    assert result.stdout.rstrip().endswith("no rule: what you like is right")


def test_nearly_equal_heads_are_warned_of(command, top, tmp_path):
    near = taps_file(tmp_path / "near.wav", 112.0)

    result = command("drum", "heads", top, near, "--json")

    both = json.loads(result.stdout.splitlines()[-1])
    assert "they beat" in both["warning"]
    assert both["beat_hz"] == pytest.approx(2.0, abs=0.4)


def test_a_snares_bottom_head_is_told_of_as_thin(command, top, bottom):
    result = command("drum", "heads", top, bottom, "--snare-side")

    assert "a snare's bottom head is thin" in result.stdout


def test_notes_are_named_as_asked(command, top, bottom):
    result = command("drum", "heads", top, bottom, "--names", "solfege")

    assert "La2" in result.stdout


def test_a_file_without_a_tap_ends_in_one_line_and_1(command, top, tmp_path):
    silent, clapped = tmp_path / "silent.wav", tmp_path / "clap.wav"
    soundfile.write(silent, np.zeros(RATE_HZ), RATE_HZ)
    soundfile.write(clapped, take([(0.3, clap())], 1.0), RATE_HZ)

    for path in (silent, clapped):
        result = command("drum", "heads", top, path)

        assert result.exit_code == 1
        assert result.stdout == ""
        assert result.stderr.strip().count("\n") == 0
        assert path.name in result.stderr


@pytest.mark.parametrize(
    ("arguments", "code"),
    [(["missing.wav", "missing.wav"], 1), (["a.wav", "b.wav", "--a4", "nan"], 2), (["a.wav"], 2)],
)
def test_what_cannot_be_meant_is_refused(command, arguments, code):
    result = command("drum", "heads", *arguments)

    assert result.exit_code == code
    assert "Traceback" not in result.output


def test_the_help_has_an_example(command):
    assert "station drum heads top.wav bottom.wav" in command("drum", "heads", "--help").output
