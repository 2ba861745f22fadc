"""Turns on a shared line: whose sound it is, who waits, and when a turn ends by itself."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from station.errors import NotAllowedError, NotNowError, UnknownPlayerError, UsageError
from station.measure.types import Reading
from station.room.model import Player
from station.room.room import Room
from station.room.turns import LONGEST_S, SILENT_S
from tests.support.order_band import BRANNOCK, ILSE, TOVE, YORICK, band, play, sound

SHARED_BASS = replace(BRANNOCK, line=1)
SECOND_GUITAR = Player("maren", "Maren", "guitar", "standard", line=1)
E1, E2, G3 = 28, 40, 55


def shared(*more: Player) -> Room:
    return band(TOVE, SHARED_BASS, *more, songs=False)


def turn(room: Room, now_s: float = 0.0) -> dict:
    (line,) = room.snapshot(now_s)["turns"]
    return line


def take(room: Room, player: str, now_s: float = 0.0) -> None:
    room.change_part(lambda: room.turns.take(player, now_s), now_s)


def named(events: list) -> list[tuple[str | None, int | None]]:
    return [
        (e.payload["player"], e.payload["string"]) for e in events if e.kind in ("reading", "note")
    ]


# -- whose sound it is -----------------------------------------------------------


def test_of_two_guitars_nobody_is_named_until_one_has_the_turn():
    room = band(TOVE, SECOND_GUITAR, songs=False)

    assert named(sound(room, 1, E2, 1.0)) == [("tove", None), ("maren", None)]
    take(room, "maren")

    assert named(sound(room, 1, E2, 2.0)) == [("maren", 6)]
    assert named(sound(room, 1, E2 + 12, 2.5)) == [("maren", 4)]  # 200 cents above D3
    play(room, 1, E2, 3.0)
    rolls = {p["id"]: p["strings"][0]["roll"] for p in room.snapshot(3.0)["players"]}
    assert rolls == {"tove": "not heard", "maren": "in"}


def test_a_bass_below_the_guitars_reach_is_named_though_it_is_the_guitars_turn():
    room = shared()
    take(room, "tove")

    assert named(sound(room, 1, E1, 1.0)) == [("brannock", 4)]
    assert named(sound(room, 1, E2, 2.0)) == [("tove", 6)]


def test_what_the_one_who_has_the_turn_may_have_played_is_never_somebody_elses():
    room = shared()
    take(room, "brannock")

    # An open string of the guitar; but it may be a harmonic of the bass as well.
    assert named(sound(room, 1, G3, 1.0)) == [("brannock", None)]


def test_too_low_for_the_turn_and_for_one_of_two_others_it_is_the_other_ones():
    room = band(TOVE, SECOND_GUITAR, SHARED_BASS, songs=False)
    take(room, "tove")

    assert named(sound(room, 1, E1, 1.0)) == [("brannock", 4)]
    # Below everybody's strings nobody is named.
    assert named(sound(room, 1, 21, 2.0)) == [("maren", None), ("brannock", None)]


def test_an_instrument_without_strings_may_make_any_sound_in_its_turn():
    room = shared(replace(ILSE, line=1))
    take(room, "ilse")

    assert named(sound(room, 1, E1, 1.0)) == [("ilse", None)]


def test_another_line_knows_nothing_of_the_turn():
    room = band(TOVE, SECOND_GUITAR, BRANNOCK, songs=False)
    take(room, "tove")

    assert named(sound(room, 2, E1, 1.0)) == [("brannock", 4)]


# -- taking, waiting, handing on -------------------------------------------------------


def test_the_turn_goes_to_who_waits_longest():
    room = shared(SECOND_GUITAR)
    for player in ("tove", "brannock", "maren", "brannock", "tove"):
        take(room, player)
    assert (turn(room)["turn"], turn(room)["waiting"]) == ("tove", ["brannock", "maren"])

    room.turns.hand_on("tove", 1.0)
    assert (turn(room)["turn"], turn(room)["waiting"]) == ("brannock", ["maren"])
    room.turns.hand_on("maren", 1.0)  # waits no longer
    room.turns.hand_on("brannock", 2.0)

    assert (turn(room)["turn"], turn(room)["waiting"]) == (None, [])


def test_the_turn_can_be_given_to_somebody():
    room = shared(SECOND_GUITAR)
    for player in ("tove", "brannock", "maren"):
        take(room, player)

    room.turns.hand_on("tove", 1.0, to="maren")

    assert (turn(room)["turn"], turn(room)["waiting"]) == ("maren", ["brannock"])


def test_only_who_has_the_turn_hands_it_on():
    room = shared(replace(YORICK, line=1))
    with pytest.raises(NotNowError, match="nobody has the turn"):
        room.turns.hand_on("tove", 1.0)
    take(room, "tove")

    with pytest.raises(NotAllowedError, match="only Tove can hand it on"):
        room.turns.hand_on("brannock", 1.0)
    with pytest.raises(UnknownPlayerError):
        room.turns.hand_on("tove", 1.0, to="nobody")
    with pytest.raises(NotNowError, match="Yorick shares no line"):
        take(room, "yorick")  # a drummer's strokes are never anybody else's


def test_who_shares_no_line_needs_no_turn():
    room = band(songs=False)

    with pytest.raises(NotNowError, match="shares no line"):
        take(room, "tove")

    assert room.snapshot(0.0)["turns"] == []


def test_a_turn_is_not_given_to_another_line():
    other = Player("maren", "Maren", "guitar", "standard", line=2)
    room = band(TOVE, SHARED_BASS, other, replace(ILSE, line=2), songs=False)
    room.turns.take("tove", 0.0)

    with pytest.raises(UsageError, match="does not share"):
        room.turns.hand_on("tove", 1.0, to="maren")


# -- by itself ---------------------------------------------------------------------------


def test_a_turn_nobody_uses_ends():
    room = shared()
    take(room, "tove", 0.0)
    sound(room, 1, E2, 30.0)

    assert turn(room, 40.0)["ends_in_s"] == pytest.approx(SILENT_S - 10.0)
    assert room.tick("", 30.0 + SILENT_S - 0.1) == []
    (event,) = room.tick("", 30.0 + SILENT_S)

    assert event.payload["turns"][0]["turn"] is None


def test_a_long_turn_ends_only_if_somebody_waits():
    room = shared()
    take(room, "tove", 0.0)

    def play_until(end_s: float) -> None:
        for second in range(int(room._now_s), int(end_s), 5):
            room.tick("", float(second))
            sound(room, 1, E2, float(second))

    play_until(LONGEST_S + 30.0)
    assert turn(room)["turn"] == "tove"
    take(room, "brannock", LONGEST_S + 31.0)
    room.tick("", LONGEST_S + 32.0)

    assert (turn(room)["turn"], turn(room)["waiting"]) == ("brannock", [])


def test_who_changes_to_another_line_has_no_turn_there():
    room = shared(SECOND_GUITAR)
    for player in ("tove", "brannock", "maren"):
        take(room, player)

    room.change_player("brannock", line=2, now_s=1.0)
    room.change_player("tove", line=3, now_s=1.0)

    assert room.snapshot(1.0)["turns"] == []
    room.change_player("tove", line=1, now_s=2.0)
    assert (turn(room)["turn"], turn(room)["waiting"]) == (None, [])


def test_no_turn_outlives_a_restart():
    room = shared()
    take(room, "tove")

    again = shared()
    again.restore(json.loads(json.dumps(room.state())))

    assert turn(again)["turn"] is None


def test_a_gap_or_a_level_keeps_no_turn_alive():
    room = shared()
    take(room, "tove", 0.0)
    room.hear(Reading(2, 50.0, 41.0, 0.1, 1e-4, 12, 49.5), 50.0)  # another line

    room.tick("", SILENT_S)

    assert turn(room)["turn"] is None
