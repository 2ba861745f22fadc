"""Lowering the rate: what passes, what does not, and that blocks do not matter."""

from __future__ import annotations

import numpy as np
import pytest

from station.errors import SignalError
from station.measure.decimate import Decimator, decimation_factor, low_pass
from tests.support.strings import noise

RATES_HZ = [8000, 22050, 44100, 48000, 96000, 192000]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_the_pass_band_is_flat_and_the_stop_band_is_80_db_down(rate_hz: int) -> None:
    factor = decimation_factor(rate_hz)
    if factor == 1:
        assert Decimator(rate_hz).rate_hz == rate_hz
        return
    taps = low_pass(factor).astype(np.float64)
    response = np.abs(np.fft.rfft(taps, 65536))
    cycles = np.linspace(0, 0.5, response.size) * factor
    assert np.abs(20 * np.log10(response[cycles < 0.33])).max() < 0.02
    assert 20 * np.log10(response[cycles > 0.67].max()) < -76


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_blocks_of_any_size_give_the_same_samples(rate_hz: int) -> None:
    x = noise(5000, -10).astype(np.float32)
    whole = Decimator(rate_hz).push(x)
    piecemeal = Decimator(rate_hz)
    cuts = np.sort(np.random.default_rng(3).integers(0, x.size, 40))
    parts = [piecemeal.push(part) for part in np.split(x, cuts)]
    np.testing.assert_allclose(np.concatenate(parts), whole, atol=1e-6)


def test_sample_m_of_the_output_stands_at_input_sample_m_times_the_factor() -> None:
    decimator = Decimator(48000)
    t = np.arange(9600) / 48000
    y = decimator.push(np.sin(2 * np.pi * 440 * t).astype(np.float32))
    expected = np.sin(2 * np.pi * 440 * np.arange(y.size) / decimator.rate_hz)
    np.testing.assert_allclose(y[40:-40], expected[40:-40], atol=2e-3)


@pytest.mark.parametrize("rate_hz", [0, 7999, 192001, 48])
def test_a_rate_no_sound_card_has_is_refused_with_the_limits(rate_hz: int) -> None:
    with pytest.raises(SignalError, match="8000 to 192000"):
        Decimator(rate_hz)
