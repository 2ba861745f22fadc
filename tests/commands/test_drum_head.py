"""`station drum head`: a recorded round of taps."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import Result

from station.commands.drum_head import placed, run_head, text_lines
from station.errors import DrumError, SoundFileError
from station.measure.drums.types import Mode
from station.music.drums import CAUTIONS
from station.music.lugs import clockwise_order, cross_order
from tests.support.head_taps import random_drummer, stroke_of
from tests.support.membrane import INCH_M, SimulatedHead, mean_tension
from tests.support.tapped_file import RATE_HZ, tapped_file, tapped_sound

LUGS, SLACK = 6, 2


@pytest.fixture(scope="module")
def slack_head() -> SimulatedHead:
    """Six lugs, lug 2 an eighth slack."""
    tensions = np.full(LUGS, mean_tension(130.0, 6 * INCH_M, 0.26))
    tensions[SLACK - 1] *= 0.875
    return SimulatedHead(tuple(tensions))


@pytest.fixture(scope="module")
def clockwise(slack_head: SimulatedHead, tmp_path_factory: pytest.TempPathFactory) -> Path:
    sound = tapped_sound(slack_head, clockwise_order(LUGS))
    return tapped_file(tmp_path_factory.mktemp("taps") / "clockwise.wav", sound)


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Any:
    """What `run_head` prints as JSON."""

    def run(path: Path, lugs: int = LUGS, **options: Any) -> list[dict[str, Any]]:
        assert run_head(str(path), lugs, as_json=True, **options) == 0
        return [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    return run


def test_each_lug_is_told_and_then_the_head(said: Any, clockwise: Path) -> None:
    *lugs, head = said(clockwise)

    assert [each["kind"] for each in lugs] == ["lug"] * LUGS
    assert [each["lug"] for each in lugs] == list(range(1, LUGS + 1))
    keys = {"hz", "offset_cents", "uncertainty_cents", "verdict", "turns", "opposite"}
    assert all(keys <= set(each) for each in lugs)
    assert head["kind"] == "head"
    assert head["worst"] in (SLACK, SLACK + 3)
    assert head["farthest"]["lug"] == head["worst"]
    assert head["farthest"]["candidates"][0] == [SLACK, SLACK + 3]
    assert 0.95 <= head["farthest"]["probability"] <= 1.0
    assert head["evenness_cents"] > 10
    assert head["fundamental_hz"] == pytest.approx(130.0 * 0.85, rel=0.03)
    assert lugs[SLACK - 1]["verdict"] == lugs[SLACK + 2]["verdict"] == "tighten"


def test_taps_in_the_cross_order_say_the_same(
    said: Any, slack_head: SimulatedHead, clockwise: Path, tmp_path: Path
) -> None:
    across = tapped_file(tmp_path / "a.wav", tapped_sound(slack_head, cross_order(LUGS)))

    one, other = said(clockwise), said(across, order="cross")

    assert other[-1]["worst"] in (SLACK, SLACK + 3)
    for here, there in zip(one[:-1], other[:-1], strict=True):
        assert here["offset_cents"] == pytest.approx(there["offset_cents"], abs=8.0)


def test_the_louder_channel_is_heard(said: Any, clockwise: Path, tmp_path: Path) -> None:
    x, _ = soundfile.read(clockwise)
    both = tmp_path / "both.wav"
    soundfile.write(both, np.column_stack([0.01 * np.roll(x, 7000), x]), RATE_HZ)

    assert said(both)[-1]["worst"] == said(clockwise)[-1]["worst"]


def test_people_are_told_where_to_begin_what_is_not_known_and_what_to_take_care_of(
    capsys: pytest.CaptureFixture[str], clockwise: Path
) -> None:
    run_head(str(clockwise), LUGS)

    text = capsys.readouterr().out
    assert "begin with lug" in text
    assert "across from it" in text
    assert re.search(rf"farthest out: (most likely )?lug {SLACK} or {SLACK + 3}\b", text)
    assert "goes easier at a slack one" in text
    assert "the one opposite share their modes" in text
    for caution in CAUTIONS:
        assert caution in text


@pytest.mark.parametrize("lugs", [4, 5, 8])
def test_a_number_of_taps_that_does_not_go_round_is_one_clear_error(
    clockwise: Path, lugs: int
) -> None:
    with pytest.raises(DrumError, match=f"6 usable taps of 6 do not go round {lugs} lugs"):
        run_head(str(clockwise), lugs)


def test_a_file_without_taps_is_one_clear_error(tmp_path: Path) -> None:
    path = tapped_file(tmp_path / "nothing.wav", np.zeros(RATE_HZ))

    with pytest.raises(DrumError, match="0 usable taps of 0"):
        run_head(str(path), 6)


def test_an_impossible_number_of_lugs_is_refused_before_the_file_is_opened(tmp_path: Path) -> None:
    with pytest.raises(DrumError, match="7 lugs"):
        run_head(str(tmp_path / "missing.wav"), 7)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(SoundFileError, match="no such file"):
        run_head(str(tmp_path / "missing.wav"), 6)


def test_the_help_has_an_example_and_the_cautions(command: Callable[..., Result]) -> None:
    told = " ".join(command("drum", "head", "--help").stdout.split())

    assert "station drum head tom.wav --lugs 6" in told
    for word in ("split", "ears", "key goes hard", "Opposite lugs"):
        assert word in told


def test_a_file_in_which_every_stroke_clips_is_told_from_what_rings_on(
    said: Any, capsys: pytest.CaptureFixture[str], slack_head: SimulatedHead, tmp_path: Path
) -> None:
    loud = np.clip(6 * tapped_sound(slack_head, clockwise_order(LUGS)), -1.0, 1.0)
    clipping = tapped_file(tmp_path / "clipping.wav", loud)

    *lugs, head = said(clipping)

    assert head["clipped"]
    assert head["farthest"]["candidates"][0] == [SLACK, SLACK + 3]
    assert lugs[SLACK - 1]["verdict"] == "tighten"
    run_head(str(clipping), LUGS)
    assert "the recording clips: measured from what rings on" in capsys.readouterr().out


def test_strokes_that_clip_and_do_not_go_round_are_said_to_in_one_line(
    slack_head: SimulatedHead, tmp_path: Path
) -> None:
    loud = np.clip(6 * tapped_sound(slack_head, clockwise_order(LUGS)[:4]), -1.0, 1.0)
    clipping = tapped_file(tmp_path / "clipping.wav", loud)

    with pytest.raises(DrumError, match="4 clip: turn the line's level down") as refused:
        run_head(str(clipping), LUGS)

    assert "\n" not in str(refused.value)


def test_a_stroke_that_clipped_is_less_sure_than_what_was_told_of_it() -> None:
    mode = Mode(200.0, 0.4, 0.0, 0.5)
    good = stroke_of((mode,), 1.0)
    clipped = stroke_of((mode,), 2.0, "clipped")

    found = placed([clipped, good, clipped, good], 4, "clockwise", "a.wav")

    assert [each.modes[0].uncertainty_cents for _, each in found] == [0.8, 0.4, 0.8, 0.4]


def test_turning_begins_where_two_opposite_lugs_are_farthest_out_together() -> None:
    drummer = random_drummer("random", 8, 3)
    said = drummer.tap_round()
    third = min(said.lugs, key=lambda each: abs(each.offset_cents)).lug

    text = "\n".join(text_lines(replace(said, worst=third), "a.wav"))

    loudest = max(said.lugs, key=lambda each: round(abs(each.offset_cents), 3))
    assert f"begin with lug {loudest.lug} and lug {loudest.opposite}" in text
