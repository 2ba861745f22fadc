"""Which notes stand still, which are bent, slid, swayed or turned by a peg."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from station.measure.rehearsal.played import KEPT, Strikes, Struck
from station.measure.types import Note, Reading

A2_HZ = 110.0


def struck_by(trace: Callable[[float], float], length_s: float = 1.6, **note: object) -> Struck:
    """A note whose pitch is `trace` cents above A2 at each time after its stroke."""
    strikes = Strikes()
    for step in range(4, int(length_s / 0.02)):
        t = step * 0.02
        hz = A2_HZ * 2 ** (trace(t) / 1200)
        strikes.hear(Reading(1, 5.0 + t, hz, 0.1, 0.0, 8, 5.0))
    end = Note(1, 5.0, 5.0 + length_s, A2_HZ, 0.05, 0.0, 8)
    struck = strikes.hear(
        Note(**{**{k: getattr(end, k) for k in Note.__slots__}, **note})  # type: ignore[arg-type]
    )
    assert struck is not None
    return struck


def glide(t: float) -> float:
    return 8 * math.exp(-t / 0.12)


def test_a_pluck_that_glides_flat_and_stays_is_steady() -> None:
    struck = struck_by(glide)

    assert struck.steady
    assert not struck.turned


@pytest.mark.parametrize(
    "trace",
    [
        lambda t: glide(t) + 100 * min(1.0, max(0.0, (t - 0.1) / 0.2)),
        lambda t: 200 * max(0.0, 1 - t / 0.2),
        lambda t: -200 * max(0.0, 1 - t / 0.2),
        lambda t: 20 * math.sin(math.pi * 5.5 * t) ** 2,
        lambda t: 60 * min(1.0, max(0.0, (t - 0.6) / 0.3)) - 60 * max(0.0, min(1.0, (t - 1) / 0.3)),
    ],
    ids=["bend", "slide down", "slide up", "vibrato", "bend and back"],
)
def test_what_moves_is_not_steady(trace: Callable[[float], float]) -> None:
    assert not struck_by(trace).steady


@pytest.mark.parametrize("cents", [-25.0, -3.0, 3.0, 25.0])
def test_a_peg_moves_a_note_one_way_late_in_it(cents: float) -> None:
    struck = struck_by(lambda t: glide(t) + cents * min(1.0, max(0.0, (t - 0.7) / 0.6)))

    assert struck.turned


def test_a_clipped_or_unsure_note_and_one_without_readings_are_not_steady() -> None:
    alone = Strikes().hear(Note(1, 5.0, 6.0, A2_HZ, 0.05, 0.0, 8))

    assert not struck_by(glide, clipped=True).steady
    assert not struck_by(glide, uncertainty_cents=2.5).steady
    assert alone is not None
    assert not alone.steady


@pytest.mark.parametrize("hz", [math.nan, math.inf, 0.0, -1.0])
def test_what_can_be_no_pitch_is_no_note(hz: float) -> None:
    strikes = Strikes()

    assert strikes.hear(Reading(1, 1.0, hz, 0.1, 0.0, 8, 0.9)) is None
    assert not strikes.notes


def test_only_so_many_notes_are_kept_and_a_gap_ends_them() -> None:
    strikes = Strikes()

    for number in range(2 * KEPT):
        strikes.hear(Note(1, float(number), number + 0.5, A2_HZ, 0.05, 0.0, 8))
    kept = len(strikes.notes)
    strikes.forget()

    assert kept == KEPT
    assert strikes.sounding(0.0, 2.0 * KEPT) is None
