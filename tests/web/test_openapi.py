"""The API's description against what a real room answers."""

from __future__ import annotations

import json
from typing import Any

import pytest

from station.measure.types import Level, Note, Reading
from station.room.model import Clock, Tone
from station.room.room import Player, Reference, Room
from station.web.openapi import describe_api
from tests.support.invented import invented_instrument
from tests.support.schema import faults

API = describe_api()
SCHEMAS = API["components"]["schemas"]
ROOM = SCHEMAS["Room"]
AT = "2031-03-04T18:42:00Z"


@pytest.fixture
def room() -> Room:
    players = (
        Player("tove", "Tove", "guitar", "standard", line=1),
        Player("ilse", "Ilse", "keyboard", line=2),
        Player("yorick", "Yorick", "drum-kit", line=3),
    )
    return Room(players, Reference(440.0), lines=3)


def as_answered(room: Room) -> Any:
    return json.loads(json.dumps(room.snapshot(1.0), allow_nan=False))


def test_a_room_that_has_heard_nothing_is_as_described(room: Room) -> None:
    told = as_answered(room)

    assert faults(told, ROOM, API) == []
    assert told["lines"][0]["rms_dbfs"] is None


def test_a_room_that_hears_is_as_described(room: Room) -> None:
    room.hear(Level(1, 0.1, -20.0, -12.0, 0.001, False, "signal"), 0.5)
    room.hear(Reading(1, 0.5, 109.0, 0.2, 6e-5, 12, onset_s=0.1), 0.6)
    told = as_answered(room)

    assert told["players"][0]["now"]["verdict"] == "tighten"
    assert faults(told, ROOM, API) == []


def test_a_note_that_was_played_is_as_described(room: Room) -> None:
    note = Note(1, 0.1, 1.4, 110.0, 0.05, 6e-5, 12)
    told = [event for event in room.hear(note, 1.5) if event.kind == "note"]

    assert [
        faults(json.loads(json.dumps(each.payload)), SCHEMAS["Note"], API) for each in told
    ] == [[]]


def test_a_line_that_hums_is_as_described(room: Room) -> None:
    level = Level(3, 0.1, -40.0, -36.0, 0.0, False, "signal", hum_hz=50.03, hum_dbfs=-41.2)
    room.hear(level, 0.5)
    told = as_answered(room)

    assert (told["lines"][2]["hum_hz"], told["lines"][2]["hum_dbfs"]) == (50.03, -41.2)
    assert faults(told, ROOM, API) == []
    told["lines"][2]["hum_hz"] = "50 Hz"
    assert len(faults(told, ROOM, API)) == 1


def test_a_room_that_agrees_and_sounds_a_tone_is_as_described(room: Room) -> None:
    room.set_present(["tove", "ilse"], 1.0)
    waiting = room.propose("tove", "typed", AT, 1.0, a4_hz=442.0).reply
    answered = room.answer(waiting["proposal"]["id"], "ilse", "not yet", AT, 1.0).reply
    room.set_tone(Tone("A4", 440.0, "sine", -30.0, ends_at_s=9.0), 1.0)
    room.set_clock(Clock("calibrated", -38.2, 0.8, True, "chrony", None, 0.001))
    room.change_player("tove", offsets_cents={"6": -3.5})
    told = as_answered(room)
    adopted = room.answer(waiting["proposal"]["id"], "ilse", "yes", AT, 1.0).reply
    entries = json.loads(json.dumps([entry.as_json() for entry in room.log()]))

    assert told["agreement"]["proposals"][0]["not_yet"] == ["ilse"]
    assert faults(told, ROOM, API) == []
    for reply in (waiting, answered, adopted):
        assert faults(json.loads(json.dumps(reply)), SCHEMAS["Decision"], API) == []
    assert entries[0]["kind"] == "adopted"
    assert faults({"references": entries}, SCHEMAS["References"], API) == []


def test_a_room_that_has_measured_instruments_is_as_described(room: Room) -> None:
    measured = [
        {"id": name, "name": name, "line": 1, "measured_at": AT, **invented_instrument(name)}
        for name in ("equal keyboard", "just harp", "tremolo accordion")
    ]

    lost = room.restore({**room.state(), "measured": measured})
    room.begin_measuring(AT, 1.0, player="ilse")
    told = as_answered(room)

    assert lost == []
    assert [each["temperament"] for each in told["measured"]] == ["equal", "just", None]
    assert told["compromise"]["worst"]["instruments"][0]["name"] == "equal keyboard"
    assert told["measuring"]["name"]
    assert faults(told, ROOM, API) == []


def test_the_check_itself_sees_what_is_wrong(room: Room) -> None:
    told = as_answered(room)
    told["lines"][0]["state"] = "loud"
    told["players"][0]["strings"][2]["target_hz"] = "low"
    del told["reference"]["by"]

    assert len(faults(told, ROOM, API)) == 3


def test_every_reference_in_the_description_leads_somewhere() -> None:
    def names(part: object) -> set[str]:
        if isinstance(part, dict):
            found = {part["$ref"].rpartition("/")[2]} if "$ref" in part else set()
            return found.union(*(names(each) for each in part.values()))
        if isinstance(part, list):
            return set().union(*(names(each) for each in part))
        return set()

    assert names(API) <= set(API["components"]["schemas"])
