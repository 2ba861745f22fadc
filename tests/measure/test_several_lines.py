"""Several lines at once through ``station hear``: each says just what it says alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from station.cli import cli
from tests.support.strings import Floats, StiffString, noise

RATE_HZ = 48000
LENGTH_S = 4.0
# MIDI note numbers each line plays in turn; where a line pauses the others still sound.
LINES = ((23, 28), (40, 45), (55, 64), (33, 76))
FIRST_S = (0.3, 0.37, 0.6, 0.3)


def stroke(midi: int, at_s: float, seed: int, level: float = 0.2) -> Floats:
    """One string in a line of LENGTH_S, from `at_s` on for at most 1.5 s."""
    string = StiffString(440 * 2 ** ((midi - 69) / 12), 8e-5, level=level)
    sound = string.sound(RATE_HZ, min(1.5, LENGTH_S - at_s), seed)
    x = np.zeros(round(LENGTH_S * RATE_HZ))
    start = round(at_s * RATE_HZ)
    x[start : start + sound.size] += sound
    return x


def line(number: int) -> Floats:
    """What line `number`, counted from 0, plays: its strings one after the other, and hiss."""
    strokes = [
        stroke(midi, FIRST_S[number] + 1.8 * place, 10 * number + place)
        for place, midi in enumerate(LINES[number])
    ]
    x: Floats = sum(strokes) + noise(strokes[0].size, -70.0, number)
    return x


def said_of(path: Path, *lines: Floats) -> list[dict[str, Any]]:
    """Everything ``station hear --json`` says of a file made of `lines`."""
    soundfile.write(path, np.column_stack(lines), RATE_HZ, subtype="PCM_24")
    done = CliRunner().invoke(cli, ["hear", "--json", str(path)], catch_exceptions=False)
    assert done.exit_code == 0
    return [json.loads(row) for row in done.stdout.splitlines()]


def of_line(said: list[dict[str, Any]], number: int) -> list[dict[str, Any]]:
    """What was said of one line, without the names of file and line."""
    own = [each for each in said if each["line"] == number]
    return [
        {key: value for key, value in each.items() if key not in ("file", "line")} for each in own
    ]


@pytest.fixture(scope="module")
def lines() -> list[Floats]:
    return [line(number) for number in range(len(LINES))]


@pytest.fixture(scope="module")
def together(lines: list[Floats], tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    return said_of(tmp_path_factory.mktemp("lines") / "four.wav", *lines)


@pytest.mark.parametrize("number", range(len(LINES)))
def test_a_line_among_others_says_exactly_what_it_says_alone(
    number: int, lines: list[Floats], together: list[dict[str, Any]], tmp_path: Path
) -> None:
    alone = said_of(tmp_path / "alone.wav", lines[number])

    heard = of_line(together, number + 1)

    assert [each["kind"] for each in heard].count("note") == len(LINES[number])
    assert [each["kind"] for each in heard].count("reading") > 20
    assert heard == of_line(alone, 1)


@pytest.mark.parametrize("struck", range(len(LINES)))
def test_a_stroke_on_one_line_changes_nothing_on_the_others(
    struck: int, lines: list[Floats], together: list[dict[str, Any]], tmp_path: Path
) -> None:
    changed = [
        each + (stroke(50, 1.0, 99, level=0.25) if number == struck else 0)
        for number, each in enumerate(lines)
    ]

    said = said_of(tmp_path / "struck.wav", *changed)

    for number in range(1, len(LINES) + 1):
        same = of_line(said, number) == of_line(together, number)
        assert same == (number != struck + 1)


def test_which_line_a_string_is_on_makes_no_difference(
    lines: list[Floats], together: list[dict[str, Any]], tmp_path: Path
) -> None:
    said = said_of(tmp_path / "turned.wav", *reversed(lines))

    for number in range(1, len(LINES) + 1):
        assert of_line(said, len(LINES) + 1 - number) == of_line(together, number)
