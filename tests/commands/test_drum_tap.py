"""`station drum tap`: what is printed of taps in files, and of a change of damping."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from station.commands.drum_tap import run_tap
from station.errors import ReferenceRangeError
from tests.support.drum_strokes import Drum, Floats, Ringing, clap, rim_click, take, tom

RATE_HZ = 48_000
OPEN = Drum((Ringing(110.5, 0.4, 1.4), Ringing(176, 0.15, 0.9)))
MUFFLED = Drum((Ringing(110.5, 0.4, 0.7), Ringing(176, 0.05, 0.3)))


def five(drum: Drum) -> Floats:
    strokes = [(0.4 + 1.6 * at, replace(drum, seed=at).sound(1.6)) for at in range(5)]
    return take(strokes, 9.0)


def write(path: Path, *channels: Floats) -> Path:
    soundfile.write(path, np.column_stack(channels), RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture(scope="module")
def taps(tmp_path_factory) -> Path:
    return write(tmp_path_factory.mktemp("taps") / "open.wav", five(OPEN))


@pytest.fixture(scope="module")
def muffled(tmp_path_factory) -> Path:
    return write(tmp_path_factory.mktemp("taps") / "muffled.wav", five(MUFFLED))


@pytest.fixture
def as_json(capsys):
    """What `run_tap` prints as JSON: objects, faults, exit code."""

    def run(*paths: Path, **options: Any) -> tuple[list[dict[str, Any]], list[str], int]:
        code = run_tap([str(path) for path in paths], as_json=True, **options)
        said = capsys.readouterr()
        return [json.loads(line) for line in said.out.splitlines()], said.err.splitlines(), code

    return run


@pytest.fixture
def people(capsys):
    """What `run_tap` prints for people, as lines."""

    def run(*paths: Path, **options: Any) -> list[str]:
        run_tap([str(path) for path in paths], **options)
        return capsys.readouterr().out.splitlines()

    return run


def test_a_tap_is_told_with_everything_agreed(as_json, taps):
    said, faults, code = as_json(taps)

    assert (faults, code) == ([], 0)
    assert [each["kind"] for each in said] == ["stroke"] * 5 + ["tap"]
    found = said[-1]
    assert {
        "kind", "file", "fundamental_hz", "overtone_hz", "ring_s", "beat_hz", "note", "cents",
        "uncertainty_cents", "overtone_ring_s", "drum", "sure", "taps", "spread_cents", "dropped",
    } <= found.keys()  # fmt: skip
    assert found["fundamental_hz"] == pytest.approx(110.5, rel=5e-4)
    assert found["overtone_hz"] == pytest.approx(176, rel=2e-3)
    assert found["ring_s"] == pytest.approx(1.4, rel=0.05)
    assert (found["note"], found["beat_hz"], found["taps"]) == ("A2", None, 5)
    # 110.5 over 110 Hz, by hand.
    assert found["cents"] == pytest.approx(7.85, abs=0.6)


def test_cents_and_note_follow_the_reference(as_json, taps):
    (*_, at_442), _, _ = as_json(taps, a4_hz=442.0)

    assert at_442["note"] == "A2"
    assert at_442["cents"] == pytest.approx(0.0, abs=0.6)


def test_a_reference_nobody_means_is_refused_before_any_file_is_opened(tmp_path):
    with pytest.raises(ReferenceRangeError):
        run_tap([str(tmp_path / "none.wav")], a4_hz=600.0)


def test_people_read_pitch_ring_and_spread_in_their_own_note_names(people, taps):
    lines = people(taps, names="solfege")

    assert "La2" in lines[0]
    assert "110.5" in lines[0]
    assert any("fundamental rings 1.4" in line for line in lines)
    assert any("5 taps, spread" in line for line in lines)


def test_what_was_left_out_is_said_with_its_time(people, tmp_path):
    strokes = [(0.4 + 1.6 * at, tom(110, 1.2, seed=at).sound(1.6)) for at in range(3)]
    strokes.append((5.2, tom(75, 1.2, seed=9).sound(1.6)))

    lines = people(write(tmp_path / "mixed.wav", take(strokes, 7.0)))

    left_out = [line for line in lines if "left out" in line]
    assert len(left_out) == 1
    assert "5.20 s" in left_out[0]
    assert "another drum" in left_out[0]


def test_beating_heads_are_said_to_beat(people, tmp_path):
    heads = Drum((Ringing(100, 0.4, 1.4), Ringing(103, 0.3, 1.3), Ringing(160, 0.1, 0.6)))

    lines = people(write(tmp_path / "beating.wav", five(heads)))

    assert any("beat 3.0" in line for line in lines)
    assert "two heads beating" in lines[0]


def test_the_loudest_channel_is_heard(as_json, tmp_path):
    x = five(OPEN)

    said, _, _ = as_json(write(tmp_path / "two.wav", 0.01 * x, x))

    assert {each["line"] for each in said} == {2}


def test_a_change_of_damping_is_told_mode_by_mode(as_json, people, taps, muffled):
    said, _, code = as_json(taps, compare_to=str(muffled))
    lines = people(taps, compare_to=str(muffled))

    changed = said[-1]
    assert code == 0
    assert (changed["kind"], changed["before"], changed["after"]) == (
        "damping",
        str(taps),
        str(muffled),
    )
    first, second = changed["partials"]
    assert first["ring_ms"] == pytest.approx(-700, rel=0.1)
    assert second["ring_ms"] == pytest.approx(-600, rel=0.1)
    assert second["level_db"] < -8
    assert sum("ms  sound" in line for line in lines) == 2


def test_a_file_without_a_drum_is_a_fault_in_one_line(as_json, tmp_path, taps):
    hands = write(tmp_path / "hands.wav", take([(0.4, clap()), (1.0, clap(seed=1))], 2.0))

    said, faults, code = as_json(hands, taps)

    assert code == 1
    assert faults == [f"station: {hands}: no stroke on a drum"]
    assert said[-1]["kind"] == "tap"


def test_only_bad_strokes_are_a_fault_that_says_why(as_json, tmp_path):
    soft = write(tmp_path / "soft.wav", take([(0.4, 0.004 * tom().sound(2.0))], 3.0, -95.0))

    said, faults, code = as_json(soft)

    assert (said, code) == ([], 1)
    assert len(faults) == 1
    assert "too soft" in faults[0]


def test_a_recording_that_clips_at_every_stroke_is_measured_from_what_rings_on(
    as_json, people, tmp_path
):
    loud = np.clip(3 * take([(0.4, OPEN.sound(2.0)), (2.4, OPEN.sound(2.0))], 4.4, -80.0), -1, 1)
    clipped = write(tmp_path / "clipped.wav", loud)

    said, _, code = as_json(clipped)

    assert code == 0
    assert said[-1]["clipped"]
    assert said[-1]["taps"] == 2
    assert abs(1200 * np.log2(said[-1]["fundamental_hz"] / 110.5)) < 5
    assert any("the recording clips" in line for line in people(clipped))


def test_one_stroke_of_several_that_clips_is_left_out(as_json, tmp_path):
    x = take([(0.4, OPEN.sound(2.0)), (2.4, 3 * OPEN.sound(2.0))], 4.4, -80.0)

    said, _, _ = as_json(write(tmp_path / "one.wav", np.clip(x, -1, 1)))

    assert not said[-1]["clipped"]
    assert [each["why"] for each in said[-1]["dropped"]] == ["the line clips: turn its level down"]


def test_a_rim_click_alone_gives_no_tap(as_json, tmp_path):
    said, _, code = as_json(write(tmp_path / "rim.wav", take([(0.4, rim_click())], 1.5)))

    assert (said, code) == ([], 1)


def test_a_missing_file_is_told_and_the_others_are_still_heard(as_json, tmp_path, taps):
    said, faults, code = as_json(tmp_path / "none.wav", taps)

    assert code == 1
    assert len(faults) == 1
    assert "no such file" in faults[0]
    assert said[-1]["taps"] == 5


def test_nothing_is_compared_when_one_of_the_two_gave_no_tap(as_json, tmp_path, taps):
    hands = write(tmp_path / "hands.wav", take([(0.4, clap())], 1.0))

    said, faults, code = as_json(taps, compare_to=str(hands))

    assert code == 1
    assert len(faults) == 1
    assert [each["kind"] for each in said] == ["stroke"] * 5 + ["tap"]
