"""The pitch now: no lag behind a peg, the centre of a vibrato, honest during a pluck's glide."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.fit import Fit
from station.measure.moving import pitch_now
from tests.support.strings import Floats, after_silence, cents, hear_all, noise

RATE_HZ = 48000
PLUCK_S = 0.5
PEG_CENTS_S = 30.0
TURN_S = 1.2
STRINGS_HZ = [41.203, 55.0, 82.407, 195.998]


def moving(hz: float, cents_at: Floats, seed: int, ring_s: float = 4.0) -> Floats:
    """A stiff string (Fletcher 1964) lying `cents_at` above `hz`, sample by sample."""
    rng = np.random.default_rng(seed)
    t = np.arange(cents_at.size) / RATE_HZ
    own_t = np.cumsum(2 ** (cents_at / 1200)) / RATE_HZ
    x = np.zeros(t.size)
    for k in range(1, 16):
        f = hz * k * np.sqrt((1 + 1e-4 * k**2) / (1 + 1e-4))
        decay = np.exp(-t * np.sqrt(k) / ring_s)
        x += 0.2 / k * decay * np.cos(2 * np.pi * f * own_t + rng.uniform(0, 2 * np.pi))
    return x


@pytest.mark.parametrize("cents_a_s", [PEG_CENTS_S, -PEG_CENTS_S])
@pytest.mark.parametrize("begins_s", [0.0, 0.8])
@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_readings_keep_up_with_a_peg_and_stay_where_it_stops(
    hz: float, begins_s: float, cents_a_s: float
) -> None:
    t = np.arange(round(2.7 * RATE_HZ)) / RATE_HZ
    pitch = cents_a_s * np.clip(t - begins_s, 0, TURN_S)
    x = after_silence(moving(hz, pitch, seed=3), RATE_HZ, hiss_db=-80)

    readings, notes, _ = hear_all(x, RATE_HZ)

    began, ended = PLUCK_S + begins_s, PLUCK_S + begins_s + TURN_S
    off = [(r.at_s, cents(r.hz, hz) - np.interp(r.at_s - PLUCK_S, t, pitch)) for r in readings]
    turning = [abs(by) for at_s, by in off if began + 0.3 < at_s < ended]
    stopped = [abs(by) for at_s, by in off if at_s > ended + 0.4]
    assert len(turning) > 40
    assert max(turning) < 1
    assert len(stopped) > 10
    assert max(stopped) < 0.5
    assert max(abs(by) for _, by in off) < 5
    assert len(notes) == 1


@pytest.mark.parametrize("sways_a_s", [4.0, 6.0])
@pytest.mark.parametrize("wide_cents", [6.0, 12.0, 25.0])
@pytest.mark.parametrize("hz", [55.0, 110.0, 330.0, 659.0])
def test_of_a_vibrato_nothing_is_told_but_its_centre_once_it_has_swung_back(
    hz: float, wide_cents: float, sways_a_s: float
) -> None:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    pitch = wide_cents * np.sin(2 * np.pi * sways_a_s * t)

    readings, _, _ = hear_all(after_silence(moving(hz, pitch, 5), RATE_HZ, hiss_db=-80), RATE_HZ)

    swung = [cents(r.hz, hz) for r in readings if r.at_s > PLUCK_S + 1.4 / sways_a_s]
    assert len(swung) > 60
    assert max(abs(by) for by in swung) < 2 * np.sqrt(2)  # less is no swing yet


@pytest.mark.parametrize("wide_cents", [1.2, 1.6, 2.0, 2.5])
@pytest.mark.parametrize("hz", [110.0, 330.0])
def test_a_shallow_vibrato_is_told_all_along(hz: float, wide_cents: float) -> None:
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    pitch = wide_cents * np.sin(2 * np.pi * 4.5 * t)

    readings, _, _ = hear_all(after_silence(moving(hz, pitch, 5), RATE_HZ, hiss_db=-80), RATE_HZ)

    assert len(readings) > 165
    waits = np.diff([r.at_s for r in readings])
    assert max(waits) < 0.7


def test_what_swings_too_slowly_for_a_vibrato_is_told_now_and_then() -> None:
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    pitch = 6.0 * np.sin(2 * np.pi * 2.0 * t)

    readings, _, _ = hear_all(after_silence(moving(110.0, pitch, 5), RATE_HZ, hiss_db=-80), RATE_HZ)

    assert len(readings) > 60
    assert max(np.diff([r.at_s for r in readings])) < 0.6


def test_a_peg_that_is_turned_too_far_and_back_is_told_again_soon() -> None:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    pitch = np.interp(t, [0.8, 1.5, 1.9], [0.0, 20.0, 10.0])

    readings, notes, _ = hear_all(
        after_silence(moving(110.0, pitch, 3), RATE_HZ, hiss_db=-80), RATE_HZ
    )

    off = [(r.at_s, cents(r.hz, 110.0) - np.interp(r.at_s - PLUCK_S, t, pitch)) for r in readings]
    assert max(abs(by) for _, by in off) < 5
    assert len([at_s for at_s, _ in off if at_s > PLUCK_S + 1.5 + 0.45]) > 45
    assert [abs(cents(note.hz, 110.0) - 10.0) < 0.1 for note in notes] == [True]


@pytest.mark.parametrize("sways_a_s", [4.5, 5.5, 6.5])
@pytest.mark.parametrize("wide_cents", [15.0, 40.0])
@pytest.mark.parametrize("hz", [110.0, 195.998, 440.0])
def test_a_vibrato_reads_its_centre_while_it_sounds_and_after(
    hz: float, wide_cents: float, sways_a_s: float
) -> None:
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    sway = wide_cents * np.sin(2 * np.pi * sways_a_s * t + 1)

    x = after_silence(moving(hz, sway, seed=2), RATE_HZ, hiss_db=-80)
    readings, notes, _ = hear_all(x, RATE_HZ)

    late = [abs(cents(r.hz, hz)) for r in readings if r.at_s > PLUCK_S + 1]
    assert len(late) > 25
    assert max(late) < 1.5
    assert [abs(cents(note.hz, hz)) < 1.5 for note in notes] == [True]


def test_a_string_that_a_peg_brought_three_cents_settles_where_it_came_to() -> None:
    t = np.arange(3 * RATE_HZ) / RATE_HZ
    pitch = np.interp(t, [0.7, 1.0], [-3.0, 0.0])
    for hz in (110.0, 195.998):
        x = after_silence(moving(hz, pitch, seed=2), RATE_HZ, hiss_db=-60)

        _, notes, _ = hear_all(x, RATE_HZ)

        assert [abs(cents(note.hz, hz)) < 1 for note in notes] == [True]


@pytest.mark.parametrize("hz", [110.0, 329.628])
def test_a_short_note_of_a_vibrato_settles_near_its_centre(hz: float) -> None:
    for wide_cents in (10.0, 20.0):
        t = np.arange(round(0.6 * RATE_HZ)) / RATE_HZ
        sway = wide_cents * np.sin(2 * np.pi * 4.5 * t)

        x = after_silence(moving(hz, sway, seed=2), RATE_HZ, hiss_db=-60)
        _, notes, _ = hear_all(x, RATE_HZ)

        assert [abs(cents(note.hz, hz)) < 5 for note in notes] == [True]


@pytest.mark.parametrize("sways_a_s", [4.2, 5.5])
def test_a_shallow_vibrato_is_not_drawn_on_from_the_middle_of_its_sways(sways_a_s: float) -> None:
    wide_cents = 9.0
    for hz in (82.407, 110.0, 329.628):
        t = np.arange(round(0.9 * RATE_HZ)) / RATE_HZ
        sway = wide_cents * np.sin(2 * np.pi * sways_a_s * t + 1)

        x = after_silence(moving(hz, sway, seed=2), RATE_HZ, hiss_db=-60)
        readings, _, _ = hear_all(x, RATE_HZ)

        assert len(readings) > 5
        assert max(abs(cents(r.hz, hz)) for r in readings) < wide_cents + 3.0


@pytest.mark.parametrize("glide_cents", [4.0, 8.0])
def test_readings_of_a_pluck_that_starts_sharp_are_true_at_their_time_and_know_how_true(
    glide_cents: float,
) -> None:
    over_claim = []
    for midi in (28, 33, 40, 45, 50, 55, 59, 64):
        for glide_s in (0.05, 0.1, 0.15):
            hz = 440 * 2 ** ((midi - 69) / 12)
            t = np.arange(RATE_HZ) / RATE_HZ
            x = moving(hz, glide_cents * np.exp(-t / glide_s), midi, ring_s=1.5)
            hiss_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - 30
            x = np.concatenate((np.zeros(round(PLUCK_S * RATE_HZ)), x))

            readings, _, _ = hear_all(x + noise(x.size, float(hiss_db), midi), RATE_HZ)

            assert len(readings) > 30
            for r in readings:
                sharp = glide_cents * np.exp(-max(0.0, r.at_s - PLUCK_S) / glide_s)
                error = cents(r.hz, hz) - sharp
                assert abs(error) < 5
                over_claim.append(error / r.uncertainty_cents)
    assert 0.4 < np.sqrt(np.mean(np.square(over_claim))) < 2.5


@pytest.mark.parametrize("snr_db", [60.0, 40.0, 30.0])
@pytest.mark.parametrize("began_s", [0.3, 0.7])
@pytest.mark.parametrize("hz", [30.868, 34.0, 36.708, 41.203, 46.249, 55.0])
def test_a_tenth_of_a_second_after_a_peg_begins_to_turn_low_strings_lag_by_less_than_three_cents(
    hz: float, began_s: float, snr_db: float
) -> None:
    t = np.arange(round((began_s + 0.6) * RATE_HZ)) / RATE_HZ
    for seed, cents_a_s in enumerate((PEG_CENTS_S, -PEG_CENTS_S)):
        pitch = cents_a_s * np.maximum(t - began_s, 0)
        x = moving(hz, pitch, seed)
        hiss_db = 10 * np.log10(np.mean(x[: RATE_HZ // 2] ** 2)) - snr_db
        x = after_silence(x, RATE_HZ, hiss_db=float(hiss_db))

        readings, notes, _ = hear_all(x, RATE_HZ)

        lags = [
            cents(r.hz, hz) - np.interp(r.at_s - PLUCK_S, t, pitch)
            for r in readings
            if r.at_s > PLUCK_S + began_s + 0.1
        ]
        assert len(lags) > 20
        assert max(map(abs, lags)) < 3
        assert len(notes) == 1


@pytest.mark.parametrize("sways_a_s", [4.5, 5.5])
@pytest.mark.parametrize("hz", [36.708, 41.203, 55.0])
def test_a_low_string_that_sways_is_not_drawn_on_to_where_it_never_was(
    hz: float, sways_a_s: float
) -> None:
    wide_cents = 4.0
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    pitch = wide_cents * np.sin(2 * np.pi * sways_a_s * (t - 0.8)) * (t > 0.8)

    x = after_silence(moving(hz, pitch, seed=2), RATE_HZ, hiss_db=-60)
    readings, _, _ = hear_all(x, RATE_HZ)

    swaying = [abs(cents(r.hz, hz)) for r in readings if r.at_s > PLUCK_S + 0.8]
    assert len(swaying) > 20
    assert max(swaying) < wide_cents + 1


def test_a_pitch_that_held_still_and_then_goes_is_no_sway() -> None:
    step = 300
    wiggle = [0.05 * (-1) ** number for number in range(32)]
    going = [*wiggle, *np.linspace(0.5, 6, 9)]
    track = [
        (number * step, Fit(110 * 2 ** (at / 1200), 1e-4, 0.02, 12, 1.0))
        for number, at in enumerate(going)
    ]

    now = pitch_now(track, length=1800)

    assert cents(now.hz, 110) > 5
