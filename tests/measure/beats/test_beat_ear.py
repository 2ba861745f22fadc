"""Two strings on a line: what beats, what is known of either, and what is too little."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from station.errors import ReferenceRangeError, SignalError
from station.measure.beats.ear import BeatEar
from station.measure.beats.types import BeatReading
from station.music.pairs import StringPair, Way, pair_by_way, strings_named
from tests.support.pairs import Plucked, sides, together
from tests.support.strings import Floats

RATE_HZ = 16_000
LENGTH_S = 3.3  # three seconds after the pluck


def made(name: str, way: Way) -> StringPair:
    pair = pair_by_way(*strings_named(name), way)
    assert pair is not None
    return pair


def hear(
    x: Floats, pair: StringPair | None, rate_hz: int = RATE_HZ, block: int = 1024, **options
) -> list[BeatReading]:
    ear = BeatEar(rate_hz, pair, **{"every_s": 10.0, **options})
    samples = x.astype(np.float32)
    said: list[BeatReading] = []
    for start in range(0, samples.size, block):
        said += ear.push(samples[start : start + block])
    return said + ear.finish()


def beating(
    name: str, way: Way, beat_hz: float, snr_db: float, seed: int = 0, rate_hz: int = RATE_HZ, **own
) -> tuple[StringPair, Floats]:
    pair = made(name, way)
    strings = sides(pair, beat_hz, way == "harmonics", **own)
    return pair, together(strings, rate_hz, LENGTH_S, snr_db, seed)


@pytest.mark.parametrize("snr_db", [40, 20])
@pytest.mark.parametrize("beat_hz", [-0.372, 1.0, 14.0])
@pytest.mark.parametrize(
    ("name", "way"), [("E1-A1", "harmonics"), ("E2-A2", "open"), ("D3-G3", "fretted")]
)
def test_a_pair_that_glides_is_within_a_fiftieth_of_a_beat_after_three_seconds(
    name, way, beat_hz, snr_db
):
    pair, x = beating(name, way, beat_hz, snr_db, glide_cents=6.0)

    (said,) = hear(x, pair, thorough=True)

    assert said.resolved
    assert said.beat_hz == pytest.approx(abs(beat_hz), abs=0.02)


@pytest.mark.parametrize(("name", "way"), [("E1-A1", "open"), ("G3-D4", "open"), ("D3-D4", "open")])
def test_a_beat_of_a_twentieth_is_told_where_a_string_is_heard_by_itself(name, way):
    pair, x = beating(name, way, 0.05, 40)

    (said,) = hear(x, pair, thorough=True)

    assert said.beat_hz == pytest.approx(0.05, abs=0.02)


@pytest.mark.parametrize("beat_hz", [-0.664, 0.3])
def test_a_bowed_fifth_that_neither_fades_nor_keeps_its_level_is_told(beat_hz):
    # Bowed strings have exact harmonics: stick and slip repeat as a whole (Fletcher & Rossing).
    pair, x = beating("G3-D4", "open", beat_hz, 35, stiffness=0.0, ring_s=1e3)
    strokes = np.random.default_rng(2).normal(size=x.size)
    level = 1 + 0.05 * np.convolve(strokes, np.hanning(3200), "same") / 35

    (said,) = hear(x * level, pair)

    assert said.signed_hz == pytest.approx(beat_hz, abs=0.02)


def test_a_slow_beat_of_harmonics_is_told_or_bounded():
    pair, x = beating("E2-A2", "harmonics", 0.05, 20, glide_cents=6.0)

    (said,) = hear(x, pair, thorough=True)

    if said.resolved:
        assert said.beat_hz == pytest.approx(0.05, abs=0.02)
    else:
        assert said.bound_hz is not None
        assert said.bound_hz >= 0.05


@pytest.mark.parametrize("beat_hz", [0.8, -0.8])
def test_open_strings_say_which_is_which(beat_hz):
    pair, x = beating("E2-A2", "open", beat_hz, 40)

    (said,) = hear(x, pair)

    assert said.signed_hz == pytest.approx(beat_hz, abs=0.01)
    assert said.first is not None
    assert said.second is not None
    assert said.first.hz == pytest.approx(pair.first.target_hz(), rel=1e-5)
    assert said.first.inharmonicity == pytest.approx(6e-5, rel=0.1)


@pytest.mark.parametrize("way", ["harmonics", "fretted"])
def test_where_all_partials_meet_it_cannot_be_told_which_is_which(way):
    pair, x = beating("E2-A2", way, 0.8, 40)

    (said,) = hear(x, pair)

    assert said.signed_hz is None
    assert (said.first, said.second) == (None, None)


@pytest.mark.parametrize("beat_hz", [4.0, -4.0])
def test_a_string_said_to_be_in_its_place_tells_which_is_which(beat_hz):
    pair, x = beating("E2-A2", "harmonics", beat_hz, 40)

    (said,) = hear(x, pair, hold=0)

    assert said.signed_hz == pytest.approx(beat_hz, abs=0.01)


def test_a_string_that_does_not_sound_is_said_to_be_missing():
    pair = made("E2-A2", "open")
    x = together((Plucked(pair.first.target_hz()),), RATE_HZ, LENGTH_S, 40, 0)

    (said,) = hear(x, pair)

    assert said.missing == 1
    assert not said.resolved
    assert said.bound_hz is not None


def test_the_last_loudest_moment_is_where_the_two_lines_agree():
    pair, x = beating("E4-E4", "open", 2.0, 50)
    t = np.arange(x.size) / RATE_HZ

    (said,) = hear(x, pair)

    assert said.last_loudest_s is not None
    assert said.phase_turns is not None
    assert said.at_s - said.last_loudest_s == pytest.approx(said.phase_turns / 2.0, abs=0.01)
    # The first partial alone, by its own envelope: loudest within 30 ms of there.
    low = np.convolve(x * np.exp(-2j * np.pi * 329.6 * t), np.hanning(640) / 320, "same")
    near = np.abs(t - (said.last_loudest_s - 1.0)) < 0.25
    flat = np.abs(low[near]) * np.exp(t[near] / 3.0)
    assert t[near][int(flat.argmax())] == pytest.approx(said.last_loudest_s - 1.0, abs=0.03)


def test_readings_come_every_quarter_second_and_get_surer():
    pair, x = beating("E2-A2", "open", 1.0, 40)

    said = hear(x, pair, every_s=0.25)

    assert np.diff([each.at_s for each in said][:-1]) == pytest.approx(0.25, abs=0.02)
    assert said[-1].uncertainty_hz <= said[0].uncertainty_hz
    assert {each.onset_s for each in said} == {said[0].onset_s}
    assert said[0].onset_s == pytest.approx(0.3, abs=0.03)


def test_how_the_sound_is_cut_into_blocks_changes_nothing():
    pair, x = beating("E2-A2", "open", 1.0, 40)

    (small,), (large,) = hear(x, pair, block=77), hear(x, pair, block=40_000)

    assert small.beat_hz == pytest.approx(large.beat_hz, rel=1e-9)
    assert small.at_s == large.at_s


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 192_000])
def test_every_rate_tells_the_same_beat(rate_hz):
    pair, x = beating("E2-A2", "harmonics", 0.9, 40, rate_hz=rate_hz)

    (said,) = hear(x, pair, rate_hz)

    assert said.beat_hz == pytest.approx(0.9, abs=0.005)


def test_a_string_struck_later_begins_anew():
    pair = made("E2-A2", "open")
    first, second = sides(pair, 1.0)
    x = together((first, replace(second, at_s=1.5)), RATE_HZ, 4.6, 40, 0)

    said = hear(x, pair)

    assert [each.missing for each in said] == [1, None]
    assert said[-1].onset_s == pytest.approx(1.5, abs=0.05)
    assert said[-1].beat_hz == pytest.approx(1.0, abs=0.02)


def test_the_strongest_two_lines_are_told_without_a_pair():
    _, x = beating("E2-A2", "harmonics", 1.3, 40)

    (said,) = hear(x, None)

    assert said.beat_hz == pytest.approx(1.3, abs=0.01)
    assert sum(said.line_hz) / 2 == pytest.approx(329, abs=2)
    assert said.signed_hz is None


def test_no_reading_spans_a_gap():
    pair, x = beating("E2-A2", "open", 1.0, 40)
    samples = x.astype(np.float32)
    ear = BeatEar(RATE_HZ, pair)

    before = ear.push(samples[: 2 * RATE_HZ]) + ear.mark_gap(RATE_HZ)
    after = ear.push(samples[2 * RATE_HZ :]) + ear.finish()

    gap_s = 2.0 + 1.0
    assert all(each.at_s <= 2.01 for each in before)
    assert all(each.from_s >= gap_s for each in after)


def test_silence_and_hiss_say_nothing_and_clipping_is_said():
    pair, x = beating("E2-A2", "open", 1.0, 40)
    hiss = 0.1 * np.random.default_rng(1).normal(size=2 * RATE_HZ)

    assert hear(np.zeros(2 * RATE_HZ), pair) == []
    assert hear(hiss, pair) == []
    assert hear(np.clip(6 * x, -1, 1), pair)[0].clipped


def test_what_cannot_be_sound_is_refused():
    pair = made("E2-A2", "open")

    with pytest.raises(SignalError):
        BeatEar(4000, pair)
    with pytest.raises(ReferenceRangeError):
        BeatEar(RATE_HZ, pair, a4_hz=4400)
    with pytest.raises(SignalError):
        BeatEar(RATE_HZ, pair).push(np.full(9, np.nan, np.float32))
    with pytest.raises(SignalError):
        BeatEar(RATE_HZ, pair).push(np.zeros((9, 2), np.float32))
