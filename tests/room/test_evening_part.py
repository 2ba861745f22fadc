"""The room follows an evening: a rehearsal of twenty minutes, and what changes in it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache

import pytest

from station.measure.types import Gap, Heard, Level, Note, Reading
from station.music.pitch import midi_to_hz
from station.music.tunings import load_instruments
from station.room.evening import Evening
from station.room.model import Player
from station.room.parts import Context
from station.room.roster import Roster
from station.web.openapi import describe_api
from tests.support.rehearsal import make_rehearsal
from tests.support.rehearsal_events import heard_of_events
from tests.support.rehearsal_run import Score, solve, told_to_the_room
from tests.support.schema import faults

API = describe_api()
GUITAR_MIDI = (64, 59, 55, 50, 45, 40)


@dataclass
class Hall:
    """A room with one part in it; times of stream and room are the same."""

    players: tuple[Player, ...] = (
        Player("wren", "Wren", "guitar", line=1),
        Player("odell", "Odell", "bass", line=2),
    )
    a4_hz: float = 440.0
    now_s: float = 0.0
    roster: Roster = field(init=False)
    evening: Evening = field(init=False)

    def __post_init__(self) -> None:
        self.roster = Roster(self.players, load_instruments(), 4)
        self.evening = Evening(Context(self.roster, lambda: self.a4_hz, tuple, lambda: False))

    def change(self, player: str, **changes: object) -> None:
        self.roster.change(player, changes)
        self.evening.players_changed()

    def play(
        self, length_s: float, notes: Iterable[tuple[int, float]] = (), lines: int = 2
    ) -> None:
        """Loud on all lines, a note each third second on each line: line and MIDI note in turn."""
        notes, begin = list(notes), self.now_s
        for step in range(int(length_s * 4)):
            at_s = begin + step / 4
            for line, midi in notes[step % len(notes) :][:1] if notes else ():
                hz = midi_to_hz(midi, 440.0)
                for part in (0.06, 0.12, 0.18):
                    self.hear(Reading(line, at_s + part, hz, 0.1, 0.0, 8, at_s + 0.01))
                self.hear(Note(line, at_s + 0.01, at_s + 0.22, hz, 0.05, 0.0, 8))
            for line in range(1, lines + 1):
                rms = -20.0 if notes else -80.0
                self.hear(Level(line, at_s + 0.25, rms, rms + 9, 0.0, False, "signal"))
            self.now_s = at_s + 0.25
            if step % 4 == 3:
                solve(self.evening, self.now_s)

    def rest(self, length_s: float) -> None:
        self.play(length_s)

    def hear(self, heard: Heard) -> None:
        self.evening.hear(heard, self.now_s)

    def strings(self, player: str) -> dict[int, float]:
        """Each string's drift in cents, as far as it is known."""
        players = self.evening.detail(self.now_s)["players"]
        told = next(each for each in players if each["player"] == player)
        return {each["string"]: each["cents"] for each in told["strings"]}


def riff(cents: float = 0.0) -> list[tuple[int, float]]:
    """Low frets on all of the guitar's strings and on the bass, the guitar so far off."""
    guitar = [(1, midi + fret + cents / 100) for fret in (0, 2, 3) for midi in GUITAR_MIDI]
    bass = [(2, midi + fret) for fret in (0, 2, 3) for midi in (43.0, 38.0, 33.0, 28.0)]
    return [each for pair in zip(guitar, bass * 2, strict=False) for each in pair]


@cache
def followed() -> Score:
    rehearsal = make_rehearsal(21)
    return told_to_the_room(rehearsal, heard_of_events(rehearsal, 21), sparing=True)


def test_the_gaps_of_a_rehearsal_of_twenty_minutes_are_found() -> None:
    assert followed().gaps == 8
    assert followed().f1 >= 0.95


def test_of_a_rehearsal_of_twenty_minutes_who_drifted_is_named_and_nobody_else() -> None:
    score = followed()

    assert score.tall >= 5
    assert score.recall >= 0.9
    assert score.precision >= 0.9


def test_the_common_drift_of_a_rehearsal_is_found_within_a_cent() -> None:
    errors = followed().common_errors

    assert len(errors) == 8
    assert max(map(abs, errors)) <= 1.0


def test_uncertainties_of_a_rehearsal_are_about_the_errors() -> None:
    over = [error / unsure for error, unsure in followed().known_errors]

    assert 0.4 < math.sqrt(sum(each**2 for each in over) / len(over)) < 1.6


def test_before_anything_is_heard_nothing_is_known_and_all_of_it_is_json() -> None:
    hall = Hall()

    told = json.loads(json.dumps(hall.evening.detail(0.0), allow_nan=False))

    assert (told["state"], told["for_s"], told["drifted"], told["common"]) == (
        "not known",
        None,
        [],
        None,
    )
    assert hall.evening.due(1.0) is None


def test_playing_and_gap_come_and_go_and_a_change_is_said_once() -> None:
    hall = Hall()
    said = []

    hall.play(20.0, riff())
    playing = hall.evening.as_json(hall.now_s)
    for _ in range(48):
        hall.now_s += 0.25
        said += [
            hall.evening.hear(
                Level(line, hall.now_s, -80.0, -70.0, 0.0, False, "quiet"), hall.now_s
            )
            for line in (1, 2)
        ]
    gap = hall.evening.as_json(hall.now_s)

    assert playing["state"] == "playing"
    assert gap["state"] == "gap"
    assert gap["for_s"] == pytest.approx(12.0, abs=0.6)
    assert said.count(True) == 1


def test_a_guitar_that_went_flat_all_over_is_told_as_its_player() -> None:
    hall = Hall(
        players=(
            Player("wren", "Wren", "guitar", line=1),
            Player("odell", "Odell", "bass", line=2),
            Player("isolde", "Isolde", "bass", line=3),
        )
    )
    third = [(3, midi) for line, midi in riff() if line == 2]
    both = [each for pair in zip(riff(), third * 2, strict=False) for each in pair]
    flat = [(line, midi - (0.12 if line == 1 else 0.0)) for line, midi in both]

    hall.play(90.0, both, 3)
    hall.play(10.0, lines=3)
    hall.play(120.0, flat, 3)
    hall.play(10.0, lines=3)

    told = json.loads(json.dumps(hall.evening.as_json(hall.now_s), allow_nan=False))
    (entry,) = told["drifted"]
    assert told["common"] is not None
    assert faults(told, API["components"]["schemas"]["Evening"], API) == []
    assert (entry["player"], entry["string"]) == ("wren", None)
    assert entry["strings"] == [1, 2, 3, 4, 5, 6]
    assert entry["cents"] == pytest.approx(-12.0, abs=2.5)


def test_a_new_reference_begins_everything_anew() -> None:
    hall = Hall()
    hall.play(40.0, riff())
    hall.rest(8.0)
    assert hall.strings("wren")

    hall.evening.reference_changed()
    same = hall.strings("wren")
    hall.a4_hz = 442.0
    hall.evening.reference_changed()

    assert same
    assert hall.strings("wren") == {}
    assert hall.evening.drifted() == []


def test_another_tuning_keeps_the_strings_it_leaves_alone() -> None:
    hall = Hall()
    hall.play(40.0, riff())
    hall.rest(8.0)

    hall.change("wren", tuning="drop-d")
    lowered = hall.strings("wren")
    hall.change("wren", name="Wren the Second")
    renamed = hall.strings("wren")
    hall.change("wren", capo=2)
    raised = hall.strings("wren")

    assert sorted(lowered) == [1, 2, 3, 4, 5]
    assert renamed == lowered
    assert raised == {}


def test_what_was_solved_for_other_strings_meanwhile_is_dropped() -> None:
    hall = Hall()
    hall.play(30.0, riff())
    work = hall.evening.due(hall.now_s + 100.0)
    assert work is not None

    hall.change("wren", capo=2)
    hall.change("odell", tuning="drop-c")

    assert hall.evening.take(work, work.solve()) is False


def test_on_a_shared_line_only_what_one_player_alone_can_play_counts() -> None:
    hall = Hall(
        players=(
            Player("wren", "Wren", "guitar", line=1),
            Player("odell", "Odell", "bass", line=1),
        )
    )
    low = [(1, midi + fret) for midi in (28.0, 33.0) for fret in (0, 1, 2)]
    both_can = [(1, 43.0), (1, 50.0)]

    hall.play(40.0, low + both_can, lines=1)
    hall.rest(8.0)

    assert hall.strings("wren") == {}
    assert set(hall.strings("odell")) == {1, 2, 3, 4}


def test_what_is_heard_while_the_station_sounds_its_tone_says_nothing_of_any_string() -> None:
    hall = Hall()
    hall.evening.proves = lambda heard, now_s: now_s < 40.0 or now_s >= 60.0

    hall.play(40.0, riff())
    before = hall.strings("wren")
    hall.play(20.0, [(line, midi - 0.3) for line, midi in riff()])
    hall.play(30.0, riff())
    hall.rest(8.0)

    assert set(before) == {1, 2, 3, 4, 5, 6}
    assert all(abs(cents) < 1.5 for cents in hall.strings("wren").values())


def test_drums_have_no_drift_and_an_instrument_of_fixed_pitch_neither() -> None:
    hall = Hall(
        players=(
            Player("tamsin", "Tamsin", "drum-kit", line=1),
            Player("pim", "Pim", "keyboard", line=2),
        )
    )

    hall.play(20.0, riff())
    hall.rest(8.0)

    assert hall.evening.detail(hall.now_s)["players"] == []
    assert hall.evening.as_json(hall.now_s)["state"] == "gap"


def test_clipped_notes_lost_samples_and_what_is_no_pitch_do_no_harm() -> None:
    hall = Hall()

    hall.play(10.0, riff())
    for hz in (math.nan, math.inf, 0.0, -3.0, 1e9, 1e-9):
        hall.hear(Reading(1, 10.1, hz, 0.1, 0.0, 8, 10.05))
        hall.hear(Note(1, 10.05, 10.2, hz, 0.1, 0.0, 8))
    hall.hear(Note(1, 10.3, 10.4, 110.0, 0.1, 0.0, 8, clipped=True))
    hall.hear(Gap(1, 10.5, 4800))
    hall.hear(Level(7, 10.5, -20.0, -10.0, 0.0, False, "signal"))
    hall.play(40.0, riff())
    hall.rest(8.0)

    json.dumps(hall.evening.detail(hall.now_s), allow_nan=False)
    assert all(abs(cents) < 1.5 for cents in hall.strings("wren").values())
