"""The string just struck is told though another rings on that has all its partials."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.continued import carried_on
from station.measure.fit import Guess, fit_segment
from station.measure.history import History
from tests.bench.bench_over import PAIRS, RATE_HZ, mix
from tests.support.strings import StiffString, after_silence, cents, hear_all

# One as loud as the other and one 12 dB weaker, by turns; octaves, twelfths, double octaves.
LEVELS_DB = dict(zip(PAIRS, (-12.0, 0.0, -6.0, 0.0, -12.0, -6.0), strict=True))


@pytest.mark.parametrize("name", PAIRS)
def test_what_is_newly_struck_is_the_note(name: str) -> None:
    made = mix(name, LEVELS_DB[name], 1)

    readings, notes, _ = hear_all(made.x, RATE_HZ)

    first, second = notes[:2]
    assert abs(cents(first.hz, made.low_hz)) < 0.5
    assert second.onset_s == pytest.approx(made.struck_s, abs=0.06)
    assert abs(cents(second.hz, made.new_hz)) < 0.5
    after = [reading for reading in readings if reading.at_s > made.struck_s + 0.15]
    assert len(after) > 50
    assert max(abs(cents(reading.hz, made.new_hz)) for reading in after) < 5


def test_a_string_is_carried_on_as_it_goes_on() -> None:
    rate_hz = 15000
    x = StiffString(82.407, 1e-4).sound(rate_hz, 2.0, 1).astype(np.float32)
    history = History(x.size)
    history.append(x)
    fit = fit_segment(x[10000:13000], rate_hz, Guess(82.407, 1e-4))
    assert fit is not None

    carried = carried_on(history, rate_hz, fit, 500, 13000)

    assert carried is not None
    for start in (13000, 15000, 20000):
        left = x[start : start + 1000] - carried.sound(start, 1000)
        assert np.mean(left**2) < 1e-3 * np.mean(x[start : start + 1000] ** 2)
    assert carried_on(history, rate_hz, fit, 12500, 13000) is None


def test_nothing_is_heard_of_a_string_that_was_taken_out_and_is_damped() -> None:
    made = mix("B3 over E2", 0.0, 1)
    damped = round((made.struck_s + 0.8) * RATE_HZ)
    hush = np.exp(-np.arange(made.x.size - damped) / (0.02 * RATE_HZ))
    x = np.concatenate((made.x[:damped], made.x[damped:] * hush))

    readings, notes, _ = hear_all(after_silence(x, RATE_HZ, hiss_db=-85), RATE_HZ)

    assert len(notes) == 2
    assert max(reading.at_s for reading in readings) < made.struck_s + 0.5 + 0.8 + 0.25
