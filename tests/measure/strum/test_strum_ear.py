"""What the strum ear does with streams: blocks, gaps, strums one after the other, and no strums."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.errors import SignalError
from station.measure.strum.ear import StrumEar
from station.measure.strum.strum import measure_strum
from station.measure.strum.types import Target, targets_of
from station.music.tunings import find_tuning_by_name
from tests.support.strings import StiffString, noise
from tests.support.strums import heard_strums, synthetic

RATE_HZ = 16000
TARGETS = targets_of(find_tuning_by_name("guitar"))
OFF = (12.0, -9.0, 4.0, 3.0, -22.0, 30.0)


def strum(off: tuple[float | None, ...] = OFF, length_s: float = 2.3, seed: int = 0):
    strings = [
        (
            0.012 * n,
            None if c is None else StiffString(t.centre_hz * 2 ** (c / 1200), 5e-5, 1.3, 0.08),
        )
        for n, (t, c) in enumerate(zip(TARGETS, off, strict=True))
    ]
    return synthetic(strings, RATE_HZ, length_s, seed=seed)


@pytest.fixture(scope="module")
def one():
    return strum()


def test_how_the_sound_is_cut_into_blocks_changes_nothing(one):
    whole = heard_strums(one, RATE_HZ, TARGETS, block=one.size)

    for block in (37, 480, 5000):
        assert heard_strums(one, RATE_HZ, TARGETS, block=block) == whole


def test_a_strum_is_told_two_seconds_after_it_began(one):
    ear = StrumEar(RATE_HZ, TARGETS)
    told_at = None
    for first in range(0, one.size, 160):
        if ear.push(one[first : first + 160].astype(np.float32)):
            told_at = (first + 160) / RATE_HZ

    assert told_at == pytest.approx(2.4, abs=0.05)
    assert not ear.collecting
    assert ear.finish() == []


def test_strums_one_after_the_other_are_told_each(one):
    second = strum((-30.0, 20.0, -5.0, 8.0, None, 2.0), seed=3)
    both = np.concatenate((one[: RATE_HZ * 2], np.zeros(RATE_HZ // 5), second))

    first, last = heard_strums(both, RATE_HZ, TARGETS)

    assert [s.cents for s in first.strings] == pytest.approx(OFF, abs=0.3)
    assert first.heard_s < last.heard_s
    assert last.at_s == pytest.approx(2.6, abs=0.02)
    assert last.strings[4].hz is None
    assert last.strings[0].cents == pytest.approx(-30.0, abs=0.3)


def test_a_gap_ends_a_strum_and_time_goes_on_after_it(one):
    ear = StrumEar(RATE_HZ, TARGETS)
    samples = one.astype(np.float32)
    told = ear.push(samples[: RATE_HZ * 3 // 2])

    told += ear.mark_gap(RATE_HZ)
    told += ear.push(samples) + ear.finish()

    assert [strum.at_s for strum in told] == pytest.approx([0.4, 2.9], abs=0.02)
    assert told[0].heard_s == pytest.approx(1.1, abs=0.05)


def test_a_strum_cut_off_at_once_is_not_told(one):
    assert heard_strums(one[: round(0.9 * RATE_HZ)], RATE_HZ, TARGETS) == []


def test_a_file_that_begins_within_its_strum_is_told(one):
    cut = one[round(0.45 * RATE_HZ) :]

    (told,) = heard_strums(cut, RATE_HZ, TARGETS, whole=True)

    assert [string.cents for string in told.strings] == pytest.approx(OFF, abs=0.3)


def test_a_strum_that_swells_without_a_stroke_is_told_from_a_file(one):
    swelling = one[round(0.4 * RATE_HZ) :] * np.minimum(1, np.arange(one.size)[:-6400] / 16000)

    told = heard_strums(swelling, RATE_HZ, TARGETS, whole=True)

    assert told
    assert told[-1].present == 6


@pytest.mark.parametrize("level_db", [-80.0, -40.0, -12.0])
def test_noise_is_no_strum(level_db):
    x = noise(3 * RATE_HZ, level_db, seed=5)
    x[: RATE_HZ // 2] = 0

    for strum_told in heard_strums(x, RATE_HZ, TARGETS, whole=True):
        assert strum_told.present <= 1


@pytest.mark.parametrize("value", [0.0, 0.7])
def test_silence_and_a_converters_offset_are_no_strum(value):
    assert heard_strums(np.full(3 * RATE_HZ, value), RATE_HZ, TARGETS, whole=True) == []


def test_a_sound_that_is_none_of_the_strings_leaves_them_missing():
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    x = np.where(t > 0.4, 0.5 * np.sin(2 * np.pi * 523.25 * t) * np.exp(-(t - 0.4)), 0.0)

    assert heard_strums(x, RATE_HZ, TARGETS, whole=True) == []


def test_a_line_that_clips_is_said_to_clip(one):
    loud = np.clip(one * 8, -1, 1)

    (told,) = heard_strums(loud, RATE_HZ, TARGETS)

    assert told.clipped
    assert [string.cents for string in told.strings] == pytest.approx(OFF, abs=2.0)


def test_a_soft_strum_in_hiss_is_told_less_surely(one):
    hiss = noise(one.size, -60.0, seed=8)

    (clean,) = heard_strums(one, RATE_HZ, TARGETS)
    (soft,) = heard_strums(0.1 * one + hiss, RATE_HZ, TARGETS)

    for before, after in zip(clean.strings, soft.strings, strict=True):
        assert after.cents == pytest.approx(before.cents, abs=1.0)
        assert after.uncertainty_cents >= before.uncertainty_cents


def test_other_targets_can_be_set_while_it_listens(one):
    ear = StrumEar(RATE_HZ, TARGETS)
    ear.retarget(targets_of(find_tuning_by_name("bass")))

    told = ear.push(one.astype(np.float32)) + ear.finish()

    assert all(len(each.strings) == 4 for each in told)


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_samples_that_are_no_numbers_are_refused(bad):
    with pytest.raises(SignalError, match="finite"):
        StrumEar(RATE_HZ, TARGETS).push(np.array([0.0, bad], np.float32))
    with pytest.raises(SignalError, match="finite"):
        measure_strum(np.array([0.0, bad]), RATE_HZ, 5000.0, TARGETS)


def test_what_cannot_be_listened_to_is_refused_in_one_line():
    with pytest.raises(SignalError, match="shape"):
        StrumEar(RATE_HZ, TARGETS).push(np.zeros((2, 2), np.float32))
    with pytest.raises(SignalError, match="rate"):
        StrumEar(4000, TARGETS)
    with pytest.raises(SignalError, match="strings"):
        StrumEar(RATE_HZ, [])
    with pytest.raises(SignalError, match="Hz"):
        StrumEar(RATE_HZ, [Target((1,), "E4", (0.0,))])


def test_an_empty_block_and_an_empty_stream_are_nothing():
    ear = StrumEar(RATE_HZ, TARGETS, whole=True)

    assert ear.push(np.empty(0, np.float32)) == []
    assert ear.finish() == []
    assert all(s.hz is None for s in measure_strum(np.zeros(0), RATE_HZ, 5000.0, TARGETS))
