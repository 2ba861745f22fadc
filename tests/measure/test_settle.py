"""Where a note settles: after its glide, in the middle of its vibrato, where a peg left it."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support import strings
from tests.support.bound import pitch_bound_cents
from tests.support.strings import Floats, StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
TARGET_HZ = 82.407


def bent(target_hz: float, cents_at: Floats, ring_s: float = 4.0) -> Floats:
    """A plucked string whose pitch lies `cents_at` above `target_hz`, sample by sample."""
    return after_silence(strings.bent(target_hz, cents_at, RATE_HZ, ring_s), RATE_HZ, hiss_db=-80)


def test_a_peg_being_turned_is_followed_closely_and_the_note_is_where_it_ended() -> None:
    t = np.arange(RATE_HZ * 3) / RATE_HZ
    phase = 2 * np.pi * np.cumsum(110.0 * 2 ** (30 * t / 1200)) / RATE_HZ
    x = sum(0.2 / k * np.cos(k * phase + k) for k in range(1, 12))
    readings, notes, _ = hear_all(after_silence(x, RATE_HZ, hiss_db=-80), RATE_HZ)
    lags = [30 * (r.at_s - 0.5) - cents(r.hz, 110.0) for r in readings if r.at_s > 0.8]
    assert len(lags) > 90
    assert max(abs(lag) for lag in lags) < 3
    assert len(notes) == 1
    assert 55 < cents(notes[0].hz, 110.0) < 90


@pytest.mark.parametrize("seed", range(6))
def test_a_note_that_wanders_before_it_comes_to_rest_is_where_it_rests(seed: int) -> None:
    turns_s = np.arange(0, 0.96, 0.12)
    turns_cents = np.append(np.random.default_rng(seed).normal(0, 4, turns_s.size - 1), 0.0)
    t = np.arange(round(2.2 * RATE_HZ)) / RATE_HZ

    _, notes, _ = hear_all(bent(329.6, np.interp(t, turns_s, turns_cents)), RATE_HZ)

    assert [abs(cents(note.hz, 329.6)) < 0.2 for note in notes] == [True]


def test_a_vibrato_reads_its_centre() -> None:
    t = np.arange(RATE_HZ * 2) / RATE_HZ
    sway = 20 * np.sin(2 * np.pi * 5.5 * t)
    for hz in (196.0, 440.0):
        phase = 2 * np.pi * np.cumsum(hz * 2 ** (sway / 1200)) / RATE_HZ
        x = sum(0.2 / k * np.cos(k * phase + k) for k in range(1, 8))
        _, notes, _ = hear_all(after_silence(x, RATE_HZ, hiss_db=-80), RATE_HZ)
        assert len(notes) == 1
        assert abs(cents(notes[0].hz, hz)) < 1.5


@pytest.mark.parametrize(
    ("from_cents", "begins_s", "cents_a_s"),
    [(-5, 1.0, 10), (-6, 1.5, 24), (6, 1.0, 12), (-10, 3.2, 10), (-20, 4.0, 20), (-4, 1.0, 8)],
)
def test_a_string_tuned_while_it_rings_is_where_the_peg_left_it(
    from_cents: float, begins_s: float, cents_a_s: float
) -> None:
    t = np.arange(RATE_HZ * 7) / RATE_HZ
    turned = np.minimum(abs(from_cents), np.maximum(0, t - begins_s) * cents_a_s)
    x = bent(TARGET_HZ, from_cents + np.sign(-from_cents) * turned)
    _, notes, _ = hear_all(x, RATE_HZ)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, TARGET_HZ)) < 0.2


@pytest.mark.parametrize("turned_cents", [-4.0, 1.3])
@pytest.mark.parametrize("at_s", [1.0, 3.4, 5.0])
def test_a_small_turn_late_in_a_long_note_is_where_the_peg_left_it(
    turned_cents: float, at_s: float
) -> None:
    t = np.arange(round(7.0 * RATE_HZ)) / RATE_HZ

    _, notes, _ = hear_all(
        bent(110.0, np.interp(t, [at_s, at_s + 0.2], [0, turned_cents])), RATE_HZ
    )

    assert [abs(cents(note.hz, 110.0) - turned_cents) < 0.05 for note in notes] == [True]


def parting(ways_cents: Floats, from_s: float, length_s: float = 6.0) -> Floats:
    """A string of 110 Hz whose partials drift from `from_s` on, for a second and a half."""
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    x = np.zeros(t.size)
    for k, way_cents in enumerate(ways_cents, start=1):
        drift = np.interp(t, [from_s, from_s + 1.5], [0.0, way_cents])
        phase = 2 * np.pi * k * np.cumsum(110.0 * 2 ** (drift / 1200)) / RATE_HZ
        x += 0.2 / k * np.exp(-t / 4) * np.cos(phase + k)
    return after_silence(x, RATE_HZ, hiss_db=-80)


@pytest.mark.parametrize("seed", [1, 7])  # of eight those whose readings stay sure to the end
def test_a_note_whose_partials_drift_apart_is_not_told_from_its_end(seed: int) -> None:
    ways_cents = -4.0 + np.random.default_rng(seed).normal(0, 1.2, 12)

    readings, notes, _ = hear_all(parting(ways_cents, 3.2), RATE_HZ)

    assert cents(readings[-1].hz, 110.0) < -2
    assert [abs(cents(note.hz, 110.0)) < 0.5 for note in notes] == [True]
    assert 0.5 < notes[0].uncertainty_cents < 3


@pytest.mark.parametrize("seed", range(3))
def test_a_note_that_wanders_where_a_peg_left_it_says_so(seed: int) -> None:
    turns_s = np.r_[0.8, np.arange(1.0, 3.0, 0.2)]
    ways_cents = np.r_[0.0, 9 + np.random.default_rng(seed).normal(0, 0.3, turns_s.size - 1)]
    t = np.arange(round(2.8 * RATE_HZ)) / RATE_HZ

    _, notes, _ = hear_all(bent(110.0, np.interp(t, turns_s, ways_cents)), RATE_HZ)

    assert len(notes) == 1
    assert abs(cents(notes[0].hz, 110.0) - 9) < 0.5
    assert 0.03 < notes[0].uncertainty_cents < 0.5


def test_a_pluck_that_starts_sharp_is_read_where_it_settles() -> None:
    t = np.arange(RATE_HZ * 3) / RATE_HZ
    x = bent(TARGET_HZ, 8 * np.exp(-t / 0.1))
    _, notes, _ = hear_all(x, RATE_HZ)
    assert len(notes) == 1
    assert abs(cents(notes[0].hz, TARGET_HZ)) < 0.1


@pytest.mark.parametrize("hz", [350.0, 391.995, 440.0, 493.883, 554.365, 622.254, 659.255])
def test_a_clean_high_stiff_string_settles_within_a_hundredth_of_a_cent(hz: float) -> None:
    for seed in range(3):
        stiffness = float(np.random.default_rng(seed).uniform(0, 3e-4))
        string = StiffString(hz, stiffness, partials=15)
        x = np.concatenate((np.zeros(RATE_HZ // 2), string.sound(RATE_HZ, 1.5, seed)))

        _, notes, _ = hear_all(x, RATE_HZ)

        assert [abs(cents(note.hz, hz)) < 0.01 for note in notes] == [True]


def over_its_bound(midi: int, ring_s: float, snr_db: float, takes: int) -> float:
    """Rms of the settled notes of short strings over the bounds of their first half seconds."""
    over_bound = []
    for seed in range(takes):
        rng = np.random.default_rng(seed + midi)
        hz = 440 * 2 ** ((midi - 69 + rng.uniform(-0.45, 0.45)) / 12)
        string = StiffString(hz, 1e-4, ring_s=ring_s)
        x = string.sound(RATE_HZ, 1.0, seed)
        noise_power = float(np.mean(x[: RATE_HZ // 2] ** 2)) / 10 ** (snr_db / 10)
        bound_cents = pitch_bound_cents(string, RATE_HZ, 0.5, noise_power, seed)
        x = np.concatenate((np.zeros(RATE_HZ // 2), x))
        x += np.sqrt(noise_power) * np.random.default_rng(seed + 1000).normal(size=x.size)

        _, notes, _ = hear_all(x, RATE_HZ)

        assert len(notes) == 1
        over_bound.append(cents(notes[0].hz, hz) / bound_cents)
    return float(np.sqrt(np.mean(np.square(over_bound))))


@pytest.mark.parametrize("midi", [28, 33, 40, 45, 50, 55, 59, 64])
def test_a_short_note_comes_as_near_to_its_bound_as_a_long_one(midi: int) -> None:
    assert over_its_bound(midi, ring_s=0.35, snr_db=40, takes=5) < 2


@pytest.mark.parametrize(("midi", "snr_db"), [(23, 40), (28, 40), (28, 20), (40, 20)])
def test_a_low_string_that_dies_away_at_once_comes_as_near(midi: int, snr_db: float) -> None:
    assert over_its_bound(midi, ring_s=0.25, snr_db=snr_db, takes=5) < 2


@pytest.mark.parametrize("hz", [55.0, 110.0])
def test_the_silence_after_a_damped_string_does_not_count(hz: float) -> None:
    over_claim = []
    for seed in range(4):
        x = StiffString(hz, 1e-4, ring_s=3.0).sound(RATE_HZ, 1.2, seed)
        x[-1440:] *= np.linspace(1, 0, 1440)
        x = np.concatenate((np.zeros(RATE_HZ // 4), x, np.zeros(RATE_HZ // 4)))

        _, notes, _ = hear_all(x + noise(x.size, -70, seed), RATE_HZ)

        (note,) = notes
        over_claim.append(cents(note.hz, hz) / note.uncertainty_cents)
    assert np.sqrt(np.mean(np.square(over_claim))) < 2


@pytest.mark.parametrize(("rate_hz", "hz"), [(16000, 41.2), (48000, 30.87)])
def test_a_low_tone_that_a_gate_cuts_off_is_heard_though_nothing_at_all_follows(
    rate_hz: int, hz: float
) -> None:
    tone = 0.3 * np.sin(2 * np.pi * hz * np.arange(rate_hz) / rate_hz)
    x = np.concatenate((np.zeros(rate_hz // 5), tone, np.zeros(rate_hz // 2)))

    _, notes, _ = hear_all(x.astype(np.float32), rate_hz)

    assert [abs(cents(note.hz, hz)) < 0.1 for note in notes] == [True]


@pytest.mark.parametrize("sinks_cents", [-1.5, 2.0])
def test_what_a_string_does_as_it_is_let_go_says_nothing_of_its_pitch(sinks_cents: float) -> None:
    hz, let_go_s = 146.8, 1.8
    time_s = np.arange(round(2.3 * RATE_HZ)) / RATE_HZ
    going_s = np.maximum(0.0, time_s - let_go_s)
    turned = 2 * np.pi * hz * (time_s + (2 ** (sinks_cents / 1200) - 1) * going_s)
    x = sum(np.sin(k * turned + k * k) / k for k in range(1, 13))
    # A hand or a damper: 150 dB a second, where the string itself fades by 6.
    x *= 0.02 * 10 ** (-(6 * time_s + 150 * going_s) / 20)

    _, notes, _ = hear_all(x + noise(x.size, -98), RATE_HZ)

    assert len(notes) == 1
    assert notes[0].end_s > let_go_s + 0.15
    assert abs(cents(notes[0].hz, hz)) < 0.02
