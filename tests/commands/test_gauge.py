"""`station gauge`: words, tables, JSON, and every wrong request in one line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from tests.support.strings import StiffString, after_silence

RATE_HZ = 48_000
TENS = ("--instrument", "guitar", "--set", ".010,.013,.017,.026w,.036w,.046w")
SCALE = ("--scale", "25.5in")


@pytest.fixture
def gauge(command):
    """Lines that `station gauge` prints for people; it must succeed."""

    def run(*arguments: object) -> list[str]:
        result = command("gauge", *arguments)
        assert (result.exit_code, result.stderr) == (0, "")
        return result.stdout.splitlines()

    return run


@pytest.fixture
def as_json(gauge):
    """The same as JSON: a row for each string, and the set."""

    def run(*arguments: object) -> tuple[list[dict[str, Any]], dict[str, Any]]:
        *rows, whole = map(json.loads, gauge(*arguments, "--json"))
        return rows, whole

    return run


@pytest.fixture(scope="module")
def open_strings(tmp_path_factory) -> Path:
    """Two open strings of known inharmonicity one after the other, and a fretted note."""
    played = [(82.407, 1.1e-4), (329.628, 2.2e-5), (370.0, 5e-5)]
    sounds = [StiffString(hz, b).sound(RATE_HZ, 2.0, seed) for seed, (hz, b) in enumerate(played)]
    gap = np.zeros(RATE_HZ // 2)
    sound = np.concatenate([part for each in sounds for part in (each, gap)])
    path = tmp_path_factory.mktemp("strings") / "open strings.wav"
    soundfile.write(path, after_silence(sound, RATE_HZ), RATE_HZ, subtype="PCM_24")
    return path


def test_words_come_first_then_the_table_then_the_cautions(gauge):
    lines = gauge(*TENS, *SCALE)

    # the sum of the table's own pulls, which the published checks vouch for
    assert lines[0] == (
        "6 strings together pull 102.1 lb (454 N) over 25.5 in (647.7 mm):"
        " all within what their wire bears."
    )
    assert lines[1] == ""
    assert lines[2].split()[:3] == ["string", "note", "gauge"]
    assert lines[3].split()[:5] == ["1", "E4", ".010", "plain", "steel"]
    assert lines[8].split()[:5] == ["6", "E2", ".046w", "round", "nickel-plated"]
    assert "16.3 ±0.4  72.5" in lines[3]
    assert "0.785" in lines[9]
    assert "Cores assumed" in lines[10]
    assert "eyes" in lines[-3]
    assert "margin" in lines[-2]
    assert "repairer" in lines[-1]


def test_json_has_a_row_for_each_string_and_one_for_the_set(as_json):
    rows, whole = as_json(*TENS, *SCALE)

    assert [row["kind"] for row in rows] == ["wire"] * 6
    assert [row["note"] for row in rows] == ["E4", "B3", "G3", "D3", "A2", "E2"]
    assert rows[0]["tension_n"] == pytest.approx(72.526, rel=1e-4)
    assert rows[0]["unit_kg_m"] == pytest.approx(3.978e-4, rel=1e-4)
    assert whole["kind"] == "set"
    assert (whole["instrument"], whole["tuning"]) == ("guitar", "guitar:standard")
    assert (whole["scale_mm"], whole["scale_assumed"]) == (pytest.approx(647.7), False)
    assert whole["load"]["total_n"] == pytest.approx(sum(row["tension_n"] for row in rows))
    assert len(whole["cautions"]) == 3


def test_without_a_scale_the_usual_one_is_taken_and_said(gauge, as_json):
    assert "over the usual 25.51 in (648 mm)" in gauge(*TENS)[0]
    assert as_json(*TENS)[1]["scale_assumed"] is True


def test_gauges_for_another_tuning(gauge, as_json):
    lines = gauge(*TENS, *SCALE, "--to", "drop_d")

    start = next(i for i, line in enumerate(lines) if line.startswith("In guitar:drop-d"))
    assert "the same strings pull -3.5 % in all; with the gauges below +0.2 %" in lines[start]
    rows = lines[start + 2 : start + 8]
    assert all(row.endswith("stays") for row in rows[:5])
    assert rows[5].split()[:5] == ["6", "D2", "13.7", "-20.6", "%"]
    assert ".052w" in rows[5]
    rows, whole = as_json(*TENS, *SCALE, "--to", "half-step-down", "--bending")
    assert whole["target"]["bending"] is True
    assert all(row["keep"]["other"]["changed"] for row in rows)


def test_gauges_for_a_pull(as_json):
    rows, whole = as_json(*TENS, *SCALE, "--tension", "18lb")

    assert whole["target"]["wished_n"] == pytest.approx(18 * 4.4482216152605)
    for row in rows:
        assert row["keep"]["other"]["tension_lb"] == pytest.approx(18, rel=0.06)


def test_a_cold_room(gauge, as_json):
    lines = gauge(*TENS, *SCALE, "--degrees", "-8")

    start = next(i for i, line in enumerate(lines) if line.startswith("8 degrees colder"))
    assert lines[start + 2].split()[:4] == ["1", "E4", "+9", "±1"]
    assert lines[start + 2].endswith("less than 0.1 cents")
    assert any("Moisture" in line for line in lines)
    rows, whole = as_json(*TENS, "--degrees", "-14.4F")
    assert whole["heat"]["degrees"] == pytest.approx(-8)
    assert rows[0]["drift"]["cents"] == pytest.approx(9.1, abs=0.1)


def test_what_cannot_be_told_of_nylon_is_said_and_no_number_given(gauge):
    lines = gauge("--instrument", "ukulele", "--set", "24,32,40,28", "--degrees", "-8")

    assert any(line.startswith("What 8 degrees do: nylon") for line in lines)
    assert not any("settled" in line for line in lines)


def test_a_measured_inharmonicity_stands_beside_the_predicted(gauge, as_json):
    lines = gauge(*TENS, "--measured", "6=1.3e-4", "--measured", "1=9e-5")

    start = next(i for i, line in enumerate(lines) if line.startswith("Inharmonicity measured"))
    assert "stiffer than predicted: another gauge" in lines[start + 2]
    assert "as its wire predicts (a core of .01" in lines[start + 3]
    rows, _ = as_json(*SCALE, "--string", "E4:.010", "--measured", "2e-5")
    assert rows[0]["measured"]["inharmonicity"] == 2e-5


def test_inharmonicity_is_measured_in_a_sound_file(as_json, open_strings):
    rows, _ = as_json(*TENS, *SCALE, "--hear", open_strings)

    found = {row["string"]: row["measured"] for row in rows}
    assert found[6]["inharmonicity"] == pytest.approx(1.1e-4, rel=0.02)
    assert found[1]["inharmonicity"] == pytest.approx(2.2e-5, rel=0.05)
    assert [found[number] for number in (2, 3, 4, 5)] == [None] * 4


def test_what_is_measured_by_hand_goes_before_what_is_heard(as_json, open_strings):
    rows, _ = as_json(*TENS, "--hear", open_strings, "--measured", "6=5e-5")

    assert rows[5]["measured"]["inharmonicity"] == 5e-5
    assert rows[0]["measured"] is not None


def test_a_file_without_these_strings_is_said(command, open_strings):
    result = command("gauge", *SCALE, "--string", "A2:.036w", "--hear", open_strings)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "no note of these open strings" in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_a_sound_without_stiffness_is_no_strings(command, tmp_path):
    path = tmp_path / "organ.wav"
    sound = after_silence(StiffString(110.0, 0.0).sound(RATE_HZ, 2.0), RATE_HZ)
    soundfile.write(path, sound, RATE_HZ, subtype="PCM_24")

    result = command("gauge", *SCALE, "--string", "A2:.036w", "--hear", path)

    assert (result.exit_code, result.stdout) == (2, "")
    assert "its partials are whole multiples" in result.stderr
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("rate_hz", [8_000, 192_000])
def test_other_rates_and_two_channels_are_heard_alike(as_json, tmp_path, rate_hz):
    path = tmp_path / "take.wav"
    sound = after_silence(StiffString(110.0, 8e-5).sound(rate_hz, 2.0), rate_hz)
    soundfile.write(path, np.column_stack([sound, 0.5 * sound]), rate_hz, subtype="PCM_24")

    rows, _ = as_json(*SCALE, "--string", "A2:.036w", "--hear", path)

    assert rows[0]["measured"]["inharmonicity"] == pytest.approx(8e-5, rel=0.05)


def test_single_strings_and_their_windings_in_words(gauge):
    lines = gauge(*SCALE, *("--string", "E4:.010"), *("--string", "E2:.046:flat:nickel:core=.017"))

    assert "2 strings together pull" in lines[0]
    assert any(line.startswith("flat wound: dark") for line in lines)
    assert not any("Cores assumed" in line for line in lines)


def test_a_string_that_breaks_is_said_before_the_table(gauge):
    lines = gauge(*SCALE, "--string", "A5:.010")

    assert lines[0].endswith("it would break.")
    assert lines[1] == "String 1, A5: breaks before it gets there: do not try."
    assert "none" in lines[4]


def test_a_string_known_by_weight_has_a_pull_and_question_marks(gauge):
    lines = gauge(*SCALE, "--string", "A2:unit=4g/m")

    # 0.004 (2 0.6477 110)^2 = 81.2 N
    assert "18.3 lb (81 N)" in lines[0]
    assert "nothing is known of the core" in lines[0]
    assert lines[3].split()[-4:] == ["?", "?", "?", "?"]


def test_notes_are_named_as_asked_for_and_json_stays_english(gauge, as_json):
    assert any(line.startswith("2       H3") for line in gauge(*TENS, "--names", "german"))
    assert as_json(*TENS, "--names", "german")[0][1]["note"] == "B3"


def test_a_pair_is_counted_twice(gauge):
    lines = gauge("--instrument", "mandolin", "--set", "10,14,24,38", "--wrap", "phosphor-bronze")

    assert lines[0].startswith("8 strings together pull")
    assert lines[3].startswith("1 x2")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "no strings: name a set"),
        (("--instrument", "gitar", "--set", "10"), "did you mean guitar"),
        (("--instrument", "harmonica", "--set", "10"), "has no tunings"),
        (("--instrument", "guitar"), "no gauges for guitar: add --set with 6"),
        (("--instrument", "guitar", "--set", "10,13"), "guitar takes 6"),
        (("--instrument", "guitar", "--set", "46,36,26,17,13,10"), "write string 1 first"),
        ((*TENS, "--scale", "25.5"), "has no unit"),
        ((*TENS, "--scale", "0in"), "is the unit right?"),
        ((*TENS, "--tuning", "dropp"), "did you mean"),
        ((*TENS, "--to", "bass:standard"), "is not one of guitar's"),
        ((*TENS, "--to", "bass:\x1b[2J"), "is not one of guitar's"),
        ((*TENS, "--measured", "\x1b[2J"), "of which string?"),
        ((*TENS, "--wrap", "tin"), "material 'tin' is unknown"),
        ((*TENS, "--material", "nickel"), "there are steel, nylon, fluorocarbon, gut"),
        ((*TENS, "--material", "gut"), "wound strings are reckoned on steel cores only"),
        ((*TENS, "--bending"), "add --to TUNING or --tension"),
        ((*TENS, "--tension", "5000lb"), "at most 2000 N"),
        ((*TENS, "--degrees", "nan"), "write a number and its unit"),
        ((*TENS, "--degrees", "-200"), "at most 60 degrees"),
        ((*TENS, "--measured", "6e-5"), "of which string?"),
        ((*TENS, "--measured", "7=6e-5"), "strings are 1 to 6"),
        ((*TENS, "--measured", "6=nan"), "an inharmonicity is a number"),
        ((*TENS, "--measured", "6=7"), "an inharmonicity is a number"),
        ((*TENS, "--measured", "6="), "an inharmonicity is a number"),
        ((*TENS, "--measured", "6=1e-5", "--measured", "6=1e-5"), "is given twice"),
        ((*TENS, "--a4", "nan"), "A4 must be a number"),
        ((*TENS, "--a4", "880"), "that is A5"),
        ((*TENS, "--string", "E4:.010"), "does not go with --string"),
        (("--string", "E4:.010", "--to", "drop-d", *SCALE), "--to does not go with --string"),
        (("--string", "E4:.010"), "has no length"),
        ((*SCALE, "--string", "E4"), "has no gauge"),
        ((*SCALE, "--string", "E4:\n.010\x1b"), "string 1"),
        (("--instrument", "guitar", "--set", "9" * 5000), "gauge 1 of the set"),
    ],
)  # fmt: skip
def test_a_wrong_request_is_one_line_and_nothing_else(command, arguments, said):
    result = command("gauge", *arguments)

    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1
    assert result.stderr.startswith("station: ")
    assert said in result.stderr
    assert "\x1b" not in result.stderr


@pytest.mark.parametrize("content", [None, b"", b"no sound at all"])
def test_a_file_that_cannot_be_heard_is_one_line(command, tmp_path, content):
    path = tmp_path / "take.wav"
    if content is not None:
        path.write_bytes(content)

    result = command("gauge", *TENS, "--hear", path)

    assert (result.exit_code, result.stdout) == (1, "")
    assert len(result.stderr.splitlines()) == 1
    assert "take.wav" in result.stderr
