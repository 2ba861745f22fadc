"""A reading that a drum has moved is held back, one that a hand has moved is told."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from station.measure import telling, tracking
from station.measure.fit import Fit, Guess, listen_and_fit
from station.measure.held_back import borne_out, is_sure, shaken
from station.measure.windows import Heard
from tests.bench.bench_bleed import RATE_HZ, under_a_string
from tests.support.strings import Floats, after_silence, cents, hear_all, noise

LENGTH_S = 0.12
STRING_HZ = 204.85
KNOWN = Fit(STRING_HZ, 1e-4, 0.01, 8, 0.99)
COURSE = [(place, KNOWN) for place in range(10)]


def partials(hz: float, drum_hz: float = 0.0) -> Floats:
    """A string at `hz` in a little hiss, 12 dB above a drum's one mode where there is one."""
    t = np.arange(round(LENGTH_S * 16000)) / 16000
    stretch = [np.sqrt((1 + 1e-4 * k * k) / (1 + 1e-4)) for k in range(1, 7)]
    x = sum(np.cos(2 * np.pi * hz * k * s * t + k) / k for k, s in enumerate(stretch, start=1))
    drum = 0.25 * np.cos(2 * np.pi * drum_hz * t) if drum_hz else 0.0
    return np.asarray(x + drum + noise(t.size, -60, 3))


def heard_in(x: Floats) -> tuple[Heard, Fit]:
    found = listen_and_fit(x, 16000, Guess(STRING_HZ, 1e-4))
    assert found is not None
    return found


@pytest.mark.parametrize("by_cents", [-30.0, -4.0, 4.0, 30.0])
def test_a_pitch_that_all_partials_have_followed_is_told(by_cents: float) -> None:
    heard, fit = heard_in(partials(STRING_HZ * 2 ** (by_cents / 1200)))

    assert abs(cents(fit.hz, STRING_HZ) - by_cents) < 1
    assert not shaken(COURSE, fit, heard)
    assert not shaken([], fit, heard)


@pytest.mark.parametrize("beside_hz", [-9.0, -7.0, 7.0, 9.0])
def test_a_pitch_that_one_partial_has_left_for_a_drum_is_held_back(beside_hz: float) -> None:
    heard, fit = heard_in(partials(STRING_HZ, STRING_HZ + beside_hz))
    drawn = fit._replace(hz=STRING_HZ * 2 ** (6.5 / 1200))  # as a first partial thought sure does

    assert shaken(COURSE, drawn, heard)


def test_one_partial_alone_is_told_where_the_string_is_known_to_be_and_nowhere_else() -> None:
    t = np.arange(round(LENGTH_S * 16000)) / 16000
    heard, fit = heard_in(np.cos(2 * np.pi * STRING_HZ * t) + noise(t.size, -30, 3))
    drum = heard_in(np.cos(2 * np.pi * 1.004 * STRING_HZ * t) + noise(t.size, -30, 3))

    assert not shaken(COURSE, fit, heard)
    assert shaken(COURSE, drum[1], drum[0])
    assert shaken([], fit._replace(uncertainty_cents=0.8), heard)
    lone = [(place, KNOWN._replace(partials=1)) for place in range(10)]
    assert not shaken(lone, drum[1], drum[0])


def test_few_partials_are_believed_with_less_uncertainty_than_many() -> None:
    assert is_sure(KNOWN)
    assert is_sure(KNOWN._replace(uncertainty_cents=1.6, partials=12))
    assert not is_sure(KNOWN._replace(uncertainty_cents=1.6, partials=3))


def test_of_a_string_known_for_a_while_more_is_asked_when_noise_rises() -> None:
    vague = KNOWN._replace(uncertainty_cents=0.6, partials=12)

    assert is_sure(vague)
    assert not is_sure(vague, noisier=True)
    assert is_sure(KNOWN, noisier=True)


def beyond(deviations: float, freedom: int) -> float:
    """How often Student's t is farther from nought than that, by its density's integral."""
    t = np.linspace(0.0, deviations, 100_001)
    scale = math.gamma((freedom + 1) / 2) / math.gamma(freedom / 2) / math.sqrt(freedom * math.pi)
    density = scale * (1 + t * t / freedom) ** (-(freedom + 1) / 2)
    within = (density.sum() - 0.5 * (density[0] + density[-1])) * t[1]
    return 1.0 - 2.0 * float(within)


@pytest.mark.parametrize("partials", range(1, 8))
def test_of_few_partials_a_pitch_is_told_if_once_in_ten_thousand_it_is_5_cents_off(
    partials: int,
) -> None:
    for sd_cents in np.arange(0.3, 0.9, 0.01):
        fit = KNOWN._replace(uncertainty_cents=sd_cents, partials=partials)

        assert is_sure(fit) == (beyond(5.0 / sd_cents, partials + 3) < 1e-4)


def test_a_settled_pitch_that_knows_less_than_the_readings_gives_way_to_them() -> None:
    ring = KNOWN._replace(hz=STRING_HZ * 2 ** (-10.6 / 1200), uncertainty_cents=0.9, partials=1)

    assert borne_out(ring, COURSE).hz == STRING_HZ
    assert borne_out(KNOWN, COURSE) == KNOWN
    sure = ring._replace(uncertainty_cents=0.02)
    assert borne_out(sure, COURSE) == sure


def test_a_string_that_a_hand_moved_settles_where_it_came_to_and_not_where_it_was_surest() -> None:
    left = [(at, KNOWN) for at, _ in COURSE]
    arrived = KNOWN._replace(hz=STRING_HZ * 2 ** (3.0 / 1200), uncertainty_cents=0.02)
    vague = arrived._replace(uncertainty_cents=0.5)

    assert borne_out(vague, left) != vague  # nobody moved it
    assert borne_out(vague, [*left, (left[-1][0] + 300, arrived)]) == vague
    elsewhere = vague._replace(hz=STRING_HZ * 2 ** (9.0 / 1200))
    assert borne_out(elsewhere, [*left, (left[-1][0] + 300, arrived)]).hz == STRING_HZ


def test_a_note_that_was_surest_in_its_glide_settles_where_it_glided_to() -> None:
    glided = KNOWN._replace(hz=STRING_HZ * 2 ** (-4.7 / 1200), uncertainty_cents=0.5)
    course = [(at, KNOWN if place < 4 else glided) for place, (at, _) in enumerate(COURSE)]
    settled = glided._replace(uncertainty_cents=2.0)

    assert borne_out(settled, course) == settled


# Kits over strings that once were misread: a snare's body that outlasts the string, a kick, and a
# drum that made a new string of two partials of the one that rang, drums that outvoted a note.
@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        ("snare's own pitch", 7016),
        ("under a string", 7010),
        ("under a string", 9014),
        ("snare's own pitch", 3003),
    ],
)
def test_a_kit_that_outlasts_a_string_is_not_read_in_its_place(kind: str, seed: int) -> None:
    x, hz = under_a_string(kind, seed, 12.0)

    readings, notes, _ = hear_all(x + noise(x.size, -85, seed), RATE_HZ)

    assert len(readings) > 60
    assert max(abs(cents(reading.hz, hz)) for reading in readings) < 5
    assert max(abs(cents(note.hz, hz)) for note in notes) < 1


def test_a_note_whose_every_reading_a_drum_may_have_made_is_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fork = 0.1 * np.sin(2 * np.pi * 500.0 * np.arange(RATE_HZ) / RATE_HZ)
    x = after_silence(fork, RATE_HZ)
    assert len(hear_all(x, RATE_HZ)[1]) == 1

    monkeypatch.setattr(tracking, "shaken", lambda track, fit, heard: True)

    assert hear_all(x, RATE_HZ)[:2] == ([], [])


def test_a_note_found_late_is_told_only_once_two_readings_in_a_row_are_sure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fork = 0.1 * np.sin(2 * np.pi * 500.0 * np.arange(RATE_HZ) / RATE_HZ)
    x = after_silence(fork, RATE_HZ)
    by_turns = itertools.cycle([True, False])
    monkeypatch.setattr(telling, "is_sure", lambda *known: next(by_turns))
    assert hear_all(x, RATE_HZ)[:2] == ([], [])

    twice = itertools.cycle([False, True, True])
    monkeypatch.setattr(telling, "is_sure", lambda *known: next(twice))
    assert hear_all(x, RATE_HZ)[0]
