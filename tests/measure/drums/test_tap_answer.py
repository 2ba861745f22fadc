"""Several strokes made one answer: medians, what is dropped, and what kind of drum it is."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from station.measure.drums.tap import tap
from station.measure.drums.types import Mode, Stroke, StrokeVerdict


def mode(hz: float, level_db: float = 0.0, ring_s: float | None = 1.0) -> Mode:
    return Mode(hz, 1.0, level_db, ring_s)


def stroke(at_s: float, hz: float, verdict: StrokeVerdict = "good", ring_s: float = 1.0) -> Stroke:
    own, over = mode(hz, 0.0, ring_s), mode(1.6 * hz, -8.0, 0.5 * ring_s)
    return Stroke(1, at_s, own, over, None, (own, over), None, verdict, None, verdict == "clipped")


def up(hz: float, cents: float) -> float:
    return hz * 2 ** (cents / 1200)


def test_five_taps_give_their_median_and_their_spread() -> None:
    off = [-6.0, -2.0, 0.0, 3.0, 7.0]

    said = tap(stroke(at, up(100, cents)) for at, cents in enumerate(off))

    assert said is not None
    assert said.fundamental_hz == pytest.approx(100.0)
    # By hand: deviations 6 2 0 3 7, their median 3, times 1.4826 and 1.206 for five values.
    assert said.spread_cents == pytest.approx(3 * 1.4826 * 1.206, rel=1e-3)
    standard_error = math.sqrt(math.pi / 2) * math.hypot(said.spread_cents, 1.0) / math.sqrt(5)
    assert said.uncertainty_cents == pytest.approx(standard_error, rel=1e-3)
    assert (said.overtone_hz, said.ring_s, said.overtone_ring_s) == pytest.approx((160, 1.0, 0.5))


def test_one_tap_alone_has_no_spread_and_its_own_uncertainty() -> None:
    said = tap([stroke(0.5, 100)])

    assert said is not None
    assert (said.spread_cents, said.uncertainty_cents) == (0.0, 1.0)


@pytest.mark.parametrize("verdict", ["rim", "double", "weak", "clipped"])
def test_a_bad_stroke_is_dropped_and_its_time_and_reason_told(verdict: StrokeVerdict) -> None:
    said = tap([stroke(0, 100), stroke(1, 140, verdict), stroke(2, 101)])

    assert said is not None
    assert [each.at_s for each in said.strokes] == [0, 2]
    assert [at_s for at_s, _ in said.dropped] == [1]
    assert said.dropped[0][1]


def test_another_drum_among_them_is_dropped() -> None:
    said = tap([stroke(0, 100), stroke(1, 74), stroke(2, 100.5), stroke(3, 150), stroke(4, 99.8)])

    assert said is not None
    assert said.fundamental_hz == pytest.approx(100.0)
    assert [at_s for at_s, _ in said.dropped] == [1, 3]
    assert all("another drum" in why for _, why in said.dropped)


def test_a_stroke_that_took_the_overtone_for_the_fundamental_is_put_right() -> None:
    own, over = mode(100, -12.0), mode(160)
    mistaken = Stroke(1, 3.0, over, None, None, (own, over), None, "good", None, False)

    said = tap([stroke(0, 100), stroke(1, 100), mistaken])

    assert said is not None
    assert said.dropped == ()
    assert [each.fundamental.hz for each in said.strokes if each.fundamental] == [100, 100, 100]
    assert not said.strokes[-1].sure


def test_nothing_good_is_no_tap() -> None:
    assert tap([]) is None
    assert tap([stroke(0, 100, "rim"), stroke(1, 100, "weak")]) is None


def test_a_stroke_told_again_counts_as_it_was_told_last() -> None:
    early = replace(stroke(0, 104), final=False)

    said = tap([early, stroke(0, 100)])

    assert said is not None
    assert len(said.strokes) == 1
    assert said.fundamental_hz == 100


def test_a_stroke_taken_back_is_dropped() -> None:
    early = replace(stroke(0, 104), final=False)

    assert tap([early, stroke(0, 104, "weak")]) is None


def test_heads_beat_when_half_of_the_strokes_say_so() -> None:
    beating = [replace(stroke(at, 100), beat_hz=3.0 + 0.1 * at) for at in range(3)]

    said = tap([*beating, stroke(3, 100), stroke(4, 100)])
    seldom = tap([beating[0], stroke(3, 100), stroke(4, 100)])

    assert said is not None
    assert seldom is not None
    assert (said.beat_hz, said.kind) == (pytest.approx(3.1), "two heads beating")
    assert (seldom.beat_hz, seldom.kind) == (None, "open")


def test_the_kind_of_drum_is_told() -> None:
    snare = [replace(stroke(at, 190, ring_s=0.4), wires="on") for at in range(3)]
    loose = [replace(each, wires="off") for each in snare]
    thud = [stroke(at, 50, ring_s=0.3) for at in range(3)]

    kinds = [said.kind for each in (snare, loose, thud) if (said := tap(each)) is not None]

    assert kinds == ["snare, wires on", "snare, wires off", "dull"]


def test_it_is_unsure_when_most_strokes_are() -> None:
    unsure = [replace(stroke(at, 100), sure=False) for at in range(3)]

    said = tap([*unsure, stroke(3, 100)])

    assert said is not None
    assert not said.sure


def test_a_drum_heard_at_another_pitch_every_time_has_none_to_be_sure_of() -> None:
    said = tap([stroke(0, 60), stroke(1, 95), stroke(2, 140), stroke(3, 61), stroke(4, 200)])

    assert said is not None
    assert len(said.strokes) == 2
    assert not said.sure


def test_strokes_that_differ_by_more_than_was_told_of_each_are_all_less_sure() -> None:
    off = [-30.0, -10.0, 0.0, 14.0, 35.0]

    said = tap(stroke(at, up(100, cents)) for at, cents in enumerate(off))

    assert said is not None
    for each, cents in zip(said.strokes, off, strict=True):
        own = each.fundamental
        assert own is not None
        # By hand, as above: the median deviation is 14 cents, 14 times what each was told to be.
        assert own.uncertainty_cents == pytest.approx(14 * 1.4826 * 1.206, rel=1e-3)
        assert abs(cents) < 2 * own.uncertainty_cents
        assert each.modes[0] == own


def test_strokes_that_agree_stay_as_sure_as_they_are() -> None:
    strokes = [stroke(at, up(100, 0.2 * at)) for at in range(5)]

    said = tap(strokes)

    assert said is not None
    assert said.strokes == tuple(strokes)


def test_of_two_strokes_nothing_is_learned() -> None:
    strokes = [stroke(at, up(100, 30.0 * at)) for at in range(2)]

    said = tap(strokes)

    assert said is not None
    assert said.strokes == tuple(strokes)
