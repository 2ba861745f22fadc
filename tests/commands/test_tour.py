"""`station tour`: the round of an instrument's pairs, printed."""

from __future__ import annotations

import json

import pytest


def test_every_step_and_the_whole_are_told(command):
    result = command("tour", "guitar", "--json")

    *steps, whole = [json.loads(line) for line in result.stdout.splitlines()]
    assert result.exit_code == 0
    assert {step["kind"] for step in steps} == {"step"}
    assert len(steps) == whole["steps"] == 5
    sixth = next(step for step in steps if step["tunes"] == 6)
    assert sixth["equal_beat_hz"] == pytest.approx(0.372, abs=0.0005)
    assert [side["touched_fret"] for side in sixth["sides"]] == [5, 7]
    assert whole["worst_cents"] == pytest.approx(7.820, abs=0.001)
    assert {each["string"]: each["cents"] for each in whole["beatless"]}[5] == 0


def test_people_read_frets_beats_and_what_adds_up(command):
    lines = command("tour", "bass", "--a4", "440").stdout.splitlines()

    assert "begin with string 3 (A1)" in lines[0]
    assert any("leave 0.186 beats a second" in line and "fret 5" in line for line in lines)
    assert "string 4 +2.0" in lines[-2]
    assert "5.9 cents" in lines[-1]


@pytest.mark.parametrize("arguments", [["nothing"], ["guitar", "--a4", "4400"], ["piano"]])
def test_what_has_no_round_is_refused_in_one_line(command, arguments):
    result = command("tour", *arguments)

    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1


def test_every_tuning_is_listed(command):
    assert "guitar:drop-d" in command("tour", "list").stdout.splitlines()
