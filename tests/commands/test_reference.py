"""`station reference`: instruments in files, and the compromise between them."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from station.commands.reference import run_reference
from station.music.compromise import compromise
from station.music.temperaments import temperament_cents
from tests.support.strings import Floats

RATE_HZ = 22_050
HARP = [60, 64, 67, 62, 71, 74, 72, 76, 79, 77, 69, 65]
SCALE = [57, 59, 61, 63, 65, 67, 69, 70, 68, 66, 64, 62]


def reed(hz: float, length_s: float = 0.6, level: float = 0.1) -> Floats:
    """A free reed: many exact harmonics, on at once and off at once."""
    at_s = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    partials = [k for k in range(1, 11) if k * hz < 0.45 * RATE_HZ]
    sound = sum(np.sin(2 * np.pi * k * hz * at_s + k * k) / k for k in partials)
    edge = np.minimum(1.0, np.minimum(at_s, at_s[::-1]) / 0.03)
    return np.asarray(level * edge * sound)


def played(
    notes: list[int], a4_hz: float, table: tuple[float, ...] = (0.0,) * 12, off: dict | None = None
) -> Floats:
    """Notes one after another; ``off``: cents a reed of that note is off."""
    silence = np.zeros(round(0.15 * RATE_HZ))
    parts = []
    for midi in notes:
        cents = table[midi % 12] + (off or {}).get(midi, 0.0)
        parts += [silence, reed(a4_hz * 2 ** ((midi - 69) / 12 + cents / 1200))]
    sound = np.concatenate([*parts, silence])
    return sound + np.random.default_rng(1).normal(0.0, 1e-5, sound.size)


def cents(hz: float, other_hz: float) -> float:
    return 1200.0 * math.log2(hz / other_hz)


@pytest.fixture
def reference(capsys):
    """What `run_reference` prints as JSON: objects, faults, exit code."""

    def run(*paths: Path, **options: Any) -> tuple[list[dict[str, Any]], list[str], int]:
        code = run_reference([str(path) for path in paths], True, **options)
        said = capsys.readouterr()
        return [json.loads(line) for line in said.out.splitlines()], said.err.splitlines(), code

    return run


@pytest.fixture
def people(capsys):
    """What `run_reference` prints for people, as lines."""

    def run(*paths: Path, **options: Any) -> list[str]:
        run_reference([str(path) for path in paths], False, **options)
        return capsys.readouterr().out.splitlines()

    return run


@pytest.fixture(scope="module")
def equal(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("files") / "equal.wav"
    soundfile.write(path, played(SCALE, 442.0), RATE_HZ)
    return path


@pytest.fixture(scope="module")
def harp(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("files") / "harp.wav"
    soundfile.write(path, played(HARP, 440.5, temperament_cents("just", "C")), RATE_HZ)
    return path


@pytest.fixture(scope="module")
def silence(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("files") / "silence.wav"
    soundfile.write(path, np.zeros(RATE_HZ), RATE_HZ)
    return path


def test_an_equal_instrument_is_told_with_everything_agreed(reference, equal):
    (said,), faults, code = reference(equal)

    assert (faults, code) == ([], 0)
    assert {
        "kind", "file", "a4_hz", "uncertainty_cents", "temperament", "root", "evidence",
        "stretch_cents_per_octave", "distinct", "spread_cents", "enough", "says", "play_next",
        "notes",
    } <= said.keys()  # fmt: skip
    assert (said["kind"], said["file"]) == ("instrument", str(equal))
    assert abs(cents(said["a4_hz"], 442.0)) < 0.1
    assert (said["temperament"], said["root"], said["distinct"]) == ("equal", None, 12)
    assert {
        "note", "midi", "hz", "cents", "uncertainty_cents", "temperament_cents", "bad", "times",
        "reeds_hz", "beat_hz",
    } <= said["notes"][0].keys()  # fmt: skip
    assert [note["midi"] for note in said["notes"]] == sorted(SCALE)


def test_a_just_harps_thirds_do_not_drag_its_a4(reference, harp):
    (said,), _, _ = reference(harp)

    a = next(note for note in said["notes"] if note["note"] == "A4")
    assert abs(cents(said["a4_hz"], 440.5)) < 0.2
    assert (said["temperament"], said["root"]) == ("just", "C")
    assert a["cents"] == pytest.approx(-15.6, abs=0.3)


def test_the_compromise_between_two_is_that_of_their_a4(reference, equal, harp):
    said, _, code = reference(equal, harp)

    *instruments, agreed = said
    expected = compromise([each["a4_hz"] for each in instruments])
    assert code == 0
    assert (agreed["kind"], agreed["rule"]) == ("compromise", "worst")
    assert agreed["a4_hz"] == pytest.approx(expected.a4_hz, abs=1e-6)
    assert agreed["worst_cents"] == pytest.approx(expected.worst_cents, abs=1e-6)
    assert [each["file"] for each in agreed["instruments"]] == [str(equal), str(harp)]
    for told, share in zip(agreed["instruments"], expected.shares, strict=True):
        assert told["cents"] == pytest.approx(share.cents, abs=1e-6)
        assert told["beats_hz"] == pytest.approx(share.beats_hz, abs=1e-6)


def test_the_other_rule_can_be_asked_for_and_both_are_told(reference, equal, harp):
    *_, agreed = reference(equal, equal, harp, rule="mean")[0]

    assert agreed["rule"] == "mean"
    assert agreed["a4_hz"] == agreed["mean"]["a4_hz"] != agreed["worst"]["a4_hz"]
    assert agreed["worst"]["worst_cents"] < agreed["mean"]["worst_cents"]


def test_one_instrument_needs_no_compromise(reference, equal, silence):
    said, _, _ = reference(equal, silence)

    assert [each["kind"] for each in said] == ["instrument"]


def test_a_file_without_a_note_is_said_in_a_line_and_the_others_are_heard(
    reference, equal, silence, tmp_path
):
    said, faults, code = reference(silence, tmp_path / "missing.wav", equal)

    assert [each["file"] for each in said] == [str(equal)]
    assert len(faults) == 2
    assert f"station: {silence}: no note" in faults[0]
    assert "missing.wav: no such file" in faults[1]
    assert code == 1


def test_what_came_before_a_fault_is_told_and_then_the_fault(reference, equal, tmp_path):
    cut = tmp_path / "cut.wav"
    whole = equal.read_bytes()
    cut.write_bytes(whole[: len(whole) // 2])

    said, faults, code = reference(cut)

    assert len(said) == 1
    assert 4 <= said[0]["distinct"] < 12
    assert len(faults) == 1
    assert "truncated" in faults[0]
    assert code == 1


def test_the_loudest_channel_is_heard(reference, tmp_path):
    sound = played(SCALE[:6], 443.0)
    quiet = 0.1 * np.random.default_rng(2).normal(0.0, 0.05, sound.size)
    soundfile.write(tmp_path / "two.wav", np.stack([quiet, sound], axis=1), RATE_HZ)

    (said,), _, _ = reference(tmp_path / "two.wav")

    assert said["line"] == 2
    assert said["distinct"] == 6


def test_a_bad_reed_is_named(reference, people, tmp_path):
    path = tmp_path / "bad.wav"
    soundfile.write(path, played(SCALE, 440.0, off={66: 26.0}), RATE_HZ)

    (said,), _, _ = reference(path)

    assert [note["note"] for note in said["notes"] if note["bad"]] == ["F#4"]
    assert abs(cents(said["a4_hz"], 440.0)) < 0.1
    assert any("left out" in line and "F#4" in line for line in people(path))


def test_two_reeds_of_a_note_are_told_with_their_beat(reference, people, tmp_path):
    path = tmp_path / "tremolo.wav"
    pair = reed(439.0, 2.0) + reed(442.0, 2.0)
    soundfile.write(path, np.concatenate([np.zeros(4000), pair, np.zeros(4000)]), RATE_HZ)

    (said,), _, _ = reference(path)

    (note,) = said["notes"]
    assert note["beat_hz"] == pytest.approx(3.0, abs=0.05)
    assert sorted(note["reeds_hz"]) == pytest.approx([439.0, 442.0], abs=0.1)
    assert any("2 reeds" in line and "times a second" in line for line in people(path))


def test_for_people_the_first_line_says_it_all(people, harp):
    first, *rest = people(harp)

    assert first.startswith(f"{harp}  A4 = 440.5")
    assert first.endswith("just in C")
    assert "evidence: just in C 9" in rest[0]
    assert sum("Hz" in line for line in rest) == 12


def test_for_people_the_compromise_says_what_each_would_be_off(people, equal, harp):
    *_, first, one, other = people(equal, harp)

    assert first.startswith("compromise  A4 = 441.2")
    assert "+2.9 cents, a held A beats 0.75 times a second" in one
    assert "-2.9 cents" in other


@pytest.mark.parametrize(("names", "a_sharp"), [("german", "Ais4"), ("solfege", "La#4")])
def test_people_read_notes_in_the_system_they_ask_for(people, equal, names, a_sharp):
    assert any(f"  {a_sharp} " in line for line in people(equal, names=names))


def test_json_stays_english_whatever_people_read(reference, equal):
    (said,), _, _ = reference(equal, names="german")

    assert "A#4" in {note["note"] for note in said["notes"]}


def test_nothing_heavy_is_imported(equal):
    # A command that ends in a second has no time for what it does not use.
    program = (
        "import sys\n"
        "from station.commands.reference import run_reference\n"
        f"run_reference([{str(equal)!r}], True)\n"
        "heavy = {'aubio', 'flask', 'gevent', 'pyaudio', 'gpiozero', 'scipy', 'librosa'}\n"
        "sys.exit(', '.join(heavy & set(sys.modules)) or 0)"
    )

    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)

    assert (done.returncode, done.stderr) == (0, "")
