"""The reference tone's samples: pitch, level, partials, and nothing that clicks."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import NotNowError, ToneRefusedError, UsageError
from station.sound.tone import (
    FADE_S,
    HIGHEST_HZ,
    LONGEST_S,
    LOUDEST_DBFS,
    LOWEST_HZ,
    SHORTEST_S,
    SOFTEST_DBFS,
    STRING_PARTIALS,
    SWELL_S,
    USUAL_DBFS,
    ToneAsk,
    ToneSynth,
    Wave,
    check_tone,
    peak,
)

RATE_HZ = 48_000
FULL = 0.975  # what a millisecond of a 3 kHz sine shows of its height at the least
ROUNDING = 1.0 + 1e-6  # float32 samples
asks = st.builds(
    ToneAsk,
    st.floats(LOWEST_HZ, HIGHEST_HZ),
    st.sampled_from(["sine", "string"]),
    st.floats(SOFTEST_DBFS, LOUDEST_DBFS),
    st.floats(SHORTEST_S, 0.5),
)


def played(ask: ToneAsk, rate_hz: int = RATE_HZ, rate_ppm: float = 0.0) -> np.ndarray:
    """The whole tone and a little silence after it."""
    synth = ToneSynth(rate_hz)
    synth.play(ask, rate_ppm)
    return synth.block(round(ask.seconds * rate_hz) + 100)


def above(samples: np.ndarray, hz: float) -> float:
    """The largest sample of what lies above a frequency."""
    spectrum = np.fft.rfft(samples.astype(np.float64))
    spectrum[np.fft.rfftfreq(samples.size, 1.0 / RATE_HZ) < hz] = 0.0
    return float(np.abs(np.fft.irfft(spectrum, samples.size)).max())


# -- pitch ---------------------------------------------------------------


def turns_at(samples: np.ndarray, start: int, numerator: int, denominator: int) -> float:
    """Phase in turns of a sine of numerator / denominator hertz, over half a second from `start`.

    The sine it is compared with is reckoned in whole numbers, so that it has no error to add up.
    """
    part = samples[start : start + RATE_HZ // 2].astype(np.float64)
    whole = denominator * RATE_HZ
    shares = [(n * numerator) % whole / whole for n in range(start, start + part.size)]
    window = np.hanning(part.size)
    return (
        float(np.angle(np.sum(window * part * np.exp(-2j * np.pi * np.array(shares))))) / math.tau
    )


@pytest.mark.parametrize(("numerator", "denominator"), [(440, 1), (4427, 10), (308677, 10000)])
def test_over_a_minute_the_frequency_is_exact_to_a_thousandth_of_a_cent(numerator, denominator):
    hz = numerator / denominator
    samples = played(ToneAsk(hz, "sine", -20.0, 60.0))

    first = turns_at(samples, RATE_HZ, numerator, denominator)
    last = turns_at(samples, 58 * RATE_HZ, numerator, denominator)

    drift_hz = (last - first) / 57.0
    assert abs(1200.0 * math.log2(1.0 + drift_hz / hz)) < 0.001


@pytest.mark.parametrize("rate_ppm", [-120.0, 80.0])
def test_a_card_that_runs_fast_or_slow_is_corrected_for(rate_ppm):
    # On a card that is so much faster, the same samples sound so much sharper.
    samples = played(ToneAsk(440.0, "sine", -20.0, 10.0), rate_ppm=rate_ppm)

    turns = turns_at(samples, 9 * RATE_HZ, 440, 1) - turns_at(samples, RATE_HZ, 440, 1)

    expected = 440.0 * 8.0 * (1.0 / (1.0 + 1e-6 * rate_ppm) - 1.0)  # less than half a turn
    assert abs(expected) < 0.5
    assert (turns - expected + 0.5) % 1.0 - 0.5 == pytest.approx(0.0, abs=1e-4)


def test_a_strings_partials_are_whole_multiples_and_fall_as_one_over_k():
    ask = ToneAsk(220.0, "string")
    wave = Wave(ask, RATE_HZ).samples(RATE_HZ)  # one second: a bin is a hertz

    lines = np.abs(np.fft.rfft(wave)) / (RATE_HZ / 2)

    partials = lines[220 : 220 * (STRING_PARTIALS + 1) : 220].copy()
    assert partials == pytest.approx(partials[0] / np.arange(1, STRING_PARTIALS + 1))
    lines[220 : 220 * (STRING_PARTIALS + 1) : 220] = 0.0
    assert lines.max() < 1e-9 * partials[0]


def test_a_sine_has_one_partial():
    lines = np.abs(np.fft.rfft(Wave(ToneAsk(220.0, "sine"), RATE_HZ).samples(RATE_HZ)))

    assert np.flatnonzero(lines > 1e-9 * lines.max()).tolist() == [220]


@given(st.floats(LOWEST_HZ, HIGHEST_HZ), st.sampled_from([44_100, 48_000, 96_000]))
def test_no_partial_stands_above_what_the_rate_carries(hz, rate_hz):
    wave = Wave(ToneAsk(hz, "string"), rate_hz)

    assert 1 <= wave.partials <= STRING_PARTIALS
    assert wave.partials * hz <= 0.45 * rate_hz
    assert wave.partials == STRING_PARTIALS or (wave.partials + 1) * hz > 0.45 * rate_hz


# -- level ---------------------------------------------------------------


@pytest.mark.parametrize("partials", [1, 2, 5, 12, 40])
def test_the_reckoned_peak_is_the_highest_point_of_the_sum(partials):
    x = np.linspace(0.0, math.tau, 100_001)
    total = sum(np.sin(k * x) / k for k in range(1, partials + 1))

    assert total.max() <= peak(partials)
    assert total.max() == pytest.approx(peak(partials), rel=1e-5)


@settings(max_examples=40, deadline=None)
@given(asks)
def test_no_sample_is_louder_than_was_asked_for_nor_than_the_cap(ask):
    highest = np.abs(played(ask)).max()

    assert highest <= 10.0 ** (ask.level_dbfs / 20.0) * ROUNDING
    assert highest <= 0.1 * ROUNDING  # -20 dBFS


@pytest.mark.parametrize("voice", ["sine", "string"])
@pytest.mark.parametrize("level_dbfs", [-60.0, USUAL_DBFS, -20.0])
def test_the_level_that_was_asked_for_is_reached(voice, level_dbfs):
    highest = np.abs(played(ToneAsk(221.3, voice, level_dbfs, 1.0))).max()

    assert 20.0 * math.log10(highest) == pytest.approx(level_dbfs, abs=0.01)


# -- swell, fade and what lies between -----------------------------------


def loudness(samples: np.ndarray) -> np.ndarray:
    """The loudness of a 3 kHz sine: the highest sample of each millisecond."""
    return np.abs(samples[: samples.size // 48 * 48].reshape(-1, 48)).max(axis=1)


def test_a_tone_swells_for_fifty_milliseconds_and_fades_for_a_hundred():
    samples = played(ToneAsk(3001.0, "sine", -20.0, 1.0))

    shape = loudness(samples) / 0.1

    assert SWELL_S >= 0.05
    assert FADE_S >= 0.1
    # A raised cosine: half-way at half the time, an eighth of the way is sin(pi / 16) squared.
    ms = np.array([6.25, 25.0, 43.75])
    expected = np.sin(np.pi * ms / 100.0) ** 2
    assert shape[[6, 25, 44]] == pytest.approx(expected, abs=0.04)
    assert shape[51:899].min() > FULL
    assert shape[[912, 950, 987]] == pytest.approx(expected[::-1], abs=0.04)
    assert samples[0] == 0.0
    assert not samples[RATE_HZ - 1 :].any()


def test_a_tone_lasts_as_long_as_it_was_asked_for():
    samples = played(ToneAsk(440.0, "string", -20.0, 0.7))

    last = int(np.flatnonzero(samples)[-1])

    assert last == pytest.approx(0.7 * RATE_HZ, abs=3)


def test_nothing_clicks_where_a_tone_that_is_merely_switched_does():
    faded = played(ToneAsk(440.0, "sine", -20.0, 1.0))
    switched = np.zeros_like(faded)
    switched[1000:40_000] = Wave(ToneAsk(440.0, "sine", -20.0), RATE_HZ).samples(39_000)

    # Below -120 dBFS, less than 16 bits can say; a switched tone's click is 70 dB above that.
    assert above(faded, 3000.0) < 1e-6
    assert above(switched, 3000.0) > 3e-3


orders = st.lists(
    st.tuples(
        st.integers(1, 9000),  # frames until the next order
        st.sampled_from([None, 110.0, 174.6, 293.7]),  # None: stop
        st.sampled_from(["sine", "string"]),
        st.sampled_from([-40.0, -20.0]),
    ),
    min_size=1,
    max_size=12,
)


def carried_out(sequence: list) -> np.ndarray:
    """What is heard of orders that follow each other, until all is silent."""
    synth = ToneSynth(RATE_HZ)
    blocks = []
    for frames, hz, voice, level_dbfs in sequence:
        if hz is None:
            synth.stop()
        else:
            synth.play(ToneAsk(hz, voice, level_dbfs, 0.3))
        blocks.append(synth.block(frames))
    while not synth.silent:
        blocks.append(synth.block(1024))
    return np.concatenate([*blocks, np.zeros(2000, np.float32)])


@settings(max_examples=60, deadline=None)
@given(orders)
def test_nothing_clicks_whatever_is_ordered_and_when(sequence):
    samples = carried_out(sequence)

    assert above(samples, 6000.0) < 3e-6
    assert np.abs(samples).max() <= 0.1 * ROUNDING


def test_a_change_of_note_goes_through_silence():
    synth = ToneSynth(RATE_HZ)
    synth.play(ToneAsk(3001.0, "sine", -20.0, 10.0))
    before = synth.block(RATE_HZ)

    synth.play(ToneAsk(3501.0, "sine", -20.0, 10.0))
    after = synth.block(RATE_HZ)

    shape = loudness(np.concatenate([before, after])) / 0.1
    assert shape[990:1000].min() > 0.99  # not a sample too early
    lowest = int(np.argmin(shape[1000:1150]))
    assert shape[1000 + lowest] < 0.01
    assert lowest == pytest.approx(100, abs=2)
    assert all(b <= a + 0.01 for a, b in pairwise(shape[1000 : 1000 + lowest]))
    assert shape[1152:].min() > FULL
    spectrum = np.abs(np.fft.rfft(after[RATE_HZ // 2 :]))
    assert 2 * int(np.argmax(spectrum)) == pytest.approx(3501, abs=2)


def test_of_several_changes_the_last_one_counts():
    synth = ToneSynth(RATE_HZ)
    synth.play(ToneAsk(3001.0, "sine", -20.0, 10.0))
    synth.block(RATE_HZ)

    for hz in (2001.0, 2501.0, 1001.0):
        synth.play(ToneAsk(hz, "sine", -20.0, 10.0))
        synth.block(480)
    after = synth.block(RATE_HZ)

    spectrum = np.abs(np.fft.rfft(after[RATE_HZ // 2 :]))
    assert 2 * int(np.argmax(spectrum)) == pytest.approx(1001, abs=2)


def test_the_same_tone_asked_for_again_goes_on_without_a_dip():
    ask = ToneAsk(3001.0, "sine", -20.0, 1.0)
    synth = ToneSynth(RATE_HZ)
    synth.play(ask)
    before = synth.block(RATE_HZ // 2)

    synth.play(ask)
    after = synth.block(2 * RATE_HZ)

    shape = loudness(np.concatenate([before, after])) / 0.1
    assert shape[60:1390].min() > FULL
    assert not after[RATE_HZ:].any()  # a second from when it was asked for again


def test_a_tone_stopped_while_it_swells_is_swelled_first():
    synth = ToneSynth(RATE_HZ)
    synth.play(ToneAsk(3001.0, "sine", -20.0, 10.0))
    before = synth.block(960)

    synth.stop()
    after = synth.block(RATE_HZ)

    shape = loudness(np.concatenate([before, after])) / 0.1
    assert shape[45:55].max() > FULL
    assert synth.silent
    assert not after[round((SWELL_S + FADE_S) * RATE_HZ) :].any()


@given(asks, st.lists(st.integers(1, 5000), min_size=1, max_size=8))
@settings(max_examples=40, deadline=None)
def test_how_it_is_cut_into_blocks_changes_nothing(ask, cuts):
    whole = played(ask, 44_100)
    synth = ToneSynth(44_100)
    synth.play(ask)

    pieces = [synth.block(frames) for frames in cuts]
    pieces.append(synth.block(max(0, whole.size - sum(cuts))))

    assert np.concatenate(pieces)[: whole.size] == pytest.approx(whole, abs=1e-7)


def test_a_synth_that_was_asked_for_nothing_is_silent():
    synth = ToneSynth(RATE_HZ)
    synth.stop()

    assert synth.silent
    assert not synth.block(4800).any()


# -- what may be asked for -----------------------------------------------


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"hz": 12.0}, "tone of 12 Hz: take 20 to 5000 Hz"),
        ({"hz": 0.44}, "tone of 0.44 Hz: take 20 to 5000 Hz (given in kHz: did you mean 440 Hz?)"),
        ({"hz": 9000}, "tone of 9000 Hz: take 20 to 5000 Hz"),
        ({"hz": math.nan}, "tone of nan Hz: take 20 to 5000 Hz"),
        ({"hz": "A4"}, "tone 'A4' is not a number: take 20 to 5000 Hz"),
        ({"hz": True}, "tone True is not a number: take 20 to 5000 Hz"),
        ({"voice": "square"}, "voice 'square' unknown: take sine or string"),
        (
            {"level_dbfs": -10.0},
            "level of -10 dBFS: take -60 to -20 dBFS"
            " (too loud for ears and loudspeakers: turn up the amplifier instead)",
        ),
        (
            {"level_dbfs": 30},
            "level of 30 dBFS: take -60 to -20 dBFS"
            " (the minus sign is missing: did you mean -30 dBFS?)",
        ),
        (
            {"level_dbfs": 0.5},
            "level of 0.5 dBFS: take -60 to -20 dBFS"
            " (a share of full scale? levels are in dB below it)",
        ),
        ({"level_dbfs": -90.0}, "level of -90 dBFS: take -60 to -20 dBFS"),
        ({"seconds": 61.0}, "length of 61 s: take 0.2 to 60 s"),
        (
            {"seconds": 5000},
            "length of 5000 s: take 0.2 to 60 s (given in milliseconds: did you mean 5 s?)",
        ),
        ({"seconds": None}, "length None is not a number: take 0.2 to 60 s"),
    ],
)
def test_a_tone_out_of_range_is_refused_with_value_limit_and_likely_mistake(changes, said):
    with pytest.raises(ToneRefusedError) as caught:
        check_tone(**({"hz": 440.0} | changes))

    assert str(caught.value) == said
    assert isinstance(caught.value, UsageError)


def test_the_limits_themselves_may_be_asked_for():
    for hz, level_dbfs, seconds in (
        (LOWEST_HZ, SOFTEST_DBFS, SHORTEST_S),
        (HIGHEST_HZ, LOUDEST_DBFS, LONGEST_S),
    ):
        assert check_tone(hz, "string", level_dbfs, seconds).hz == hz
    assert check_tone(440) == ToneAsk(440.0, "sine", -30.0, 10.0)


def test_in_quiet_every_tone_is_refused():
    with pytest.raises(ToneRefusedError, match=r"no tone of 442\.00 Hz while the room is quiet"):
        check_tone(442.0, quiet=True)
    with pytest.raises(NotNowError):
        check_tone(442.0, quiet=True)
