"""`station hear`: good files are heard, bad ones said in a line each, whatever their order."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest
import soundfile

from station.music.names import NamingSystem
from station.music.tunings import tuning_names
from station.room.mains import REMEDY
from tests.measure.test_hum import hum
from tests.support.strings import Floats, StiffString, after_silence, cents, noise

# Frequencies of equal temperament at A4 = 440 Hz (from memory).
A2_HZ, AS2_HZ, D3_HZ = 110.0, 116.541, 146.832
RATE_HZ = 16_000


def take(hz: float = A2_HZ, rate_hz: int = RATE_HZ, length_s: float = 1.2) -> Floats:
    """One string, plucked after a silence."""
    return after_silence(StiffString(hz, 4e-5, ring_s=0.6).sound(rate_hz, length_s), rate_hz, 0.2)


@pytest.fixture
def hear(command):
    """What `station hear --json` says of files: objects, faults, exit code."""

    def run(*arguments: object) -> tuple[list[dict[str, Any]], list[str], int]:
        done = command("hear", "--tracker", "numpy", "--json", *arguments)
        said = [json.loads(line) for line in done.stdout.splitlines()]
        return said, done.stderr.splitlines(), done.exit_code

    return run


@pytest.fixture
def good(tmp_path: Path) -> Path:
    path = tmp_path / "good.wav"
    soundfile.write(path, take(), RATE_HZ)
    return path


def notes_of(said: list[dict[str, Any]]) -> list[tuple[int, str]]:
    return [(each["line"], each["note"]) for each in said if each["kind"] == "note"]


def test_readings_and_notes_say_what_was_agreed(hear, good):
    said, faults, code = hear("--tuning", "guitar", good)

    readings = [each for each in said if each["kind"] == "reading"]
    (note,) = [each for each in said if each["kind"] == "note"]
    assert (faults, code) == ([], 0)
    assert {
        "kind", "file", "line", "at_s", "hz", "uncertainty_cents", "note", "cents",
        "beats_hz", "string", "verdict",
    } <= readings[0].keys()  # fmt: skip
    assert {
        "kind", "file", "line", "onset_s", "end_s", "hz", "uncertainty_cents", "note",
        "cents", "inharmonicity", "partials",
    } <= note.keys()  # fmt: skip
    assert (note["file"], note["line"], note["note"]) == (str(good), 1, "A2")
    assert abs(cents(note["hz"], A2_HZ)) < 0.5
    assert (readings[-1]["string"], readings[-1]["verdict"]) == (5, "in")


def test_the_reference_decides_the_cents(hear, good):
    said, _, _ = hear("--a4", "446", "--tuning", "guitar", good)

    (note,) = [each for each in said if each["kind"] == "note"]
    assert note["cents"] == pytest.approx(cents(440, 446), abs=0.5)
    assert note["verdict"] == "tighten"


def test_for_people_each_note_is_a_line(command, good):
    done = command("hear", "--tracker", "numpy", "--tuning", "guitar", good)

    (line,) = done.stdout.splitlines()
    assert "A2" in line
    assert "string 5: in" in line


@pytest.mark.parametrize(
    ("names", "expected"),
    [((), "A#2"), (("--names", "german"), "Ais2"), (("--names", "solfege"), "La#2")],
)
def test_people_read_notes_in_the_system_they_ask_for(command, tmp_path, names, expected):
    soundfile.write(tmp_path / "take.wav", take(AS2_HZ), RATE_HZ)

    done = command("hear", "--tracker", "numpy", *names, tmp_path / "take.wav")

    assert f" {expected} " in done.stdout
    assert done.exit_code == 0


def test_json_stays_english_whatever_people_read(hear, tmp_path):
    soundfile.write(tmp_path / "take.wav", take(AS2_HZ), RATE_HZ)

    said, _, _ = hear("--names", "german", tmp_path / "take.wav")

    assert {each["note"] for each in said} == {"A#2"}


def test_every_naming_system_can_be_asked_for_and_no_other(command, good):
    for names in get_args(NamingSystem):
        assert command("hear", "--tracker", "numpy", "--names", names, good).exit_code == 0

    refused = command("hear", "--names", "latin", good)

    assert refused.exit_code == 2
    assert "'english', 'german', 'solfege'" in refused.stderr


def test_a_file_without_a_note_is_said_to_have_none(command, tmp_path):
    soundfile.write(tmp_path / "hush.wav", np.zeros(RATE_HZ), RATE_HZ)

    done = command("hear", "--tracker", "numpy", tmp_path / "hush.wav")

    assert done.exit_code == 0
    assert "no note heard" in done.stdout


# -- hum ------------------------------------------------------------------


def humming(hz: float, level_dbfs: float, length_s: float) -> Floats:
    """Hum of that rms over hiss 40 dB below it."""
    x = 10 ** (level_dbfs / 20) * hum(hz, length_s, RATE_HZ)
    return x + noise(x.size, level_dbfs - 40)


@pytest.mark.parametrize(("hz", "mains_hz"), [(50.03, 50), (59.96, 60)])
def test_hum_is_told_once_in_hertz_and_dbfs_though_no_note_is_played(hear, tmp_path, hz, mains_hz):
    soundfile.write(tmp_path / "hum.wav", humming(hz, -41.2, 8.0), RATE_HZ, subtype="FLOAT")

    said, faults, code = hear(tmp_path / "hum.wav")

    (told,) = said
    assert (faults, code) == ([], 0)
    assert list(told) == ["kind", "file", "line", "at_s", "hz", "dbfs", "mains_hz"]
    assert (told["kind"], told["file"], told["line"]) == ("hum", str(tmp_path / "hum.wav"), 1)
    assert told["hz"] == pytest.approx(hz, abs=0.01)
    assert told["dbfs"] == pytest.approx(-41.2, abs=0.1)
    assert told["mains_hz"] == mains_hz
    assert 0.25 <= told["at_s"] <= 1.0


def test_hum_that_moves_is_told_again(hear, tmp_path):
    parts = humming(50.0, -60.0, 4.0), humming(50.0, -50.0, 6.0)
    soundfile.write(tmp_path / "hum.wav", np.concatenate(parts), RATE_HZ, subtype="FLOAT")

    said, _, _ = hear(tmp_path / "hum.wav")

    levels = [each["dbfs"] for each in said if each["kind"] == "hum"]
    assert levels[0] == pytest.approx(-60.0, abs=0.1)
    assert levels[-1] == pytest.approx(-50.0, abs=0.1)
    assert 2 <= len(levels) <= 3  # a search may fall on both


def test_each_line_has_its_own_hum_and_a_note_beside_it(hear, tmp_path):
    length_s = 3.0
    note = np.zeros(round(length_s * RATE_HZ))
    note[RATE_HZ : RATE_HZ + len(take())] = take()
    lines = note + humming(50.0, -55.0, length_s), note, humming(60.0, -45.0, length_s)
    soundfile.write(tmp_path / "three.wav", np.column_stack(lines), RATE_HZ, subtype="FLOAT")

    said, _, _ = hear(tmp_path / "three.wav")

    hums = [(each["line"], each["mains_hz"]) for each in said if each["kind"] == "hum"]
    assert sorted(hums) == [(1, 50), (3, 60)]
    assert sorted(notes_of(said)) == [(1, "A2"), (2, "A2")]


@pytest.mark.parametrize(("level_dbfs", "help_given"), [(-41.2, True), (-58.0, False)])
def test_for_people_hum_is_a_line_with_what_helps_where_it_matters(
    command, tmp_path, level_dbfs, help_given
):
    soundfile.write(tmp_path / "hum.wav", humming(50.03, level_dbfs, 2.0), RATE_HZ)

    done = command("hear", "--tracker", "numpy", tmp_path / "hum.wav")

    first, last = done.stdout.splitlines()
    assert f"line 1     0.25 s  mains hum 50.03 Hz, {level_dbfs:.1f} dBFS" in first
    assert (REMEDY in first) == help_given
    assert "no note heard" in last


def test_eight_bits_are_enough_to_hear_a_note(hear, tmp_path):
    soundfile.write(tmp_path / "coarse.wav", take(), RATE_HZ, subtype="PCM_U8")

    said, faults, code = hear(tmp_path / "coarse.wav")

    assert (notes_of(said), faults, code) == ([(1, "A2")], [], 0)


def test_192_khz_is_heard_like_any_rate(hear, tmp_path):
    soundfile.write(tmp_path / "fine.wav", take(rate_hz=192_000), 192_000)

    said, faults, code = hear(tmp_path / "fine.wav")

    assert (notes_of(said), faults, code) == ([(1, "A2")], [], 0)


def test_each_of_32_channels_is_a_line_of_its_own(hear, tmp_path):
    wide = np.zeros((len(take()), 32))
    wide[:, 16], wide[:, 31] = take(), take(D3_HZ)
    soundfile.write(tmp_path / "wide.wav", wide, RATE_HZ)

    said, faults, code = hear(tmp_path / "wide.wav")

    assert (sorted(notes_of(said)), faults, code) == ([(17, "A2"), (32, "D3")], [], 0)


# -- bad files ------------------------------------------------------------


def empty(path: Path) -> None:
    path.touch()


def no_samples(path: Path) -> None:
    soundfile.write(path, np.zeros(0), RATE_HZ)


def one_sample(path: Path) -> None:
    soundfile.write(path, np.zeros(1), RATE_HZ)


def not_sound(path: Path) -> None:
    path.write_text("dear diary, the bass was flat again\n" * 40)


def all_nan(path: Path) -> None:
    soundfile.write(path, np.full(RATE_HZ, np.nan), RATE_HZ, subtype="FLOAT")


def folder(path: Path) -> None:
    path.mkdir()


def missing(path: Path) -> None:
    assert not path.exists()


def pipe(path: Path) -> None:
    os.mkfifo(path)  # nobody writes to it: to open it would wait for ever


def absurd(path: Path) -> None:
    samples = take()
    samples[9] = 3e38
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")


BAD = {
    empty: "empty file",
    no_samples: "no samples",
    one_sample: "1 frame",
    not_sound: "not a sound file",
    all_nan: "frame 0 is not a finite number",
    folder: "a folder",
    missing: "no such file",
    pipe: "a pipe or device",
    absurd: "frame 9 is 3e+38, over 1000 times full scale",
}


@pytest.mark.parametrize(
    ("make", "said_of_it"), BAD.items(), ids=lambda each: getattr(each, "__name__", each)
)
def test_a_bad_file_is_one_clear_line_and_exit_code_1(hear, tmp_path, make, said_of_it):
    make(tmp_path / "bad.wav")

    said, faults, code = hear(tmp_path / "bad.wav")

    assert (said, code) == ([], 1)
    (fault,) = faults
    assert fault.startswith(f"station: {tmp_path}/bad.wav: ")
    assert said_of_it in fault


def test_good_files_beside_bad_ones_are_still_heard(hear, good, tmp_path):
    paths = []
    for make in BAD:
        paths.append(tmp_path / f"{make.__name__}.wav")
        make(paths[-1])

    said, faults, code = hear(*paths[:3], good, *paths[3:])

    assert (notes_of(said), code) == ([(1, "A2")], 1)
    assert [fault.split(": ")[1] for fault in faults] == [str(path) for path in paths]


def test_a_truncated_file_is_heard_as_far_as_it_goes(hear, good):
    whole = good.read_bytes()
    good.write_bytes(whole[: len(whole) * 3 // 4])

    said, faults, code = hear(good)

    assert (notes_of(said), code) == ([(1, "A2")], 1)
    (fault,) = faults
    assert "truncated" in fault


def test_what_was_heard_before_a_nan_is_not_lost(hear, tmp_path):
    samples = take()
    samples[-1] = np.nan
    soundfile.write(tmp_path / "late.wav", samples, RATE_HZ, subtype="FLOAT")

    said, faults, code = hear(tmp_path / "late.wav")

    assert (notes_of(said), code) == ([(1, "A2")], 1)
    assert f"frame {len(samples) - 1} is not a finite number" in faults[0]


# -- requests that cannot be meant -------------------------------------------


@pytest.mark.parametrize("a4_hz", ["4400", "44", "nan", "inf", "-440", "0"])
def test_an_impossible_reference_is_one_line_and_no_file_is_opened(hear, good, a4_hz):
    said, faults, code = hear("--a4", a4_hz, good, good.with_name("none.wav"))

    (fault,) = faults
    assert (said, code) == ([], 2)
    assert "390" in fault
    assert "470" in fault


def test_a_reference_ten_times_too_big_is_recognised(hear, good):
    _, faults, _ = hear("--a4", "4400", good)

    assert "ten times" in faults[0]


@pytest.mark.parametrize("name", ["guitr", "guitar:drop-x", "", "bass-9"])
def test_an_unknown_tuning_is_one_line_that_helps(hear, good, name):
    said, faults, code = hear("--tuning", name, good)

    (fault,) = faults
    assert (said, code) == ([], 2)
    assert "list" in fault or "there are standard" in fault


def test_the_nearest_tuning_is_offered(hear, good):
    _, faults, _ = hear("--tuning", "guitar:drop-x", good)

    assert "did you mean drop-d" in faults[0]


@pytest.mark.parametrize("files", [(), ("none.wav",)])
def test_all_tunings_can_be_listed_without_a_file(command, files):
    done = command("hear", "--tuning", "list", *files)

    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout.splitlines() == tuning_names()


# -- names and signs ---------------------------------------------------------------


def process(*arguments: object, **options: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "station.cli", "hear", "--tracker", "numpy", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        **options,
    )


@pytest.mark.parametrize("as_json", [True, False])
def test_a_name_that_is_no_utf8_is_heard_and_shown(good, as_json):
    odd = good.rename(good.with_name("b\udcff.wav"))

    done = process(*["--json"] * as_json, odd)

    last = done.stdout.splitlines()[-1]
    shown = json.loads(last)["file"] if as_json else last.split("  ")[0]
    assert (done.returncode, done.stderr) == (0, "")
    assert shown == f"{good.parent}/b\\xff.wav"


def test_an_output_without_the_signs_gets_plain_ones(good):
    done = process(good, env=os.environ | {"PYTHONIOENCODING": "ascii"})

    assert (done.returncode, done.stderr) == (0, "")
    assert "cents +-0." in done.stdout


def test_files_of_one_name_are_told_apart_and_a_fault_is_one_line_whatever_the_name(hear):
    _, faults, code = hear("d1/x.wav", "d2/x.wav", "two\nlines.wav", ".")

    assert code == 1
    assert faults == [
        "station: d1/x.wav: no such file",
        "station: d2/x.wav: no such file",
        r"station: two\nlines.wav: no such file",
        "station: .: a folder, not a sound file",
    ]


def test_a_file_that_may_not_be_read_does_not_cost_the_good_ones(hear, good, monkeypatch):
    locked = good.with_name("locked.wav")
    shutil.copy(good, locked)
    forbid(locked, monkeypatch)

    said, faults, code = hear(locked, good)

    assert (notes_of(said), code) == ([(1, "A2")], 1)
    assert faults == [f"station: {locked}: cannot be read: Permission denied"]


def forbid(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the file refused as it would be by the system; root may read what it likes."""
    path.chmod(0)
    real_open, real_access = Path.open, os.access

    def may_open(self: Path, *arguments: Any, **options: Any) -> Any:
        if self == path:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(self))
        return real_open(self, *arguments, **options)

    def may_access(asked: Any, mode: int, **options: Any) -> bool:
        return os.fspath(asked) != str(path) and real_access(asked, mode, **options)

    monkeypatch.setattr(Path, "open", may_open)
    monkeypatch.setattr(os, "access", may_access)
