"""aubio's ears and the stand-in: the same questions, answers alike."""

from __future__ import annotations

import numpy as np
import pytest

from station.errors import SignalError
from station.measure.ears import ears_for
from tests.support.strings import StiffString, after_silence, cents

RATE_HZ, HOP = 16000, 160
TRACKERS = ["aubio", "numpy"]


@pytest.mark.parametrize("tracker", TRACKERS)
@pytest.mark.parametrize("hz", [55.0, 110.0, 246.9, 660.0])
def test_a_steady_string_is_guessed_within_a_quarter_tone(tracker: str, hz: float) -> None:
    x = StiffString(hz).sound(RATE_HZ, 0.3)
    assert abs(cents(ears_for(tracker, RATE_HZ, HOP).coarse_hz(x), hz)) < 50


@pytest.mark.parametrize("tracker", TRACKERS)
@pytest.mark.parametrize("hz", [55.0, 110.0, 330.0])
def test_a_pluck_is_an_onset_within_50_ms(tracker: str, hz: float) -> None:
    x = after_silence(StiffString(hz).sound(RATE_HZ, 1.0), RATE_HZ)
    ears = ears_for(tracker, RATE_HZ, HOP)
    hops = [x[i : i + HOP] for i in range(0, x.size - HOP, HOP)]
    at = [i * HOP / RATE_HZ for i, hop in enumerate(hops) if ears.onset(hop)]
    assert any(0.45 <= second <= 0.55 for second in at)
    assert len(at) < len(hops) / 4


@pytest.mark.parametrize("tracker", TRACKERS)
def test_silence_has_neither_onset_nor_pitch(tracker: str) -> None:
    ears = ears_for(tracker, RATE_HZ, HOP)
    assert not any(ears.onset(np.zeros(HOP)) for _ in range(50))
    assert ears.coarse_hz(np.zeros(2048)) == 0.0


def test_an_unknown_tracker_is_refused() -> None:
    with pytest.raises(SignalError, match="'aubio' or 'numpy'"):
        ears_for("ear", RATE_HZ, HOP)
