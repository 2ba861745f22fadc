import json

import pytest

from station.room.parts import WantedEar
from station.room.room import Player, Reference, Room
from station.web.openapi import describe_api
from tests.support.fake_drums import make_stroke
from tests.support.page_client import event_stream, one_line
from tests.support.schema import faults

API = describe_api()
TOM_HZ = 98.3


def as_described(told, name):
    return faults(told, API["components"]["schemas"][name], API)


def taps_of(station, player):
    return next(each["taps"] for each in station.snapshot()["players"] if each["id"] == player)


def test_a_drummer_starts_over(post, station):
    station.strike("yorick", 1.0, TOM_HZ)
    before = taps_of(station, "yorick")

    answer = post("players/yorick/taps/again", by="yorick")

    assert before["tap"]["used"] == 1
    assert answer.status_code == 200
    assert answer.get_json() == {"taps": taps_of(station, "yorick")}
    assert (answer.get_json()["taps"]["tap"], answer.get_json()["taps"]["strokes"]) == (None, [])
    assert as_described(answer.get_json(), "TapsNow") == []


def test_a_change_of_damping_is_held_against_what_was_tapped_before(post, station):
    nothing = post("players/yorick/taps/damping", step="remember", by="yorick")
    station.strike("yorick", 1.0, TOM_HZ, ring_s=0.9)
    station.strike("yorick", 2.0, TOM_HZ, ring_s=0.94)

    remembered = post("players/yorick/taps/damping", step="remember", by="yorick").get_json()
    station.strike("yorick", 3.0, TOM_HZ, ring_s=0.5, overtone_db=-10.0)
    station.strike("yorick", 4.0, TOM_HZ, ring_s=0.52, overtone_db=-10.0)
    compared = {"taps": taps_of(station, "yorick")}
    station.strike("yorick", 5.0, 2 * TOM_HZ)
    forgotten = post("players/yorick/taps/damping", step="forget", by="yorick").get_json()

    assert nothing.status_code == 409
    one_line(nothing.get_json())
    assert remembered["taps"]["tap"] is None
    assert remembered["taps"]["damping"]["before_ring_s"] == pytest.approx(0.92)
    assert remembered["taps"]["damping"]["partials"] == []
    own, over = compared["taps"]["damping"]["partials"]
    assert own["ring_ms"] == pytest.approx(-410.0)
    assert own["ring_sd_ms"] > 0.0
    assert over["ring_ms"] == pytest.approx(-205.0)
    assert over["level_db"] == pytest.approx(-4.0)
    # By hand: as long is 0.51 of 0.92 s, and as loud 4 dB less.
    assert over["sound_db"] == pytest.approx(-4.0 - 2.56, abs=0.01)
    assert forgotten["taps"]["damping"] is None
    for told in (remembered, compared, forgotten):
        assert as_described(told, "TapsNow") == []


@pytest.mark.parametrize(
    ("player", "body", "status"),
    [
        ("tove", {"by": "yorick"}, 400),
        ("nobody", {"by": "yorick"}, 404),
        ("%3Cb%3E", {"by": "yorick"}, 404),
        ("yorick", {"by": ""}, 400),
        ("yorick", {"by": []}, 400),
        ("yorick", {"by": "yorick", "drum": 1}, 400),
        ("yorick", {}, 400),
    ],
)
def test_what_cannot_be_meant_gets_one_line_and_forgets_nothing(
    post, station, player, body, status
):
    station.strike("yorick", 1.0, TOM_HZ)
    before = station.snapshot()["players"]

    answer = post(f"players/{player}/taps/again", **body)

    assert answer.status_code == status
    one_line(answer.get_json())
    assert station.snapshot()["players"] == before


def test_without_the_room_code_nobody_starts_over(client, station):
    station.strike("yorick", 1.0, TOM_HZ)

    answer = client.post("/api/v1/players/yorick/taps/again", json={"by": "yorick"})

    assert answer.status_code == 403
    assert taps_of(station, "yorick")["tap"]["used"] == 1


def test_a_stroke_comes_by_the_stream_and_is_as_described(server, station):
    with event_stream(server.port, player="yorick") as stream:
        stream.until("room")
        station.strike("yorick", 1.0, TOM_HZ)
        told = stream.until("stroke")

    assert (told["player"], told["taps"]["tap"]["note"]) == ("yorick", "G2")
    assert as_described(told, "StrokeEvent") == []


def test_a_room_with_strokes_of_every_sort_is_as_described():
    room = Room((Player("tres", "Tres", "drum-kit", line=1),), Reference(440.0), lines=1)
    verdicts = ("good", "good", "rim", "good", "other drum", "double", "weak", "clipped")
    told = []
    for at_s, verdict in enumerate(verdicts):
        stroke = make_stroke(float(at_s), TOM_HZ, verdict=verdict, line=1, beat_hz=1.7)
        told += [event.payload for event in room.hear_ear(WantedEar("strokes", 1), [stroke], 9.0)]
    snapshot = json.loads(json.dumps(room.snapshot(9.0), allow_nan=False))

    assert len(told) == len(verdicts)
    for payload in told:
        assert as_described(json.loads(json.dumps(payload)), "StrokeEvent") == []
    assert snapshot["players"][0]["taps"]["tap"]["beat_hz"] == 1.7
    assert as_described(snapshot, "Room") == []
