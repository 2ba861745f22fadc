"""The least difference of pitch an ear hears, against what is published besides the formula."""

from __future__ import annotations

import pytest

from station.errors import FrequencyError
from station.measure.error_budget import just_noticeable_cents, just_noticeable_hz


# The Open University, OpenLearn "Hearing", 11.2 Frequency discrimination: between 500 and
# 2000 Hz the Weber fraction remains constant at approximately 0.002.
@pytest.mark.parametrize("hz", [500.0, 700.0, 1000.0, 1500.0, 2000.0])
def test_the_weber_fraction_is_about_a_five_hundredth_in_the_middle_of_hearing(hz: float) -> None:
    assert round(just_noticeable_hz(hz) / hz, 3) == 0.002


# The same: up to about 1000 Hz, at moderate loudness, changes of about 1 to 3 Hz are detected.
# Read to the nearest hertz.
@pytest.mark.parametrize("hz", [200.0, 330.0, 440.0, 660.0, 1000.0])
def test_a_hertz_or_two_is_heard_below_a_kilohertz(hz: float) -> None:
    assert 1 <= round(just_noticeable_hz(hz)) <= 3


# Moore, An Introduction to the Psychology of Hearing, of these measurements: about 2 Hz at
# 1 kHz; and the fraction grows towards high tones (both from memory).
def test_at_a_kilohertz_it_is_two_hertz_and_the_fraction_grows_above() -> None:
    fractions = [just_noticeable_hz(hz) / hz for hz in (2000.0, 4000.0, 6000.0, 8000.0)]

    assert just_noticeable_hz(1000.0) == pytest.approx(2.0, abs=0.1)
    assert fractions == sorted(fractions)
    assert fractions[-1] > 3 * fractions[0]


def test_in_cents_it_is_the_interval_between_the_two_tones() -> None:
    # 1200 log2(1.002) = 3.459 (arithmetic)
    assert just_noticeable_cents(1000.0) == pytest.approx(3.459, abs=0.1)


@pytest.mark.parametrize("hz", [0.0, -440.0, float("nan"), float("inf")])
def test_what_is_no_frequency_is_refused(hz: float) -> None:
    with pytest.raises(FrequencyError, match="is no frequency"):
        just_noticeable_hz(hz)
