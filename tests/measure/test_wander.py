"""A note that has wandered is as unsure as it may wander on."""

from __future__ import annotations

import math

import numpy as np

from station.measure.wander import Stretch, wander_from

SURE_CENTS = 0.01
SHRUNK = 0.35


def stretches(*cents: float, from_s: float = 1.0) -> list[Stretch]:
    """Stretches at `cents`, each as sure as the other, long after the stroke."""
    return [Stretch(each, SURE_CENTS**2, from_s) for each in cents]


def unsure_cents(away: list[Stretch], kept: list[Stretch]) -> float:
    """What is unsure of a fit that would by itself be as sure as a stretch."""
    return wander_from(away, kept, SHRUNK).unsure_cents(SURE_CENTS)


def test_two_last_stretches_that_agree_after_wander_are_less_sure_than_they_seem() -> None:
    wandered = stretches(-0.2, -0.3, -0.35)
    at_rest = stretches(0.0, 0.0, 0.0)

    alike = stretches(0.0, 0.0)

    assert unsure_cents(wandered, alike) > 4 * SURE_CENTS
    assert unsure_cents(at_rest, alike) == SURE_CENTS


def test_the_longer_a_note_agrees_with_itself_the_less_its_wander_before_counts() -> None:
    wandered = stretches(-0.2, -0.3, -0.35)

    unsure = [unsure_cents(wandered, stretches(*[0.0] * count)) for count in (2, 3, 4, 5)]

    assert unsure == sorted(unsure, reverse=True)
    assert unsure[-1] < 1.01 * SURE_CENTS


def test_a_glide_that_comes_to_rest_is_no_wander() -> None:
    gliding = stretches(3.0, 0.9, 0.25)
    of_a_stroke = stretches(5.0, -1.0, 0.4, from_s=0.1)

    alike = stretches(0.0, 0.0)

    assert unsure_cents(gliding, alike) == SURE_CENTS
    assert unsure_cents(of_a_stroke, alike) == SURE_CENTS


def test_what_counts_is_unsure_by_what_its_stretches_differ() -> None:
    cents = [0.3, -0.2, 0.1, -0.2]

    expected = math.sqrt(float(np.var(cents, ddof=1)) / len(cents))

    assert math.isclose(unsure_cents([], stretches(*cents)), expected, rel_tol=0.01)
