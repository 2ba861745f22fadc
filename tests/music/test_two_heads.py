"""Batter and resonant head against each other."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from station.errors import FrequencyError
from station.music.two_heads import two_heads


@dataclass(frozen=True)
class Pitch:
    fundamental_hz: float
    uncertainty_cents: float = 1.0


def test_the_interval_is_from_the_batter_up_to_the_resonant_head() -> None:
    found = two_heads(Pitch(100.0), Pitch(133.484))

    assert found.cents == pytest.approx(500.0, abs=0.1)
    assert found.semitones == pytest.approx(5.0, abs=0.001)
    assert found.higher == "resonant"
    assert found.warning is None


def test_a_lower_bottom_is_told_and_not_called_wrong() -> None:
    found = two_heads(Pitch(150.0), Pitch(120.0))

    assert found.higher == "batter"
    assert found.cents < 0
    assert "more drummers have the bottom higher" in " ".join(found.advice)
    assert found.advice[-1].startswith("no rule")


def test_nearly_equal_heads_are_warned_of_with_their_beats() -> None:
    found = two_heads(Pitch(100.0), Pitch(102.0))

    assert found.higher == "resonant"
    assert found.beat_hz == pytest.approx(2.0)
    assert found.warning is not None
    assert "2.0 times a second" in found.warning


def test_heads_nearer_than_they_are_known_have_neither_higher() -> None:
    found = two_heads(Pitch(100.0, 8.0), Pitch(100.8, 8.0))

    assert found.higher == "neither"
    assert found.warning is not None


def test_top_for_feel_and_bottom_for_tone_is_always_said() -> None:
    for resonant in (60.0, 99.0, 100.0, 130.0, 300.0):
        assert (
            two_heads(Pitch(100.0), Pitch(resonant))
            .advice[0]
            .startswith("top for feel, bottom for tone")
        )


def test_a_snares_bottom_head_is_thin_and_usually_higher() -> None:
    text = " ".join(two_heads(Pitch(200.0), Pitch(180.0), snare=True).advice)

    assert "thin" in text
    assert "usually the higher" in text


def test_heads_far_apart_are_told_so() -> None:
    assert any("far apart" in each for each in two_heads(Pitch(80.0), Pitch(170.0)).advice)


def test_uncertainties_add_as_squares() -> None:
    assert two_heads(Pitch(90.0, 3.0), Pitch(120.0, 4.0)).uncertainty_cents == pytest.approx(5.0)


def test_no_pitch_has_no_interval() -> None:
    with pytest.raises(FrequencyError):
        two_heads(Pitch(0.0), Pitch(100.0))
