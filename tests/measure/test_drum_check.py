"""Drums in the same microphone: never a note, never a wrong reading of the string beside them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.support.drums import Kick, below, cymbal, drum_loop
from tests.support.kits import Kit
from tests.support.strings import Floats, StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
BLEED_DB = 12.0
RINGS_S = 2.5
# E1 to E4; the loop's snare has a body at 190 Hz, in G3's own place.
STRINGS_HZ = {"E1": 41.203, "E2": 82.407, "A2": 110.0, "D3": 146.832, "B3": 246.942, "E4": 329.628}


def over(bleed: Floats, string: StiffString, pluck_s: float, seed: int) -> Floats:
    """`string`, plucked at `pluck_s`, with `bleed` BLEED_DB under its first second."""
    x = string.sound(RATE_HZ, RINGS_S, seed)
    lead = round(pluck_s * RATE_HZ)
    y = below(bleed, x[:RATE_HZ], BLEED_DB)[: lead + x.size]
    y[lead:] += x[: y.size - lead]
    return y + noise(y.size, -80, seed)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", STRINGS_HZ)
def test_a_string_over_a_drum_loop_is_heard_and_never_misread(name: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    pluck_s = rng.uniform(0.5, 1.0)
    kick = Kick(rng.uniform(110, 150), 60.0, 0.02, rng.uniform(0.1, 0.15))
    loop = drum_loop(RATE_HZ, pluck_s + RINGS_S, seed, rng.uniform(100, 130), kick)
    hz = STRINGS_HZ[name] * 2 ** (rng.uniform(-0.4, 0.4) / 12)

    readings, notes, _ = hear_all(over(loop, StiffString(hz, 1e-4), pluck_s, seed), RATE_HZ)

    assert len(readings) > 60
    assert readings[0].at_s - pluck_s < 0.2
    assert max(abs(cents(reading.hz, hz)) for reading in readings) < 5
    assert notes[0].onset_s == pytest.approx(pluck_s, abs=0.03)
    assert abs(cents(notes[0].hz, hz)) < 0.5
    assert max(abs(cents(note.hz, hz)) for note in notes) < 5


@pytest.mark.parametrize("to_hz", [50.0, 55.0, 57.0, 60.0])
@pytest.mark.parametrize("rings_s", [0.1, 0.15, 0.2])
def test_a_drum_loop_alone_is_no_note(to_hz: float, rings_s: float) -> None:
    for seed in range(2):
        kick = Kick(140.0 + 20 * seed, to_hz, 0.03, rings_s)
        loop = drum_loop(RATE_HZ, 4.0, seed, 110.0 + 10 * seed, kick)

        readings, notes, _ = hear_all(0.1 * loop + noise(loop.size, -80, seed), RATE_HZ)

        assert readings == []
        assert notes == []


@pytest.mark.parametrize("hz", [41.203, 110.0, 195.998, 329.628])
def test_a_string_over_a_crash_cymbal_reads_as_without_it(hz: float) -> None:
    for seed in range(2):
        crash = cymbal(RATE_HZ, 0.5 + RINGS_S, 0.6, seed)

        x = over(crash, StiffString(hz, 1e-4), 0.5, seed)
        readings, notes, _ = hear_all(x, RATE_HZ)

        assert readings[0].at_s - 0.5 < 4 / hz + 0.035
        assert max(abs(cents(reading.hz, hz)) for reading in readings) < 1
        assert [abs(cents(note.hz, hz)) < 0.1 for note in notes] == [True]


def test_a_cymbal_alone_is_no_note() -> None:
    for rings_s in (0.15, 0.6):
        x = 0.3 * cymbal(RATE_HZ, 3.0, rings_s, 5)

        readings, notes, _ = hear_all(after_silence(x, RATE_HZ), RATE_HZ)

        assert readings == []
        assert notes == []


@pytest.mark.parametrize("partials", [2, 3, 4, 6])
@pytest.mark.parametrize("hz", [30.868, 41.203, 55.0, 73.416, 97.999])
def test_a_bass_of_few_partials_is_no_kick_and_is_heard_at_once(hz: float, partials: int) -> None:
    # 1/k of 1/k: the second partial 12 dB down, as on a string damped with a piece of foam.
    weak = tuple((k, 1 / k) for k in range(2, partials + 1))
    string = StiffString(hz, 1e-4, partials=partials, weak=weak)

    x = after_silence(string.sound(RATE_HZ, 1.0, 1), RATE_HZ, hiss_db=-80)
    readings, notes, _ = hear_all(x, RATE_HZ)

    # Of two partials no reading is told that might be 5 cents off once in ten thousand times.
    assert readings[0].at_s - 0.5 < 0.21
    assert max(abs(cents(reading.hz, hz)) for reading in readings) < 1
    assert [abs(cents(note.hz, hz)) < 0.1 for note in notes] == [True]


@pytest.mark.parametrize("seed", range(3))
def test_a_kit_nobody_knows_is_no_note(seed: int) -> None:
    x = Kit(RATE_HZ, seed).loop(3.0)

    readings, notes, _ = hear_all(0.3 * x / np.abs(x).max() + noise(x.size, -85, seed), RATE_HZ)

    assert readings == []
    assert notes == []


@pytest.mark.parametrize(("to_hz", "rings_s"), [(41.0, 0.4), (55.0, 1.0), (98.0, 0.7)])
def test_a_kick_of_one_long_pure_tone_is_no_string(to_hz: float, rings_s: float) -> None:
    kick = Kick(1.5 * to_hz, to_hz, 0.02, rings_s).sound(RATE_HZ)[: 2 * RATE_HZ]

    readings, notes, _ = hear_all(after_silence(0.4 * kick, RATE_HZ), RATE_HZ)

    assert readings == []
    assert notes == []


def fork(hz: float, until_60_db_s: float) -> Floats:
    """A tuning fork: its first mode, and the clang of its second (6.27 times as high: Rayleigh)."""
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    clang = 0.5 * np.exp(-t / 0.05) * np.sin(2 * np.pi * 6.27 * hz * t)
    rings = np.exp(-math.log(1000) * t / until_60_db_s) * np.sin(2 * np.pi * hz * t)
    return np.asarray(0.1 * (rings + clang))


def blown(hz: float, partials: tuple[float, ...], sway: float) -> Floats:
    """A flute's swell, tremolo and breath; `partials` are amplitudes, `sway` the tremolo's."""
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    tones = [a * np.sin(2 * np.pi * k * hz * t) for k, a in enumerate(partials, start=1)]
    sways = 1 + sway * np.sin(2 * np.pi * 5 * t)
    envelope = np.minimum(1, t / 0.08) * np.minimum(1, (3 - t) / 0.1) * sways
    return np.asarray(envelope * (0.1 * np.sum(tones, axis=0) + noise(t.size, -60, 4)))


LONE = {
    "a fork at A4": (440.0, fork(440.0, 8.0)),
    "a long fork at C4": (261.626, fork(261.626, 20.0)),
    "a plain low tone": (110.0, blown(110.0, (1.0,), 0.0)),
    "a plain tone": (441.5, blown(441.5, (1.0,), 0.0)),
    "a flute": (587.33, blown(587.33, (1.0, 0.2, 0.05), 0.15)),
    "an ocarina": (880.0, blown(880.0, (1.0, 0.003), 0.15)),
}


@pytest.mark.parametrize("name", LONE)
def test_a_tone_that_hardly_falls_is_heard_once_though_it_has_one_partial(name: str) -> None:
    hz, x = LONE[name]

    readings, notes, _ = hear_all(after_silence(x, RATE_HZ), RATE_HZ)

    assert readings[0].at_s - 0.5 < 0.7
    assert max(abs(cents(reading.hz, hz)) for reading in readings) < 0.5
    assert [abs(cents(note.hz, hz)) < 0.05 for note in notes] == [True]
    assert notes[0].onset_s == pytest.approx(0.5, abs=0.04)


@pytest.mark.parametrize("hz", [2093.0, 2349.32, 3135.96])
def test_a_high_string_of_one_partial_within_reach_is_heard_at_once(hz: float) -> None:
    x = StiffString(hz, 1e-3, ring_s=0.3).sound(RATE_HZ, 1.0, 1)

    readings, notes, _ = hear_all(after_silence(x, RATE_HZ), RATE_HZ)

    assert readings[0].at_s - 0.5 < 0.1
    assert [abs(cents(note.hz, hz)) < 0.1 for note in notes] == [True]
