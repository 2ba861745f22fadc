"""Evidence under errors that have an end, against the integral done by brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest

from station.measure.fixed.bounded import Widths, weigh_bounded
from station.measure.fixed.evidence import BAD_CHANCE

Y = np.array([0.3, -1.1, 1.4, 0.2, 0.9, -0.4])


def summed(low: float, high: float) -> float:
    """Over widths even in their logarithm, and over A4, of the density of `Y`."""
    total, steps = 0.0, 4000
    for width in np.exp(np.linspace(math.log(low), math.log(high), steps)):
        total += max(0.0, width - np.ptp(Y)) / width**Y.size / steps
    return total


@pytest.mark.parametrize(("low", "high"), [(1.0, 3.0), (3.0, 5.0), (5.0, 12.0)])
def test_the_closed_form_is_the_integral_over_widths_and_a4(low, high):
    found = weigh_bounded(Y[None], Widths(np.array([low]), np.array([high])))

    constant = Y.size * math.log1p(-BAD_CHANCE) + 0.5 * (Y.size - 1) * math.log(2 * math.pi)
    assert found.log_p[0, 0, 0] - constant == pytest.approx(math.log(summed(low, high)), abs=0.02)
    assert found.a[0, 0, 0] == pytest.approx(Y.mean())


def test_notes_farther_apart_than_the_width_are_impossible():
    found = weigh_bounded(Y[None], Widths(np.array([0.5]), np.array([2.0])))

    assert found.log_p[0, 0, 0] == -np.inf


def test_the_reed_called_bad_is_the_outermost():
    y = np.array([0.3, -1.1, 31.0, 0.2, 0.9, -0.4])

    found = weigh_bounded(y[None], Widths(np.array([2.0]), np.array([4.0])))

    assert found.worst[0, 0, 0] == 2
    assert found.log_p[0, 0, 1] > found.log_p[0, 0, 0]
    assert found.a[0, 0, 1] == pytest.approx(np.delete(y, 2).mean())
