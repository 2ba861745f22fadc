"""What is done to the whole of a sound and is no change of pitch never changes the pitch."""

from __future__ import annotations

import math
from itertools import accumulate, pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from station.measure.listener import Listener
from station.measure.types import Heard, Note, Reading
from tests.support.strings import Floats, StiffString, after_silence, cents, hear_all, noise

RATE_HZ = 48000
HOP = 480  # samples: readings are taken at whole hops of 10 ms, whatever falls between them
HISS_DB = -80.0  # of the string's full-scale peak
# The hiss is the same in both hearings of a property: they differ only in where windows fall.
SAME_CENTS = 0.005

few = settings(
    max_examples=10,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
# B0 to E5 in MIDI note numbers, with fractions.
pitches = st.floats(23.0, 76.0)
seeds = st.integers(0, 10_000)


def plucked(midi: float, seed: int, silence_s: float = 0.4) -> Floats:
    """A string with hiss, its peak at full scale, after a silence that hisses as well."""
    string = StiffString(440 * 2 ** ((midi - 69) / 12), 8e-5).sound(RATE_HZ, 1.2, seed)
    return after_silence(string / np.abs(string).max(), RATE_HZ, silence_s, HISS_DB)


def only_note(x: Floats, rate_hz: int = RATE_HZ) -> Note:
    """The one note of `x`."""
    _, notes, _ = hear_all(x, rate_hz)
    assert len(notes) == 1
    return notes[0]


def apart(one: Note, other: Note) -> float:
    """Cents between two notes."""
    return abs(cents(one.hz, other.hz))


@few
@given(midi=pitches, seed=seeds, level_db=st.floats(-50.0, 0.0))
def test_the_level_never_changes_the_pitch(midi: float, seed: int, level_db: float) -> None:
    x = plucked(midi, seed)

    loud, soft = only_note(x), only_note(10 ** (level_db / 20) * x)

    assert apart(loud, soft) < SAME_CENTS
    assert soft.onset_s == pytest.approx(loud.onset_s, abs=0.02)
    assert soft.uncertainty_cents == pytest.approx(loud.uncertainty_cents, rel=0.2, abs=1e-3)


@few
@given(midi=pitches, seed=seeds, shift=st.integers(1, 3 * RATE_HZ))
def test_when_a_string_is_plucked_never_changes_its_pitch(
    midi: float, seed: int, shift: int
) -> None:
    x = plucked(midi, seed)
    before = noise(shift, HISS_DB, seed + 1)

    early, late = only_note(x), only_note(np.concatenate((before, x)))

    assert apart(early, late) < SAME_CENTS
    assert late.onset_s - early.onset_s == pytest.approx(shift / RATE_HZ, abs=0.02)


@few
@given(midi=pitches, seed=seeds, shift=st.integers(1, HOP - 1))
def test_a_part_of_a_hop_never_changes_the_pitch(midi: float, seed: int, shift: int) -> None:
    x = plucked(midi, seed)

    early, late = only_note(x), only_note(x[shift:])

    assert apart(early, late) < SAME_CENTS
    assert early.onset_s - late.onset_s == pytest.approx(shift / RATE_HZ, abs=0.02)


def said_in_pieces(x: Floats, sizes: list[int]) -> list[Heard]:
    """Readings and notes of `x` cut into blocks of `sizes`, over and over."""
    samples = x.astype(np.float32)
    times = math.ceil(samples.size / sum(sizes))
    ends = [0, *accumulate(sizes * times)]
    listener = Listener(RATE_HZ)
    said = [each for a, b in pairwise(ends) for each in listener.push(samples[a:b])]
    return [each for each in said + listener.finish() if isinstance(each, (Reading, Note))]


@few
@given(
    midi=pitches,
    seed=seeds,
    sizes=st.lists(st.integers(0, 20_000), min_size=1, max_size=6).filter(lambda s: sum(s) > 50),
)
def test_blocks_of_mixed_sizes_say_the_same_in_the_same_order(
    midi: float, seed: int, sizes: list[int]
) -> None:
    x = plucked(midi, seed)

    assert said_in_pieces(x, sizes) == said_in_pieces(x, [x.size])


@pytest.mark.parametrize("dc", [-0.45, 0.1, 0.45])
@few
@given(midi=pitches, seed=seeds)
def test_dc_as_strong_as_the_string_never_changes_the_pitch(
    dc: float, midi: float, seed: int
) -> None:
    x = 0.5 * plucked(midi, seed)

    centred, off_centre = only_note(x), only_note(x + dc)

    # The stream begins with a step, as if somebody had plugged in.
    assert apart(centred, off_centre) < 4 * SAME_CENTS
    assert off_centre.onset_s == pytest.approx(centred.onset_s, abs=0.02)


@few
@given(
    midi=st.floats(35.0, 64.0),  # so that twice and half of it are strings as well
    seed=seeds,
    rate_hz=st.integers(RATE_HZ // 2, 2 * RATE_HZ),
)
def test_the_same_samples_at_another_rate_are_higher_by_just_that(
    midi: float, seed: int, rate_hz: int
) -> None:
    x = plucked(midi, seed)

    here, there = only_note(x), only_note(x, rate_hz)

    assert cents(there.hz, here.hz) == pytest.approx(cents(rate_hz, RATE_HZ), abs=SAME_CENTS)
    assert there.onset_s == pytest.approx(here.onset_s * RATE_HZ / rate_hz, abs=0.03)


@few
@given(midi=pitches, seed=seeds, snr_db=st.floats(15.0, 40.0), shift=st.integers(1, 5 * HOP))
def test_in_noise_a_shift_changes_the_pitch_by_less_than_is_said_to_be_unsure(
    midi: float, seed: int, snr_db: float, shift: int
) -> None:
    x = plucked(midi, seed)
    loud = 10 * math.log10(float(np.mean(x[-RATE_HZ:] ** 2)))
    x = 0.3 * (x + noise(x.size, loud - snr_db, seed + 1))

    early, late = only_note(x), only_note(x[shift:])

    assert apart(early, late) < math.hypot(early.uncertainty_cents, late.uncertainty_cents)
