"""What people ask of drum heads over HTTP, and what they are told."""

import json

import pytest

from station.web.openapi import describe_api
from tests.support.head_taps import random_drummer
from tests.support.page_client import event_stream, one_line
from tests.support.page_server import CODE
from tests.support.schema import faults

API = describe_api()
TOM_HZ = 110.0


def as_described(told, name):
    return faults(told, API["components"]["schemas"][name], API)


def tap(station, hz=TOM_HZ, first_s=1.0):
    for at in range(3):
        station.strike("yorick", first_s + at, hz)


def test_a_pass_goes_from_beginning_to_end_and_every_answer_is_as_described(post, station):
    drummer = random_drummer("one slack", 6, 2)
    answers = [post("players/yorick/head", lugs=6, phase="fine", drum="floor tom", by="yorick")]
    at_s = 0.0
    while (lug := station.snapshot()["heads"]["passes"]["yorick"]["tap_next"]) is not None:
        at_s += 1.0
        station.tap_lug(at_s, drummer.modes(lug))
    first = station.snapshot()["heads"]["passes"]["yorick"]["turn_next"]["lug"]
    answers.append(post("players/yorick/head/turned", lug=first, by="yorick"))
    answers.append(post("players/yorick/head/turned", lug=first, turns=0.01, by="yorick"))
    answers.append(post("players/yorick/head/turned", by="yorick"))
    answers.append(post("players/yorick/head/lug", lug=5, by="yorick"))
    station.tap_lug(99.0, drummer.modes(5))
    answers.append(post("players/yorick/head/again", by="yorick"))
    answers.append(post("players/yorick/head/restart", by="yorick"))
    answers.append(post("players/yorick/head/leave", by="yorick"))

    assert [each.status_code for each in answers] == [200] * len(answers)
    for answer in answers:
        assert as_described(answer.get_json(), "HeadNow") == []
    assert answers[0].get_json()["head"]["drum"] == "floor tom"
    assert answers[4].get_json()["head"]["tap_next"] == 5
    assert answers[-1].get_json()["head"] is None


def test_strokes_of_a_pass_come_by_the_stream_beside_those_of_the_taps(server, station):
    drummer = random_drummer("random", 6, 1)
    station.begin_head("yorick", 6, "fine", "")
    with event_stream(server.port, player="yorick") as stream:
        stream.until("room")
        station.tap_lug(1.0, drummer.modes(1))
        told = stream.until("stroke")

    assert as_described(told, "HeadEvent") == []
    assert told["head"]["taken"] == [1, 0, 0, 0, 0, 0]
    assert as_described(json.loads(json.dumps(station.snapshot()["heads"])), "Heads") == []


def test_two_heads_are_compared_step_by_step(post, station):
    answers = [post("players/yorick/both-heads", step="begin", snare_side=True, by="yorick")]
    tap(station)
    answers.append(post("players/yorick/both-heads", step="next", by="yorick"))
    tap(station, 130.0, 11.0)
    answers.append(post("players/yorick/both-heads", step="next", by="yorick"))

    told = answers[-1].get_json()["both"]
    for answer in answers:
        assert as_described(answer.get_json(), "HeadNow") == []
    assert told["result"]["higher"] == "resonant"
    assert told["snare_side"] is True


def test_a_drum_is_kept_listed_found_the_way_back_to_and_forgotten(client, post, station):
    tap(station)
    kept = post("drums/keep", player="yorick", name="floor tom", place="cellar")
    post("players/yorick/taps/again", by="yorick")
    tap(station, 108.0, 21.0)
    back = client.get("/api/v1/drums/back?player=yorick&drum=floor%20tom")
    file = client.get("/api/v1/drums.json")
    gone = post("drums/forget", name="Floor Tom", by="yorick")

    assert as_described(kept.get_json(), "Drums") == []
    assert kept.get_json()["drums"][0]["good"]["place"] == "cellar"
    assert as_described(back.get_json(), "WayBack") == []
    assert back.get_json()["verdict"] == "tighten"
    assert "drums.json" in file.headers["Content-Disposition"]
    assert file.get_json()["drums"][0]["hz"] == TOM_HZ
    assert gone.get_json()["drums"] == []


def test_a_kit_is_held_against_songs(client, put, station):
    tap(station)
    first = put("drums", name="floor tom", player="yorick", diameter_in=16, depth_in=14,
                pitch="taps", kind="tom", keep=False)  # fmt: skip
    second = put("drums", name="snare", kind="snare", diameter_in=14, pitch="G3")
    third = put("drums", name="high tom", diameter_in=12)
    told = put("drums/songs", songs=[{"name": "Low tide", "key": "E minor", "bass": ["E1"]}])

    kit = client.get("/api/v1/drums/kit").get_json()
    assert [each.status_code for each in (first, second, third, told)] == [200] * 4
    assert kit == told.get_json()
    assert as_described(kit, "Kit") == []
    assert kit["missing"] == ["high tom"]
    assert [each["drum"] for each in kit["view"]["drums"]] == ["floor tom", "snare"]
    assert kit["view"]["drums"][0]["songs"][0]["role"] == "scale tone"  # A in E minor


def test_the_running_orders_songs_come_before_typed_ones(client, put, station):
    class Ordered:
        songs = (type("S", (), {"title": "Paper lantern", "key": "D dorian", "bass": ("D1",)}),)

    put("drums/songs", songs=[{"name": "Low tide", "key": "E minor"}])
    station.heads_room.parts["order"] = Ordered()

    kit = client.get("/api/v1/drums/kit").get_json()

    assert kit["from_order"] is True
    assert [each["name"] for each in kit["songs"]] == ["Paper lantern"]


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("POST", "players/yorick/head", {"lugs": 7, "phase": "fine"}, 400),
        ("POST", "players/yorick/head", {"lugs": 6.5, "phase": "fine"}, 400),
        ("POST", "players/yorick/head", {"lugs": 6, "phase": "rough"}, 400),
        ("POST", "players/yorick/head", {"lugs": 6}, 400),
        ("POST", "players/yorick/head", {"lugs": 6, "phase": "fine", "drum": 5}, 400),
        ("POST", "players/tove/head", {"lugs": 6, "phase": "fine"}, 400),
        ("POST", "players/nobody/head", {"lugs": 6, "phase": "fine"}, 404),
        ("POST", "players/yorick/head/leave", {"by": "yorick"}, 409),
        ("POST", "players/yorick/head/turned", {"turns": 0.1}, 400),
        ("POST", "players/yorick/head/turned", {"lug": 1, "turns": 1000}, 400),
        ("POST", "players/yorick/head/turned-back", {"drum": "tom"}, 409),
        ("POST", "players/yorick/both-heads", {"step": "next"}, 409),
        ("POST", "players/yorick/both-heads", {"step": "jump"}, 400),
        ("POST", "drums/keep", {"player": "yorick", "name": "tom"}, 409),
        ("POST", "drums/keep", {"player": "yorick", "name": "x" * 41}, 400),
        ("POST", "drums/forget", {"name": "tom", "by": "yorick"}, 400),
        ("PUT", "drums", {"name": "tom", "diameter_in": 3}, 400),
        ("PUT", "drums", {"name": "tom", "diameter_in": 12, "pitch": "H2"}, 400),
        ("PUT", "drums", {"name": "tom", "player": "yorick", "pitch": "taps"}, 409),
        ("PUT", "drums", {"name": "tom", "pitch": "taps"}, 404),
        ("PUT", "drums", {"name": "tom", "kind": "gong"}, 400),
        ("PUT", "drums/songs", {"songs": {}}, 400),
        ("PUT", "drums/songs", {"songs": [{"name": "Low tide", "key": "X"}]}, 400),
        ("GET", "drums/back?player=yorick", None, 400),
        ("GET", "drums/back?player=yorick&drum=tom", None, 400),
    ],
)
def test_what_cannot_be_meant_gets_one_line_and_changes_nothing(
    client, station, method, path, body, status
):
    before = (station.snapshot()["heads"], station.kept_drums())

    answer = client.open(f"/api/v1/{path}", method=method, json=body, headers=CODE)

    assert answer.status_code == status
    one_line(answer.get_json())
    assert (station.snapshot()["heads"], station.kept_drums()) == before
