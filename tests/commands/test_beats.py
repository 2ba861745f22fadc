"""`station beats`: what is printed of two strings in a file."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from station.music.pairs import Way, pair_by_way, strings_named
from tests.support.pairs import Plucked, sides, together
from tests.support.strings import Floats

RATE_HZ = 16_000


def write(path: Path, x: Floats) -> Path:
    soundfile.write(path, x, RATE_HZ, subtype="PCM_24")
    return path


def sounded(path: Path, name: str, way: Way, beat_hz: float) -> Path:
    pair = pair_by_way(*strings_named(name), way)
    assert pair is not None
    strings = sides(pair, beat_hz, way == "harmonics", glide_cents=4.0)
    return write(path, together(strings, RATE_HZ, 3.4, 40, 3))


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("beats")


@pytest.fixture(scope="module")
def harmonics(folder) -> Path:
    return sounded(folder / "harmonics.wav", "E2-A2", "harmonics", -0.9)


@pytest.fixture(scope="module")
def opened(folder) -> Path:
    return sounded(folder / "open.wav", "E2-A2", "open", -1.5)


def said(result) -> dict:
    assert result.exit_code == 0, result.output
    (line,) = result.stdout.splitlines()
    return json.loads(line)


def test_a_pair_is_told_with_everything_agreed(command, harmonics):
    found = said(command("beats", harmonics, "--pair", "E2-A2", "--json"))

    assert (found["kind"], found["partials"], found["way"]) == ("beats", [4, 3], "harmonics")
    assert found["beat_hz"] == pytest.approx(0.9, abs=0.02)
    assert 0 < found["uncertainty_hz"] < 0.02
    assert found["equal_beat_hz"] == pytest.approx(0.372, abs=0.0005)
    assert found["leave_hz"] == pytest.approx(0.372, abs=0.0005)
    assert found["lower"] == "E2"
    assert (found["signed_beat_hz"], found["move"], found["verdict"]) == (None, None, None)


def test_open_strings_say_which_to_move_and_which_way(command, opened):
    found = said(command("beats", opened, "--pair", "E2-A2", "--json"))

    assert found["way"] == "open"
    assert found["signed_beat_hz"] == pytest.approx(-1.5, abs=0.02)
    assert (found["move"], found["verdict"]) == ("A2", "slacken")
    first, second = found["strings"]
    assert first["cents"] == pytest.approx(0.0, abs=0.1)
    assert second["cents"] == pytest.approx(found["cents"], abs=0.1)


def test_numbers_in_a_tuning_name_the_same_pair(command, opened):
    found = said(command("beats", opened, "--tuning", "guitar", "--pair", "6-5", "--json"))

    assert [each["string"] for each in found["strings"]] == [6, 5]


def test_a_tuning_alone_finds_the_pair_that_sounds(command, opened):
    found = said(command("beats", opened, "--tuning", "guitar", "--json"))

    assert found["pair"] == "E2-A2"
    assert found["may_also_be"] == []


def test_pairs_that_sound_the_same_are_all_named(command, harmonics):
    found = said(command("beats", harmonics, "--tuning", "guitar", "--json"))
    lines = command("beats", harmonics, "--tuning", "guitar").stdout

    every = [f"{found['pair']} {found['way']}", *found["may_also_be"]]
    assert "E2-A2 harmonics" in every
    assert len(every) > 1
    assert "say which with --pair" in lines


def test_without_any_name_the_beat_alone_is_told(command, harmonics):
    found = said(command("beats", harmonics, "--json"))

    assert found["beat_hz"] == pytest.approx(0.9, abs=0.02)
    assert (found["pair"], found["partials"], found["equal_beat_hz"]) == (None, None, None)


def test_people_read_the_beat_what_to_leave_and_how_to_find_out(command, harmonics, opened):
    unclear = command("beats", harmonics, "--pair", "E2-A2", "--names", "solfege").stdout
    clear = command("beats", opened, "--pair", "E2-A2").stdout

    assert "0.900 beats a second" in unclear
    assert "leave 0.372, Mi2 the lower of the two" in unclear
    assert "if it beats faster then, slacken it; if slower, tighten it" in unclear
    assert "A2: slacken" in clear


def test_a_string_that_is_not_heard_is_said(command, folder):
    alone = write(folder / "alone.wav", together((Plucked(82.407),), RATE_HZ, 3.4, 40, 0))

    found = said(command("beats", alone, "--pair", "E2-A2", "--way", "open", "--json"))
    lines = command("beats", alone, "--pair", "E2-A2", "--way", "open").stdout

    assert (found["missing"], found["verdict"], found["resolved"]) == ("A2", None, False)
    assert "A2 is not heard: sound both" in lines


@pytest.mark.parametrize(
    "options",
    [
        ["--pair", "E2"],
        ["--pair", "6-5"],
        ["--pair", "E2-Zb"],
        ["--pair", "E2-Bb2", "--way", "open"],
        ["--pair", "E2-A2", "--a4", "600"],
        ["--pair", "E2-A2", "--hold", "G3"],
        ["--hold", "E2"],
        ["--tuning", "violin", "--way", "fretted"],
        ["--tuning", "sousaphone"],
    ],
    ids=" ".join,
)
def test_what_cannot_be_meant_is_refused_in_one_line(command, harmonics, options):
    result = command("beats", harmonics, *options)

    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1


def test_a_missing_file_and_silence_are_faults_and_the_others_are_heard(command, folder, opened):
    silent = write(folder / "silent.wav", np.zeros(RATE_HZ))

    result = command("beats", folder / "none.wav", silent, opened, "--pair", "E2-A2", "--json")

    assert result.exit_code == 1
    assert len(result.stderr.splitlines()) == 2
    assert json.loads(result.stdout)["beat_hz"] == pytest.approx(1.5, abs=0.02)


def test_the_loudest_channel_is_heard(command, folder, opened):
    x, _ = soundfile.read(opened)
    path = folder / "stereo.wav"
    soundfile.write(path, np.column_stack((0.01 * x, x)), RATE_HZ)

    assert said(command("beats", path, "--pair", "E2-A2", "--json"))["line"] == 2
