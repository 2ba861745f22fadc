"""A peg that begins to turn below a low string: how far has the pitch gone, and was it a peg?"""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.bank import PartialBank
from station.measure.fit import Fit
from station.measure.history import History
from station.measure.turning import WINDOWS, Turn, turn_of
from tests.support.drums import Kick, snare
from tests.support.strings import Floats, cents, noise

RATE_HZ = 16000
STRINGS_HZ = (30.868, 36.708, 41.203, 55.0)
LENGTH_S = 0.8
INHARMONICITY = 1e-4
ALL = tuple(range(1, 13))


def string(
    hz: float,
    cents_at: Floats,
    seed: int = 0,
    turning: tuple[int, ...] = ALL,
    loud: tuple[int, ...] = ALL,
    hiss_db: float = -70.0,
) -> Floats:
    """A stiff string whose partials `turning` go `cents_at` from `hz`; all but the `loud` faint."""
    rng = np.random.default_rng(seed)
    t = np.arange(cents_at.size) / RATE_HZ
    turned_t = np.cumsum(2 ** (cents_at / 1200)) / RATE_HZ
    x = noise(t.size, hiss_db, seed)
    for k in ALL:
        f = hz * k * np.sqrt((1 + INHARMONICITY * k**2) / (1 + INHARMONICITY))
        phase = 2 * np.pi * f * (turned_t if k in turning else t) + rng.uniform(0, 2 * np.pi)
        x += (0.2 if k in loud else 0.01) / k * np.exp(-t * np.sqrt(k) / 2) * np.cos(phase)
    return x


def turned(x: Floats, hz: float) -> Turn | None:
    """What is made of the end of `x`, whose string was known to be at `hz`."""
    history = History(x.size)
    history.append(x.astype(np.float32))
    fit = Fit(hz, INHARMONICITY, 0.01, 12, 1.0)
    bank = PartialBank(fit, RATE_HZ, round(9 / hz * RATE_HZ), 0, 12, 0.025)
    heard = bank.until(history, x.size, WINDOWS, 0)
    assert heard is not None
    return turn_of(heard)


def before_now(length_s: float) -> Floats:
    """How many seconds of the last `length_s` have gone by, sample by sample."""
    return np.maximum(np.arange(round(LENGTH_S * RATE_HZ)) / RATE_HZ - LENGTH_S + length_s, 0)


@pytest.mark.parametrize("cents_a_s", [15.0, -30.0, 45.0])
@pytest.mark.parametrize("periods", [4, 7, 15])
@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_a_turn_of_the_peg_is_followed_to_where_it_has_come(
    hz: float, periods: int, cents_a_s: float
) -> None:
    pitch = cents_a_s * before_now(periods / hz)

    turn = turned(string(hz, pitch), hz)

    assert turn is not None
    assert not turn.sudden
    off_cents = cents(turn.pitch().hz, hz) - pitch[-1]
    assert abs(off_cents) < min(1.0, 3 * turn.pitch().uncertainty_cents)
    assert turn.pitch().moving


@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_where_a_turn_stopped_the_pitch_has_stayed(hz: float) -> None:
    since = before_now(12 / hz)
    pitch = 30.0 * np.minimum(since, 8 / hz)

    turn = turned(string(hz, pitch), hz)

    assert turn is not None
    assert abs(cents(turn.pitch().hz, hz) - pitch[-1]) < 0.3


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_a_string_at_rest_turns_nowhere(hz: float, seed: int) -> None:
    assert turned(string(hz, before_now(0.0), seed), hz) is None


@pytest.mark.parametrize("periods", [2, 4, 6])
@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_a_kick_and_a_snare_are_no_peg(hz: float, periods: int) -> None:
    for seed, stroke in enumerate((0.1 * Kick().sound(RATE_HZ), 0.1 * snare(RATE_HZ, 1))):
        x = string(hz, before_now(0.0), seed)
        struck = round(periods / hz * RATE_HZ)
        x[-struck:] += np.pad(stroke, (0, struck))[:struck]

        turn = turned(x, hz)

        assert turn is None or turn.sudden


@pytest.mark.parametrize("astray", [1, 3, 8])
def test_a_partial_that_goes_its_own_way_is_no_peg(astray: int) -> None:
    for hz in STRINGS_HZ:
        pitch = 30.0 * before_now(5 / hz)
        assert turned(string(hz, pitch, turning=(astray,)), hz) is None
        for seed in range(3):
            alone = string(hz, pitch, seed, (astray,), (astray,), hiss_db=-50.0)
            assert turned(alone, hz) is None


@pytest.mark.parametrize("astray", [2, 5])
def test_a_peg_is_followed_whatever_one_partial_does(astray: int) -> None:
    for hz in STRINGS_HZ:
        pitch = 30.0 * before_now(5 / hz)
        others = tuple(k for k in ALL if k != astray)

        turn = turned(string(hz, pitch, turning=others), hz)

        assert turn is not None
        assert abs(cents(turn.pitch().hz, hz) - pitch[-1]) < 1


@pytest.mark.parametrize("hz", STRINGS_HZ)
def test_what_goes_fast_at_once_is_sudden_until_it_has_gone_on(hz: float) -> None:
    soon, later = (turned(string(hz, 90.0 * before_now(n / hz)), hz) for n in (4, 15))

    assert soon is not None
    assert soon.sudden
    assert later is not None
    assert not later.sudden


def test_a_note_too_young_for_all_windows_is_not_asked() -> None:
    history = History(RATE_HZ)
    history.append(string(41.203, before_now(0.0)).astype(np.float32))
    bank = PartialBank(Fit(41.203, 0.0, 0.01, 12, 1.0), RATE_HZ, 3000, 0, 12, 0.025)

    assert bank.until(history, history.stop, WINDOWS, history.stop - 3000) is None
