"""The card's rate from when its blocks arrive, late by all that makes blocks late."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from station.errors import SignalError
from station.measure.card_rate import WINDOW_S, CardRate, CardRateMeter
from station.sound.blocks import Block, InputState
from station.sound.line_input import LineFormat, SupervisedInput
from tests.support.page_client import wait_until
from tests.support.pulse import PulseAudio, environment_set

RATE_HZ = 48_000.0
FRAMES = 1024
BLOCK_S = FRAMES / RATE_HZ
TEN_MINUTES_S = 600.0
TRUE_PPM = 100.0
ALLOWED_PPM = 11.55  # 0.02 cents: 1200 log2(1 + 11.55e-6)
TRIALS = 16

Rng = np.random.Generator
Times = NDArray[np.float64]
Lateness = Callable[[Times, Rng], Times]


def wandering(t: Times, rng: Rng, deviation_s: float, lasting_s: float) -> Times:
    """A first-order autoregressive process (Ornstein-Uhlenbeck), sampled at every block."""
    keep = np.exp(-BLOCK_S / lasting_s)
    pushes = rng.normal(0.0, deviation_s * np.sqrt(1.0 - keep**2), t.size)
    walk = np.empty(t.size)
    walk[0] = rng.normal(0.0, deviation_s)
    for i in range(1, t.size):
        walk[i] = keep * walk[i - 1] + pushes[i]
    return walk


def until_next_waking(t: Times, rng: Rng, every_s: float) -> Times:
    """A sender that wakes every so often passes on what is there."""
    phase_s = rng.uniform(0.0, every_s)
    return np.ceil((t - phase_s) / every_s) * every_s + phase_s - t


def little(t: Times, rng: Rng) -> Times:
    return rng.exponential(0.0005, t.size)


CONTINUOUS: dict[str, Lateness] = {
    "uniform up to 5 ms": lambda t, rng: rng.uniform(0.0, 0.005, t.size),
    "exponential, 3 ms": lambda t, rng: rng.exponential(0.003, t.size),
    "rarely 200 ms": lambda t, rng: little(t, rng) + 0.2 * (rng.random(t.size) < 0.01),
    "a busy machine now and then": lambda t, rng: (
        little(t, rng) + (wandering(t, rng, 1.0, 20.0) > 1.0) * rng.uniform(0.0, 0.02, t.size)
    ),
    "latency wandering for half a minute": lambda t, rng: (
        little(t, rng) + 0.02 + wandering(t, rng, 0.001, 30.0)
    ),
    "latency wandering for minutes": lambda t, rng: (
        little(t, rng) + 0.02 + wandering(t, rng, 0.001, 200.0)
    ),
    "latency swaying over minutes": lambda t, rng: (
        little(t, rng)
        + 0.02
        + 0.001 * np.sin(2 * np.pi * (t / rng.uniform(200.0, 900.0) + rng.random()))
    ),
}
IN_BURSTS: dict[str, Lateness] = {
    "bursts of 40 ms": lambda t, rng: until_next_waking(t, rng, 0.04),
    "bursts of 40 ms, a little late": lambda t, rng: (
        until_next_waking(t, rng, 0.04) + little(t, rng)
    ),
    "bursts of two blocks": lambda t, rng: until_next_waking(t, rng, 2 * BLOCK_S) + little(t, rng),
}
KINDS = CONTINUOUS | IN_BURSTS


def hear(meter: CardRateMeter, ppm: float, seconds: float, late: Lateness, seed: int) -> None:
    """Blocks of a card that is `ppm` fast, as they arrive one after another."""
    stops = FRAMES * np.arange(1, int(seconds / BLOCK_S) + 1)
    full_s = stops / (RATE_HZ * (1.0 + ppm * 1e-6))
    arrived_s = np.maximum.accumulate(full_s + late(full_s, np.random.default_rng(seed)))
    for stop, at_s in zip(stops.tolist(), (arrived_s + 5000.0).tolist(), strict=True):
        meter.hear(stop, at_s)


def estimate(ppm: float, seconds: float, late: Lateness, seed: int = 0) -> CardRate:
    meter = CardRateMeter(RATE_HZ)
    hear(meter, ppm, seconds, late, seed)
    rate = meter.estimate()
    assert rate is not None
    return rate


# -- how good it is --------------------------------------------------------------


@pytest.mark.parametrize("kind", [*CONTINUOUS, "bursts of 40 ms", "bursts of 40 ms, a little late"])
def test_after_ten_minutes_a_card_100_ppm_fast_is_known_to_a_fiftieth_of_a_cent(kind):
    rates = [estimate(TRUE_PPM, TEN_MINUTES_S, KINDS[kind], seed) for seed in range(TRIALS)]

    errors = [abs(rate.ppm - TRUE_PPM) for rate in rates]
    assert max(errors) < ALLOWED_PPM
    assert {rate.fault for rate in rates} == {None}


@pytest.mark.parametrize("kind", CONTINUOUS)
def test_the_uncertainty_is_as_large_as_the_error_usually_is(kind):
    rates = [estimate(TRUE_PPM, TEN_MINUTES_S, KINDS[kind], seed) for seed in range(TRIALS)]

    ratios = [(rate.ppm - TRUE_PPM) / rate.uncertainty_ppm for rate in rates]
    assert 0.4 < np.sqrt(np.mean(np.square(ratios))) < 2.0


# A sender woken by a timer hides a slow card's error until a block just misses a waking.
@pytest.mark.parametrize("ppm", [0.0, 0.3, 5.0, 20.0, TRUE_PPM])
@pytest.mark.parametrize("kind", IN_BURSTS)
def test_bursts_that_hide_the_cards_error_do_not_make_it_sure(kind, ppm):
    rates = [estimate(ppm, TEN_MINUTES_S, KINDS[kind], seed) for seed in range(TRIALS)]

    ratios = [(rate.ppm - ppm) / rate.uncertainty_ppm for rate in rates]
    assert np.sqrt(np.mean(np.square(ratios))) < 2.0


@pytest.mark.parametrize("ppm", [-400.0, -35.0, 0.0, 8.0, 900.0])
def test_slow_and_fast_cards_are_told_apart(ppm):
    rate = estimate(ppm, 300.0, CONTINUOUS["exponential, 3 ms"])

    assert abs(rate.ppm - ppm) < max(0.1, 4.0 * rate.uncertainty_ppm)


def test_more_time_makes_it_surer():
    late = CONTINUOUS["latency wandering for half a minute"]

    short, long = (estimate(TRUE_PPM, seconds, late) for seconds in (300.0, 1200.0))

    assert long.uncertainty_ppm < 0.5 * short.uncertainty_ppm
    assert long.heard_s > 3.5 * short.heard_s


# -- what is no steady stream -------------------------------------------------------


def test_frames_lost_with_a_wrong_guess_of_how_many_do_not_tilt_the_rate():
    meter = CardRateMeter(RATE_HZ)
    rng = np.random.default_rng(4)
    frame, now_s = 0, 100.0
    for block in range(int(TEN_MINUTES_S / BLOCK_S)):
        unbroken = block % 4000 != 3999
        if not unbroken:
            now_s += 1.0
            frame += int(RATE_HZ * rng.uniform(0.7, 1.3))
        frame += FRAMES
        now_s += BLOCK_S / (1.0 + TRUE_PPM * 1e-6)
        meter.hear(frame, now_s + rng.exponential(0.001), unbroken=unbroken)

    rate = meter.estimate()

    assert rate is not None
    assert abs(rate.ppm - TRUE_PPM) < 4.0 * rate.uncertainty_ppm < ALLOWED_PPM


def test_a_latency_that_jumps_once_is_doubted_but_does_not_tilt_the_rate():
    def late(t: Times, rng: Rng) -> Times:
        return little(t, rng) + 0.02 * (t > 0.4 * TEN_MINUTES_S)

    rate = estimate(TRUE_PPM, TEN_MINUTES_S, late)

    assert abs(rate.ppm - TRUE_PPM) < 1.0
    # 20 ms in ten minutes are 33 ppm: lost frames would look the same.
    assert rate.uncertainty_ppm == pytest.approx(33.3 / np.sqrt(3.0), rel=0.1)


def test_frames_that_are_lost_again_and_again_without_a_word_never_make_it_sure():
    lost = 64  # frames, every seven seconds: 190 ppm, as a crystal might be off

    def late(t: Times, rng: Rng) -> Times:
        return little(t, rng) + lost / RATE_HZ * np.floor(t / 7.0)

    def late_in_lumps(t: Times, rng: Rng) -> Times:
        return little(t, rng) + 20 * lost / RATE_HZ * np.floor(t / 140.0)

    smooth = estimate(0.0, TEN_MINUTES_S, late)
    lumpy = estimate(0.0, TEN_MINUTES_S, late_in_lumps)

    # Lost evenly it is the card's rate indeed: so many frames come in a second.
    assert smooth.ppm == pytest.approx(-190.0, abs=10.0)
    assert lumpy.uncertainty_ppm > 2 * ALLOWED_PPM


@pytest.mark.parametrize("ppm", [1500.0, -4000.0, -81_250.0])
def test_an_error_no_crystal_has_is_said_to_be_lost_frames(ppm):
    rate = estimate(ppm, 120.0, CONTINUOUS["exponential, 3 ms"])

    assert rate.fault is not None
    assert f"{abs(ppm):.0f} ppm {'slow' if ppm < 0 else 'fast'}" in rate.fault
    assert "frames get lost" in rate.fault
    assert "\n" not in rate.fault


def test_a_card_that_warms_up_is_known_as_it_is_now():
    meter = CardRateMeter(RATE_HZ)
    rng = np.random.default_rng(1)
    now_s = 0.0
    for block in range(1, int(2 * WINDOW_S / BLOCK_S)):
        ppm = 60.0 - 30.0 * np.exp(-now_s / 300.0)
        now_s += BLOCK_S / (1.0 + ppm * 1e-6)
        meter.hear(block * FRAMES, now_s + rng.exponential(0.001))

    rate = meter.estimate()

    assert rate is not None
    assert abs(rate.ppm - 60.0) < 0.5


def test_what_is_kept_does_not_grow_with_the_hours():
    meter = CardRateMeter(RATE_HZ)
    sizes = []
    for block in range(1, int(4 * WINDOW_S / BLOCK_S)):
        meter.hear(block * FRAMES, block * BLOCK_S + 0.001 * (block * 0.618 % 1.0))
        if block % 20_000 == 0:
            sizes.append(sum(span.hull.size for span in meter.arrivals()))

    assert sizes[-1] < 1.2 * sizes[len(sizes) // 2]
    assert len(meter.arrivals()) <= WINDOW_S / 10.0 + 1


def test_too_little_gives_no_estimate_and_a_new_beginning_forgets_all():
    meter = CardRateMeter(RATE_HZ)
    nothing = meter.estimate()
    hear(meter, TRUE_PPM, 40.0, little, 0)
    little_heard = meter.estimate()
    hear(meter, TRUE_PPM, 120.0, little, 0)
    enough = meter.estimate()
    meter.begin_anew()

    assert (nothing, little_heard, meter.estimate()) == (None, None, None)
    assert enough is not None


def test_a_clock_without_any_scatter_is_no_trouble():
    rate = estimate(TRUE_PPM, 120.0, lambda t, rng: np.zeros(t.size))

    assert rate.ppm == pytest.approx(TRUE_PPM, abs=0.01)
    assert rate.uncertainty_ppm > 0.0


def test_times_that_are_no_numbers_are_passed_over():
    meter = CardRateMeter(RATE_HZ)
    meter.hear(FRAMES, float("nan"))
    hear(meter, TRUE_PPM, 120.0, little, 0)

    assert meter.estimate() is not None


@pytest.mark.parametrize("rate_hz", [0.0, -48_000.0, float("nan"), float("inf")])
def test_an_impossible_rate_is_refused(rate_hz):
    with pytest.raises(SignalError, match="take a positive number"):
        CardRateMeter(rate_hz)


# -- a real sound server ------------------------------------------------------------


@pytest.mark.sound
def test_the_null_sink_of_a_real_sound_server_keeps_the_systems_time(tmp_path: Path):
    # It rounds the length of every piece down to whole microseconds: with pieces of 21 ms
    # it runs up to 47 ppm fast (pa_bytes_to_usec in module-null-sink.c, from memory).
    meter = CardRateMeter(RATE_HZ, span_s=1.0)
    blocks: list[Block] = []
    states: list[InputState] = []

    with PulseAudio(tmp_path) as pulse, environment_set(pulse.environment):
        line = SupervisedInput(LineFormat("pulse"), on_block=blocks.append, on_state=states.append)
        line.start()
        try:
            wait_until(lambda: len(blocks) * BLOCK_S > 14.0)
        finally:
            line.stop()
    for block in blocks:
        meter.hear(
            block.first_frame,
            block.captured_at_s - block.adc_delay_s,
            unbroken=block.lost_frames_before == 0,
        )

    rate = meter.estimate()
    assert rate is not None
    assert abs(rate.ppm - 23.5) < 23.5 + 4.0 * rate.uncertainty_ppm
