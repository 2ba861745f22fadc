"""Files that begin right at a stroke.

The recorded toms are those of Debian's package sonic-pi-samples, all of them CC0.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from station.commands.from_start import FromStart
from station.measure.drums.ear import DrumEar
from tests.support.drum_strokes import RATE_HZ, Floats, bass_note, clap, take, tom

SAMPLES = Path("/usr/share/sonic-pi/samples")
TOMS = ("drum_tom_hi_hard", "drum_tom_lo_soft", "drum_tom_mid_hard")


def strokes(x: Floats, ear: FromStart | DrumEar) -> list:
    told = [*ear.push(x.astype(np.float32)), *ear.finish()]
    return list({each.at_s: each for each in told}.values())


@pytest.mark.parametrize("name", TOMS)
def test_a_cut_sample_is_heard_as_it_is_after_silence(name):
    x, rate_hz = soundfile.read(SAMPLES / f"{name}.flac")
    mono = 0.8 * x.mean(axis=1) if x.ndim > 1 else 0.8 * x
    after_silence = np.concatenate([np.zeros(round(0.3 * rate_hz)), mono])

    (found,) = strokes(mono, FromStart(rate_hz))
    (expected,) = strokes(after_silence, DrumEar(rate_hz))

    assert strokes(mono, DrumEar(rate_hz)) == []
    assert found.verdict == "good"
    assert found.fundamental.hz == pytest.approx(expected.fundamental.hz, rel=1e-6)
    assert found.at_s == pytest.approx(0.0, abs=0.003)


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
def test_it_does_not_matter_how_the_file_is_cut_into_blocks(rate_hz):
    x = tom(110.0).sound(1.5, rate_hz).astype(np.float32)
    whole, pieces = FromStart(rate_hz), FromStart(rate_hz)

    one = [*whole.push(x), *whole.finish()]
    many = [
        each
        for first in range(0, x.size, rate_hz // 10)
        for each in pieces.push(x[first : first + rate_hz // 10])
    ] + pieces.finish()

    assert [each.at_s for each in one] == [each.at_s for each in many]
    assert one[-1].fundamental.hz == pytest.approx(110.0, rel=1e-3)


def test_times_after_a_silent_beginning_are_the_ears_own():
    x = take([(0.7, tom().sound(1.5))], 2.5)

    (found,) = strokes(x, FromStart(RATE_HZ))

    assert found.at_s == pytest.approx(0.7, abs=0.003)


def test_what_is_no_drum_is_none_at_the_beginning_either():
    noise = 0.1 * np.random.default_rng(1).normal(size=RATE_HZ)

    for x in (clap(), bass_note(55.0), noise, np.zeros(RATE_HZ), np.zeros(0)):
        assert [each for each in strokes(x, FromStart(RATE_HZ)) if each.verdict == "good"] == []


def test_the_command_takes_a_sample_as_it_is(command):
    result = command("drum", "tap", SAMPLES / "drum_tom_lo_soft.flac", "--json")

    told = [json.loads(line) for line in result.stdout.splitlines()]
    assert result.exit_code == 0
    assert told[-1]["fundamental_hz"] == pytest.approx(90.27, abs=0.5)
