"""Quiet by itself: begins and ends with playing, and leaves what people did by hand alone."""

from __future__ import annotations

import pytest

from station.errors import UsageError
from station.room.quiet import AutoQuiet


def after(automatic: str, *steps: str) -> list[bool]:
    """Whether it is quiet after each step: a state of the evening, or "press" for the button."""
    auto, quiet, state, seen = AutoQuiet(automatic), False, "tuning", []
    for step in steps:
        if step == "press":
            quiet = not quiet
        else:
            state = None if step == "unknown" else step
        wanted = auto.step(state, quiet)
        quiet = quiet if wanted is None else wanted
        seen.append(quiet)
    return seen


@pytest.mark.parametrize(
    ("automatic", "steps", "quiet"),
    [
        ("off", ("playing", "gap"), [False, False]),
        ("playing", ("playing", "gap", "playing", "tuning"), [True, False, True, False]),
        ("not tuning", ("playing", "gap", "tuning", "gap"), [True, True, False, True]),
        ("playing", ("unknown", "playing", "unknown"), [False, True, False]),
    ],
)
def test_it_is_quiet_while_the_band_does_what_the_setting_names(automatic, steps, quiet):
    assert after(automatic, *steps) == quiet


def test_who_ends_it_by_hand_has_the_last_word_until_playing_begins_again():
    steps = ("playing", "press", "playing", "gap", "playing")

    assert after("playing", *steps) == [True, False, False, False, True]


def test_quiet_begun_by_hand_is_never_ended_by_itself():
    assert after("playing", "press", "playing", "gap") == [True, True, True]
    assert after("playing", "playing", "press", "press", "gap") == [True, False, True, True]


def test_an_unknown_setting_is_told():
    with pytest.raises(UsageError, match="off, playing, not tuning"):
        AutoQuiet("always")
