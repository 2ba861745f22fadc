"""`station strum`: what is printed of a strum in a file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from station.measure.strum.types import targets_of
from station.music.tunings import find_tuning_by_name
from tests.support.strings import StiffString
from tests.support.strums import synthetic

RATE_HZ = 16000
# String 6 to string 1, in cents from equal temperament; string 2 is missing.
OFF = {6: -12.0, 5: 0.5, 4: 22.0, 3: -1.0, 2: None, 1: 7.0}


def strum(off: dict[int, float | None], tuning: str = "guitar"):
    strings = []
    for target in targets_of(find_tuning_by_name(tuning)):
        cents = off[target.numbers[0]]
        hz = target.centre_hz * 2 ** ((cents or 0.0) / 1200)
        strings.append((0.0, None if cents is None else StiffString(hz, 5e-5, 1.3, 0.08)))
    return synthetic(strings, RATE_HZ)


@pytest.fixture(scope="module")
def take(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("strum") / "take.wav"
    soundfile.write(path, strum(OFF), RATE_HZ, subtype="FLOAT")
    return path


def objects(result) -> list[dict]:
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_each_string_is_an_object_from_the_highest_number_to_string_1(command, take):
    result = command("strum", take, "--tuning", "guitar", "--json")

    said = objects(result)
    assert result.exit_code == 0
    assert {each["kind"] for each in said} == {"string"}
    assert [each["string"] for each in said] == [6, 5, 4, 3, 2, 1]
    assert [each["note"] for each in said] == ["E2", "A2", "D3", "G3", "B3", "E4"]
    assert [each["verdict"] for each in said] == [
        "tighten", "in", "slacken", "in", "missing", "slacken",
    ]  # fmt: skip
    for each in said:
        if OFF[each["string"]] is not None:
            assert each["cents"] == pytest.approx(OFF[each["string"]], abs=0.1)
            assert 0 < each["uncertainty_cents"] < 1
            assert not each["together"]


def test_a_missing_string_has_no_pitch(command, take):
    said = objects(command("strum", take, "--tuning", "guitar", "--json"))

    missing = said[4]
    assert (missing["hz"], missing["cents"], missing["uncertainty_cents"]) == (None, None, None)


def test_people_read_first_what_to_do(command, take):
    lines = command("strum", take, "--tuning", "guitar", "--names", "solfege").stdout.splitlines()

    assert lines[0].endswith("tighten 6; slacken 4, 1; not heard: 2")
    assert lines[1].split()[:4] == ["tighten", "6", "Mi2", "-12.0"]
    assert lines[5].split() == ["missing", "2", "Si3"]


def test_cents_follow_capo_and_reference(command, take, tmp_path):
    path = tmp_path / "capo.wav"
    samples, _ = soundfile.read(take)
    # Played so much faster, every string is two semitones and A4 = 444 Hz over 440 higher.
    at = np.arange(0, samples.size - 1, 2 ** (2 / 12) * 444 / 440)
    soundfile.write(path, np.interp(at, np.arange(samples.size), samples), RATE_HZ, "FLOAT")

    result = command("strum", path, "--tuning", "guitar", "--capo", 2, "--a4", 444, "--json")

    said = objects(result)
    assert [each["note"] for each in said] == ["F#2", "B2", "E3", "A3", "C#4", "F#4"]
    assert said[0]["cents"] == pytest.approx(OFF[6], abs=0.2)
    assert said[5]["cents"] == pytest.approx(OFF[1], abs=0.2)


def test_a_course_that_sounds_as_one_has_one_reading(command, tmp_path):
    path = tmp_path / "mandolin.wav"
    soundfile.write(path, strum({4: 3.0, 3: -4.0, 2: 0.0, 1: 9.0}, "mandolin"), RATE_HZ)

    result = command("strum", path, "--tuning", "mandolin")

    assert result.exit_code == 0
    assert result.stdout.count("the course sounds as one") == 4


def test_of_two_channels_the_louder_is_heard(command, take, tmp_path):
    path = tmp_path / "two.wav"
    samples, _ = soundfile.read(take)
    soundfile.write(path, np.column_stack((0.01 * samples, samples)), RATE_HZ)

    said = objects(command("strum", path, "--tuning", "guitar", "--json"))

    assert {each["line"] for each in said} == {2}
    assert [each["verdict"] for each in said][4] == "missing"


def test_a_file_without_a_strum_is_a_fault_in_one_line(command, tmp_path):
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(RATE_HZ * 3), RATE_HZ)

    result = command("strum", path, "--tuning", "guitar")

    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert "no strum of guitar:standard was heard" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--tuning", "gitar"], "did you mean guitar"),
        (["--tuning", "guitar", "--capo", "13"], "capo at 13"),
        (["--tuning", "guitar", "--a4", "880"], "A4"),
    ],
    ids=["tuning", "capo", "reference"],
)
def test_a_wrong_request_is_told_before_the_file_is_opened(command, arguments, told):
    result = command("strum", "none.wav", *arguments)

    assert result.exit_code == 2
    assert told in result.stderr
    assert "none.wav" not in result.stderr


def test_a_missing_file_is_told(command, tmp_path):
    result = command("strum", tmp_path / "none.wav", "--tuning", "guitar")

    assert result.exit_code == 1
    assert "no such file" in result.stderr


def test_every_tuning_is_listed_on_request(command):
    result = command("strum", "any.wav", "--tuning", "list")

    assert result.exit_code == 0
    assert "mandolin:gdad" in result.stdout.splitlines()
