"""Roughness: what must hold of any two sounds. Published values are in tests/published."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import FrequencyError
from station.music.roughness import (
    Partial,
    harmonics,
    pair_roughness,
    pairs_between,
    roughest_apart_hz,
    roughness,
    roughness_between,
)

hertz = st.floats(20.0, 5000.0)
sounds = st.lists(st.builds(Partial, hertz, st.floats(0.0, 1.0)), min_size=1, max_size=5)


@given(hertz)
def test_a_tone_is_smooth_with_itself_and_roughest_where_told(hz):
    apart_hz = roughest_apart_hz(hz)

    assert pair_roughness(hz, hz) == 0.0
    assert pair_roughness(hz, hz + apart_hz) == pytest.approx(1.0)
    assert pair_roughness(hz, hz + 0.9 * apart_hz) < 1.0
    assert pair_roughness(hz, hz + 1.1 * apart_hz) < 1.0


@given(hertz, hertz)
def test_which_tone_is_named_first_does_not_matter(one, other):
    assert pair_roughness(one, other) == pair_roughness(other, one)
    assert 0.0 <= pair_roughness(one, other) <= 1.0 + 1e-12


@given(sounds, sounds)
def test_two_sounds_together_are_each_alone_and_what_is_between(one, other):
    together = roughness([*one, *other])

    alone = roughness(one) + roughness(other)
    assert together == pytest.approx(alone + roughness_between(one, other), abs=1e-9)


def test_the_weaker_of_two_partials_tells_how_strongly_they_beat():
    between = roughness_between([Partial(200.0, 0.25)], [Partial(220.0, 1.0)])

    assert between == pytest.approx(0.25 * pair_roughness(200.0, 220.0))


def test_pairs_say_which_partials_beat_and_how_fast():
    pairs = list(pairs_between(harmonics(110.0, (1.0, 0.5)), harmonics(108.0, (1.0, 0.5))))

    assert [(p.first, p.second, p.beat_hz) for p in pairs] == [
        (0, 0, 2.0),
        (0, 1, 106.0),
        (1, 0, 112.0),
        (1, 1, 4.0),
    ]


@pytest.mark.parametrize("hz", [0.0, -1.0, math.nan, math.inf])
def test_a_partial_that_cannot_sound_is_refused(hz):
    with pytest.raises(FrequencyError, match="positive, finite"):
        pair_roughness(100.0, hz)
    with pytest.raises(FrequencyError, match="positive, finite"):
        roughest_apart_hz(hz)
