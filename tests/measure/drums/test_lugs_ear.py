"""From sound to lugs: simulated heads through the ear that hears drums."""

from __future__ import annotations

import numpy as np
import pytest

from station.measure.drums.ear import DrumEar
from station.measure.drums.lugs import head
from station.measure.drums.types import Stroke
from station.music.lugs import clockwise_order
from tests.support.membrane import INCH_M, Floats, SimulatedHead, mean_tension
from tests.support.tapped_file import RATE_HZ, tapped_sound

TAPS = 2


def uneven(lugs: int, lug: int, share: float, seed: int) -> SimulatedHead:
    """A 12-inch head, its fundamental near 110 Hz, one lug slack, the others within 1 %."""
    shares = 1.0 + np.random.default_rng(seed).uniform(-0.01, 0.01, lugs)
    shares[lug - 1] = 1.0 - share
    return SimulatedHead(tuple(mean_tension(130.0, 6 * INCH_M, 0.26) * shares))


def strokes_in(x: Floats) -> list[Stroke]:
    ear = DrumEar(RATE_HZ)
    told = [*ear.push(x.astype(np.float32)), *ear.finish()]
    return list({stroke.at_s: stroke for stroke in told}.values())


@pytest.mark.parametrize("still", [True, False])
@pytest.mark.parametrize(("lugs", "lug", "share"), [(6, 3, 0.12), (8, 2, 0.08), (10, 7, 0.15)])
def test_the_slack_lug_or_its_opposite_is_heard(
    lugs: int, lug: int, share: float, still: bool
) -> None:
    truth = uneven(lugs, lug, share, 3)
    strokes = strokes_in(tapped_sound(truth, clockwise_order(lugs), TAPS, still=still))

    said = head(lugs, [(at // TAPS + 1, stroke) for at, stroke in enumerate(strokes)])

    assert len(strokes) == TAPS * lugs
    assert said is not None
    assert lug in (said[0].worst, said[0].lugs[said[0].worst - 1].opposite)
    cents = truth.pitch_cents()
    true = (cents + np.roll(cents, lugs // 2)) / 2
    found = [each.offset_cents for each in said[0].lugs]
    assert found == pytest.approx(list(true), abs=12.0)
    pair = [mode.hz for mode in truth.modes()[1:3]]
    assert pair[0] < said[0].overtone_hz < pair[1]


def test_an_even_head_sounds_even() -> None:
    truth = SimulatedHead((mean_tension(130.0, 6 * INCH_M, 0.26),) * 6)
    strokes = strokes_in(tapped_sound(truth, clockwise_order(6), TAPS))

    said = head(6, [(at // TAPS + 1, stroke) for at, stroke in enumerate(strokes)])

    assert said is not None
    assert said[0].even
    assert max(abs(each.offset_cents) for each in said[0].lugs) < 2.0
