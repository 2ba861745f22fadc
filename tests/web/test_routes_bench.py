"""The bench's routes, asked of a real station: what they take, tell and refuse."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from station.room.model import Player
from station.web.openapi import describe_api
from tests.support.band_station import BandStation, band_station
from tests.support.page_client import Answer, ask, change
from tests.support.reference_page import CODE
from tests.support.schema import faults

API = describe_api()
SCHEMAS = API["components"]["schemas"]
TOVE = Player("tove", "Tove", "guitar", "standard", line=1)
ILSE = Player("ilse", "Ilse", "keyboard", line=2)
BASE = "/api/v1/players/tove/bench"
SET = ".011,.014,.018,.028w,.038w,.049w"


@pytest.fixture(scope="module")
def station() -> Iterator[BandStation]:
    with band_station(TOVE, ILSE) as running:
        yield running


def post(station: BandStation, path: str, **body: Any) -> Answer:
    return change(station.port, f"{BASE}/{path}", body, CODE)


def put_set(station: BandStation, **body: Any) -> Answer:
    sent = json.dumps(body).encode()
    headers = {"Content-Type": "application/json", "X-Room-Code": CODE}
    return ask(station.port, f"{BASE}/set", "PUT", sent, headers)


@pytest.mark.parametrize(
    ("path", "body", "kind"),
    [
        ("strum", {}, "strum"),
        ("pair", {"pair": "6-5"}, "beats"),
        ("pair", {"pair": "E2-A2", "way": "fretted", "hold": 5}, "beats"),
        ("pair", {"pair": "6-1", "way": None, "hold": None}, "beats"),
        ("saddle", {"string": 6, "against": "harmonic"}, "saddle"),
        ("health", {"string": 1}, "health"),
    ],
)
def test_what_is_opened_is_told_as_described(station, path, body, kind):
    answer = post(station, path, by="tove", **body)

    assert answer.status == 200
    assert answer.json["open"]["kind"] == kind
    assert faults(answer.json, SCHEMAS["BenchNow"], API) == []
    assert post(station, "close", by="tove").json["open"] is None


@pytest.mark.parametrize(
    ("path", "body", "status"),
    [
        ("strum", {}, 400),
        ("pair", {"by": "tove"}, 400),
        ("pair", {"by": "tove", "pair": "6-6"}, 400),
        ("pair", {"by": "tove", "pair": "6-5", "way": "lines"}, 400),
        ("pair", {"by": "tove", "pair": "6-5", "hold": 4}, 400),
        ("pair", {"by": "tove", "pair": "6-5", "hold": 1.5}, 400),
        ("saddle", {"by": "tove", "string": 9, "against": "open"}, 400),
        ("saddle", {"by": "tove", "string": 6, "against": "fret"}, 400),
        ("saddle/drop", {"by": "tove"}, 409),
        ("health", {"by": "tove", "string": 0}, 400),
        ("health", {"by": "tove", "string": 7}, 400),
        ("new-strings", {}, 400),
    ],
)
def test_what_cannot_be_meant_gets_one_line(station, path, body, status):
    answer = post(station, path, **body)

    assert answer.status == status
    assert answer.json["error"]
    assert "\n" not in answer.json["error"]


def test_who_has_no_strings_or_is_nobody_is_told_so(station):
    for who, status in (("ilse", 400), ("nobody", 404)):
        for what in ("strum", "close"):
            path = f"/api/v1/players/{who}/bench/{what}"
            answer = change(station.port, path, {"by": "tove"}, CODE)
            assert answer.status == (200 if (who, what) == ("ilse", "close") else status)
        for what in ("tour", "gauge"):
            assert ask(station.port, f"/api/v1/players/{who}/bench/{what}").status == status


def test_the_round_and_the_strings_as_wire_are_as_described(station):
    tour = ask(station.port, f"{BASE}/tour").json
    query = "gauges=.010,.013,.017,.026w,.036w,.046w&to=drop-d&degrees=-10&bending=yes"
    gauge = ask(station.port, f"{BASE}/gauge?{query}").json

    assert faults(tour, SCHEMAS["Round"], API) == []
    assert faults(gauge, SCHEMAS["Gauge"], API) == []
    assert (gauge["taken"], gauge["view"]["heat"]["degrees"]) == ("typed", -10.0)
    # mu (2 L f)^2 of .010 steel on E4 over 648 mm: 3.98e-4 x (1.296 x 329.63)^2 = 72.6 N
    assert gauge["view"]["strings"][0]["tension_n"] == pytest.approx(72.6, abs=0.3)


def test_a_set_is_kept_and_refused_without_the_room_code_or_when_it_cannot_be(station):
    kept = put_set(station, gauges=SET, by="tove")
    refused = put_set(station, gauges=".010,.013", by="tove")
    headers = {"Content-Type": "application/json", "X-Room-Code": "elm-1"}
    no_code = ask(station.port, f"{BASE}/set", "PUT", b'{"gauges": "", "by": "tove"}', headers)

    assert (kept.status, kept.json["taken"]) == (200, "kept")
    assert refused.status == 400
    assert "6" in refused.json["error"]
    assert no_code.status == 403
    assert ask(station.port, f"{BASE}/gauge").json["set"]["gauges"] == SET


@pytest.mark.parametrize(
    "query",
    [
        "gauges=" + "1," * 150,
        "gauges=%00",
        f"gauges={SET}&to=sideways",
        f"gauges={SET}&degrees=cold",
        f"gauges={SET}&scale=1km",
        f"gauges={SET}&wrap=cheese",
    ],
)
def test_an_address_that_cannot_be_meant_is_refused(station, query):
    answer = ask(station.port, f"{BASE}/gauge?{query}")

    assert answer.status == 400
    assert "\n" not in answer.json["error"]


def test_whatever_a_station_tells_who_only_reads_is_as_described(station):
    described = {
        path: told["get"]["responses"]["200"]["content"]["application/json"]["schema"]
        for path, told in API["paths"].items()
        if "application/json"
        in told.get("get", {"responses": {"200": {"content": ()}}})["responses"]["200"]["content"]
    }
    described.pop("/api/v1/drums/back")  # of a drum that was tapped: test_routes_heads

    told = {path: ask(station.port, path.replace("{player_id}", "tove")).json for path in described}

    assert len(told) >= 10
    assert [fault for path in told for fault in faults(told[path], described[path], API)] == []


def test_a_change_of_a_player_or_of_pegs_is_told_as_described(station):
    headers = {"Content-Type": "application/json", "X-Room-Code": CODE}
    for path, body, name in (
        ("", b'{"capo": 0}', "Player"),
        ("/pegs/asks", b'{"by": "tove", "asks": true}', "Pegs"),
    ):
        answer = ask(station.port, f"/api/v1/players/tove{path}", "PUT", body, headers)

        assert faults(answer.json, SCHEMAS[name], API) == []
