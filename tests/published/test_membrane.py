"""Zeros of Bessel functions and modes of a membrane against tables from outside the project."""

from __future__ import annotations

import pytest
import scipy.special

from station.music.drums import bessel, bessel_zero, mode_ratio

# Abramowitz & Stegun, Handbook of Mathematical Functions, table 9.5: zeros j(m, n), n = 1 to 5.
TABLE_9_5 = {
    0: (2.4048255577, 5.5200781103, 8.6537279129, 11.7915344391, 14.9309177086),
    1: (3.83171, 7.01559, 10.17347, 13.32369, 16.47063),
    2: (5.13562, 8.41724, 11.61984, 14.79595, 17.95982),
    3: (6.38016, 9.76102, 13.01520, 16.22347, 19.40942),
    4: (7.58834, 11.06471, 14.37254, 17.61597, 20.82693),
    5: (8.77148, 12.33860, 15.70017, 18.98013, 22.21780),
}

# Fletcher & Rossing, The Physics of Musical Instruments, chapter 3: an ideal membrane's modes
# as multiples of (0,1).
RATIOS = {
    (0, 1): 1.000, (1, 1): 1.594, (2, 1): 2.136, (0, 2): 2.296, (3, 1): 2.653, (1, 2): 2.918,
    (4, 1): 3.156, (2, 2): 3.501, (0, 3): 3.600, (5, 1): 3.652,
}  # fmt: skip


@pytest.mark.parametrize("order", TABLE_9_5)
def test_zeros_agree_with_the_handbooks_table(order: int) -> None:
    for count, printed in enumerate(TABLE_9_5[order], start=1):
        assert bessel_zero(order, count) == pytest.approx(printed, abs=6e-6)


@pytest.mark.parametrize("order", range(13))
def test_zeros_agree_with_scipy(order: int) -> None:
    theirs = scipy.special.jn_zeros(order, 12)

    ours = [bessel_zero(order, count) for count in range(1, 13)]

    assert ours == pytest.approx(theirs, rel=1e-11)


@pytest.mark.parametrize("order", [0, 1, 2, 7])
@pytest.mark.parametrize("x", [0.0, 0.3, 2.0, 11.0, 40.0])
def test_bessel_functions_agree_with_scipy(order: int, x: float) -> None:
    assert bessel(order, x) == pytest.approx(scipy.special.jv(order, x), abs=1e-13)


@pytest.mark.parametrize("mode", RATIOS)
def test_modes_stand_where_the_textbook_has_them(mode: tuple[int, int]) -> None:
    assert mode_ratio(*mode) == pytest.approx(RATIOS[mode], rel=2e-3)
