import pytest

from station.sound import tone
from station.web.models.measuring import TONE_DBFS, TONE_S
from station.web.openapi import describe_api
from tests.support.page_client import one_line
from tests.support.page_server import CODE
from tests.support.schema import faults

API = describe_api()
A_TONE = {"note": "A4", "voice": "sine", "level_dbfs": -30, "seconds": 10}


def as_described(told, name):
    return faults(told, API["components"]["schemas"][name], API)


def test_an_instrument_is_measured_from_beginning_to_end(post, station):
    begun = post("measuring", player="ilse").get_json()
    station.measure("equal keyboard")
    heard = station.snapshot()["measuring"]
    done = post("measuring/finish", by="ilse").get_json()

    assert (begun["measuring"]["name"], begun["measuring"]["instrument"]) == (
        "Ilse's keyboard",
        None,
    )
    assert heard["sounding"] is True and heard["instrument"]["a4_hz"] == 441.3
    assert done["measuring"] is None
    assert [each["id"] for each in done["measured"]] == ["ilse"]
    assert as_described(begun, "Measured") == as_described(done, "Measured") == []


def test_whatever_is_on_a_line_is_measured_under_a_name(post, station):
    named = post("measuring", line=3, name="Grandmother's harmonium").get_json()["measuring"]
    post("measuring/cancel", by="tove")
    nameless = post("measuring", line=4).get_json()["measuring"]

    assert (named["id"], named["name"], named["lines"]) == (
        "line-3",
        "Grandmother's harmonium",
        [3],
    )
    assert (named["player"], nameless["id"]) == (None, "line-4")


def test_a_measurement_that_is_cancelled_leaves_nothing(post, station):
    post("measuring", player="ilse")
    station.measure("equal keyboard")

    told = post("measuring/cancel", by="ilse").get_json()

    assert (told["measuring"], told["measured"]) == (None, [])


def test_two_measured_instruments_have_a_compromise_until_one_is_forgotten(post, station):
    station.measure_whole("ilse", "equal keyboard")
    station.measure_whole("tove", "just harp")
    compromise = station.snapshot()["compromise"]

    told = post("measured/tove/forget", by="tove").get_json()

    # Half-way in cents, each is off by the same and the other way.
    first, second = compromise["worst"]["instruments"]
    assert first["cents"] == pytest.approx(-second["cents"])
    assert told["compromise"] is None
    assert [each["id"] for each in told["measured"]] == ["ilse"]


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("measuring/finish", {"by": "ilse"}, 409),
        ("measuring/cancel", {"by": "ilse"}, 409),
        ("measured/ilse/forget", {"by": "ilse"}, 404),
        ("measured/%3Cb%3E/forget", {"by": "ilse"}, 404),
        ("measuring", {"player": "nobody"}, 404),
        ("measuring", {"line": 9}, 400),
    ],
)
def test_what_does_not_fit_what_the_room_is_doing_is_said(post, path, body, status):
    answer = post(path, **body)

    assert answer.status_code == status
    one_line(answer.get_json())


def test_nothing_heard_is_nothing_measured(post, station):
    post("measuring", player="ilse")

    answer = post("measuring/finish", by="ilse")

    assert answer.status_code == 409
    assert station.snapshot()["measuring"] is not None


def test_a_tone_sounds_until_it_is_stopped(post, station):
    begun = post("tone", **A_TONE).get_json()
    stopped = post("tone/stop", by="tove").get_json()

    assert (begun["tone"]["hz"], begun["tone"]["voice"]) == (440.0, "sine")
    assert 0 < begun["tone"]["ends_in_s"] <= 10
    assert stopped == {"tone": None}
    assert as_described(begun, "ToneNow") == as_described(stopped, "ToneNow") == []


def test_a_tone_follows_the_reference(post, put):
    put("reference", a4_hz=442, by="tove")

    told = post("tone", **{**A_TONE, "note": "A3"}).get_json()

    assert told["tone"]["hz"] == pytest.approx(221.0)


def test_quiet_ends_the_tone_and_refuses_the_next(post, put, station):
    post("tone", **A_TONE)

    quiet = put("quiet", quiet=True)
    refused = post("tone", **A_TONE)
    put("quiet", quiet=False)
    allowed = post("tone", **A_TONE)

    assert quiet.get_json() == {"quiet": True}
    assert (refused.status_code, allowed.status_code) == (409, 200)
    assert "quiet" in one_line(refused.get_json())


def test_an_output_that_is_off_is_said(post, station):
    station.set_station(tone_out={"state": "off", "reason": "not set up"})

    answer = post("tone", **A_TONE)

    assert answer.status_code == 503
    assert "not set up" in one_line(answer.get_json())


JUNK = [
    ("POST", "measuring", {"player": "ilse", "line": 3}, "not player and line"),
    ("POST", "measuring", {"player": "ilse", "name": "Harp"}, "not player and name"),
    ("POST", "measuring", {"name": "Harp"}, "line must be a number"),
    ("POST", "measuring", {"line": 0}, "line is 0: the least is 1"),
    ("POST", "measuring", {"line": 1.5}, "whole number"),
    ("POST", "measuring", {"line": True}, "line must be a number"),
    ("POST", "measuring", {"line": 1, "name": "a\x00b"}, "name must be"),
    ("POST", "measuring", {"player": None}, "player must be"),
    ("POST", "measuring/finish", {"by": []}, "by must be"),
    ("POST", "tone", {**A_TONE, "level_dbfs": -3}, "level_dbfs is -3: the most is -20"),
    ("POST", "tone", {**A_TONE, "level_dbfs": -90}, "level_dbfs is -90: the least is -60"),
    ("POST", "tone", {**A_TONE, "seconds": 3600}, "seconds is 3600: the most is 60"),
    ("POST", "tone", {**A_TONE, "seconds": 0}, "seconds is 0: the least is 0.2"),
    ("POST", "tone", {**A_TONE, "voice": "organ"}, "sine, string"),
    ("POST", "tone", {**A_TONE, "note": "H9x"}, "H9x"),
    ("POST", "tone", {**A_TONE, "note": 69}, "note must be"),
    ("POST", "tone", {**A_TONE, "note": "C0"}, "20"),
    ("POST", "tone", {"note": "A4"}, "voice must be"),
    ("POST", "tone", {**A_TONE, "hz": 20000}, "cannot be set"),
    ("PUT", "quiet", {"quiet": "yes"}, "true or false"),
    ("PUT", "quiet", {"quiet": 1}, "true or false"),
]


@pytest.mark.parametrize(("method", "path", "body", "told"), JUNK)
def test_what_cannot_be_meant_gets_one_line_and_changes_nothing(
    client, station, method, path, body, told
):
    before = station.snapshot()

    answer = client.open(f"/api/v1/{path}", method=method, json=body, headers=CODE)

    assert answer.status_code == 400
    assert told in one_line(answer.get_json())
    assert station.snapshot() == before


def test_the_limits_told_are_those_of_the_tone_itself():
    assert TONE_DBFS == (tone.SOFTEST_DBFS, tone.LOUDEST_DBFS)
    assert TONE_S == (tone.SHORTEST_S, tone.LONGEST_S)


def test_offsets_are_set_by_string_or_as_pure_fifths_and_taken_away(put):
    own = put("players/brannock", offsets_cents={"4": -5.865}).get_json()
    refused = put("players/brannock", offsets_cents="pure fifths")
    cello = put(
        "players/brannock", instrument="cello", tuning="standard", offsets_cents="pure fifths"
    ).get_json()
    none = put("players/brannock", offsets_cents="none").get_json()

    assert (own["offsets_cents"], own["offsets_label"]) == ({"4": -5.865}, "own")
    assert own["strings"][0]["offset_cents"] == -5.865
    assert refused.status_code == 400
    assert "fifth" in one_line(refused.get_json())
    # Three pure fifths below the A: 3 (1200 log2(3/2) - 700) cents lower than tempered.
    assert (cello["offsets_cents"]["4"], cello["offsets_label"]) == (-5.865, "pure fifths")
    assert (none["offsets_cents"], none["offsets_label"]) == ({}, "")


@pytest.mark.parametrize(
    "offsets", [{"9": 1}, {"4": 80}, {"4": None}, "sweet", 7, {"4": 1e400}, {"four": 1}]
)
def test_offsets_that_do_not_fit_the_player_change_nothing(put, station, offsets):
    before = station.snapshot()

    answer = put("players/brannock", offsets_cents=offsets)

    assert answer.status_code == 400
    one_line(answer.get_json())
    assert station.snapshot() == before
