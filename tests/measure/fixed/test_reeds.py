"""Tremolo: the reeds of one note are told apart; what merely sways is not."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.reeds import Voice, hear, hz_of, sound
from tests.support.strings import cents


@pytest.mark.parametrize("apart_cents", [4.0, 6.0, 10.0, 15.0, 25.0])
@pytest.mark.parametrize("midi", [60, 69, 76, 84])
@pytest.mark.parametrize("second_level", [1.0, 0.4])
def test_two_reeds_of_one_note_are_both_heard(
    apart_cents: float, midi: int, second_level: float
) -> None:
    low = hz_of(midi)
    high = low * 2 ** (apart_cents / 1200)

    notes = hear(sound(Voice(low), Voice(high, 0.1 * second_level), seed=midi))

    assert len(notes) == 1
    assert len(notes[0].reeds) == 2
    first, second = notes[0].reeds
    assert abs(cents(first.hz, low)) < 0.1
    assert abs(cents(second.hz, high)) < 0.1
    assert first.level_db == pytest.approx(0.0, abs=0.3)
    assert second.level_db == pytest.approx(20 * np.log10(second_level), abs=0.5)
    assert notes[0].beat_hz == pytest.approx(high - low, rel=0.01, abs=0.01)
    assert abs(cents(notes[0].hz, (low + high) / 2)) < 0.1


@pytest.mark.parametrize("spread_cents", [8.0, 14.0])
def test_three_reeds_of_one_note_are_all_heard(spread_cents: float) -> None:
    truth = [hz_of(69) * 2 ** (step * spread_cents / 1200) for step in (-1, 0, 1)]

    notes = hear(sound(*(Voice(hz) for hz in truth)))

    assert len(notes) == 1
    assert [abs(cents(reed.hz, hz)) < 0.2 for reed, hz in zip(notes[0].reeds, truth, strict=True)]
    assert len(notes[0].reeds) == 3


def test_two_pure_tones_of_unlike_level_are_two_reeds() -> None:
    notes = hear(sound(Voice(440.0, partials=1), Voice(443.0, 0.06, partials=1)))

    assert [round(reed.hz, 2) for note in notes for reed in note.reeds] == [440.0, 443.0]


@pytest.mark.parametrize("partials", [1, 16])
@pytest.mark.parametrize("sway", [0.15, 0.5])
@pytest.mark.parametrize("sway_hz", [3.0, 5.5, 7.0])
def test_a_tremulant_is_not_taken_for_reeds(partials: int, sway: float, sway_hz: float) -> None:
    notes = hear(sound(Voice(hz_of(69), partials=partials, sway=sway, sway_hz=sway_hz)))

    assert [len(note.reeds) for note in notes] == [1]
    assert abs(cents(notes[0].hz, hz_of(69))) < 0.1


def test_a_hands_vibrato_reads_as_its_centre() -> None:
    t = np.arange(round(2.5 * 48000)) / 48000
    turn = 523.25 * t + 523.25 * (6 / 1731.234) * np.sin(2 * np.pi * 5 * t) / (2 * np.pi * 5)
    x = sum(0.1 / k * np.sin(2 * np.pi * k * turn + k) for k in range(1, 9))

    notes = hear(np.asarray(x))

    assert [len(note.reeds) for note in notes] == [1]
    assert abs(cents(notes[0].hz, 523.25)) < 0.5


@pytest.mark.parametrize("apart_hz", [0.1, 0.25])
def test_a_pianos_strings_that_beat_slowly_are_one_note(apart_hz: float) -> None:
    hz = hz_of(60)
    strings = [
        Voice(hz + i * apart_hz, 0.1, inharmonicity=2e-4, ring_s=1.5) for i in (-0.5, 0.0, 0.5)
    ]

    notes = hear(sound(*strings))

    assert [len(note.reeds) for note in notes] == [1]
    assert abs(cents(notes[0].hz, hz)) < 0.5


def test_uncertainties_are_honest() -> None:
    ratios = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        hz = hz_of(rng.uniform(50, 90))
        x = sound(
            Voice(hz, 0.1, slope=rng.uniform(0.5, 1.5)),
            noise_db=rng.uniform(-35, -22),
            length_s=2.4,
            seed=seed,
        )
        ratios += [cents(note.hz, hz) / note.uncertainty_cents for note in hear(x)]

    assert len(ratios) == 60
    assert 0.4 < float(np.sqrt(np.mean(np.square(ratios)))) < 2.0


def test_uncertainties_of_two_reeds_are_honest() -> None:
    ratios = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        low = hz_of(rng.uniform(57, 84))
        high = low * 2 ** (rng.uniform(6, 25) / 1200)
        x = sound(
            Voice(low, 0.05),
            Voice(high, 0.05 * rng.uniform(0.4, 1)),
            noise_db=rng.uniform(-40, -28),
            seed=seed,
        )
        for note in hear(x):
            ratios += [
                cents(reed.hz, hz) / reed.uncertainty_cents
                for reed, hz in zip(note.reeds, (low, high), strict=True)
            ]

    assert len(ratios) == 80
    assert 0.4 < float(np.sqrt(np.mean(np.square(ratios)))) < 2.0


@pytest.mark.parametrize("second_slope", [1.0, 1.6])
@pytest.mark.parametrize("beat_hz", [0.3, 0.42])
def test_two_reeds_that_beat_too_slowly_to_be_told_apart_are_told_by_their_middle(
    beat_hz: float, second_slope: float
) -> None:
    low = hz_of(48)
    reeds = (Voice(low, end_s=2.3), Voice(low + beat_hz, 0.09, end_s=2.3, slope=second_slope))

    notes = hear(sound(*reeds, length_s=2.7))

    assert [len(note.reeds) for note in notes] == [1]
    off = abs(cents(notes[0].hz, low + beat_hz / 2))
    assert off < 0.1
    assert off < 3 * notes[0].uncertainty_cents < 1.0


def test_two_lines_that_may_be_one_that_sways_are_as_unsure_as_the_two_readings_are_apart() -> None:
    low, beat_hz = hz_of(48), 0.42
    reeds = (Voice(low, end_s=2.3), Voice(low + beat_hz, 0.04, end_s=2.3))

    (note,) = hear(sound(*reeds, length_s=2.7))

    # As two reeds half-way between, as one at the power's centre, a seventh of the way up.
    apart = (0.5 - 0.04**2 / (0.1**2 + 0.04**2)) * cents(low + beat_hz, low)
    assert len(note.reeds) == 1
    assert note.uncertainty_cents > apart / 4
