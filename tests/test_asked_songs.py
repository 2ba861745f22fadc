"""Songs, turns, setups and quiet asked of a whole station over HTTP, and across a restart."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from station.commands.drum_kit_file import KitToRead, read_kit
from station.measure.rehearsal.drift import PlayerDrift
from station.measure.rehearsal.heard import StringDrift
from station.probe import Probe
from station.room.known_strings import Known, Work
from station.room.parts import Context, Part
from station.room.quiet import AutoQuiet
from station.sound.tone_muted import MutedToneOut
from station.web.openapi import describe_api
from tests.support.band_station import BandStation, settings_of
from tests.support.hand_input import HandInput
from tests.support.order_band import BRANNOCK, SONGS, TOVE, YORICK
from tests.support.page_client import Answer, ask, change, event_stream, wait_until
from tests.support.reference_page import CODE
from tests.support.schema import faults

pytestmark = pytest.mark.usefixtures("no_process_survives")

API = describe_api()
Start = Callable[[], BandStation]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    settings = settings_of(TOVE, replace(BRANNOCK, line=1), YORICK, data_dir=tmp_path / "state")
    with ExitStack() as running:

        def begin() -> BandStation:
            made = BandStation(
                settings,
                HandInput(),
                Probe("numpy"),
                make_tone_out=lambda _, on_tone: MutedToneOut(on_tone),
            )
            return running.enter_context(made)

        yield begin


def send(station: BandStation, method: str, path: str, **body: Any) -> Answer:
    return change(station.port, f"/api/v1/{path}", {"by": "tove", **body}, CODE, method)


def as_described(told: Any, name: str) -> list[str]:
    return faults(told, API["components"]["schemas"][name], API)


def titles(answer: Answer) -> list[str]:
    assert answer.status == 200, answer.body
    assert as_described(answer.json, "Songs") == []
    return [song["title"] for song in answer.json["songs"]]


def test_songs_are_read_changed_and_kept_over_a_restart(start):
    station = start()
    assert titles(send(station, "PUT", "songs", songs=SONGS)) == [s["title"] for s in SONGS]
    assert titles(send(station, "POST", "songs", song={"title": "Last bus"}))[-1] == "Last bus"
    titles(send(station, "PUT", "songs/4", song={"title": "First bus", "key": "Em"}))
    assert titles(send(station, "POST", "songs/4/move", to=1))[0] == "First bus"
    assert len(titles(send(station, "POST", "songs/1/remove"))) == 3
    told = send(station, "POST", "songs/next").json
    told = send(station, "POST", "songs/next", after=told["order"]["song"]["id"]).json
    table = ask(station.port, "/api/v1/songs.csv")
    station.stop()

    again = start()

    assert as_described(told, "OrderNow") == []
    assert told["order"]["song"]["title"] == "Paper lantern"
    assert again.snapshot()["order"]["song"]["title"] == "Paper lantern"
    assert again.snapshot()["players"][0]["tuning"] == "drop-d"
    assert as_described(json.loads(json.dumps(again.snapshot())), "Room") == []
    assert table.headers["content-type"].startswith("text/csv")
    csv = table.body.decode()
    assert csv.splitlines()[0] == "title,key,bass,notes,drums,tove,brannock,yorick"
    assert titles(send(again, "PUT", "songs", csv=csv))[0] == "First bus"
    assert again.snapshot()["order"]["place"] == 2  # still at the song that is on


def test_a_bad_request_changes_nothing_and_says_why(start):
    station = start()
    send(station, "PUT", "songs", songs=SONGS)
    before = ask(station.port, "/api/v1/songs").json

    long = {"songs": [{"title": f"{n}", "notes": "x" * 160} for n in range(100)]}
    refused = {
        ("PUT", "songs", 400, "row 2, key"): {"songs": [{"title": "x"}, {"key": "Q"}]},
        ("PUT", "songs", 400, "row 3, title"): {"csv": "title,key\nx,E\n,Q\n"},
        ("PUT", "songs", 409, "somebody else"): {"songs": SONGS, "revision": 99},
        ("PUT", "songs", 413, "60 songs fit"): long,
        ("PUT", "songs", 400, "a list or as csv"): {},
        ("POST", "songs", 400, "title"): {"song": 7},
        ("PUT", "songs/77", 404, "song 77"): {"song": {"title": "x"}},
        ("POST", "songs/x/remove", 404, "no song"): {},
        ("POST", "songs/1/move", 400, "places 1 to 3"): {"to": 9},
        ("POST", "songs/1/move", 400, "the least is 1"): {"to": 0},
        ("POST", "songs/next", 404, "song 50"): {"song": 50},
        ("POST", "players/yorick/turn", 409, "shares no line"): {},
        ("POST", "players/nobody/turn", 404, "nobody"): {},
        ("POST", "players/tove/turn/hand-on", 409, "nobody has the turn"): {},
    }

    for (method, path, status, words), body in refused.items():
        answer = send(station, method, path, **body)
        assert (answer.status, words in answer.json["error"]) == (status, True), answer.json
    assert ask(station.port, "/api/v1/songs").json == before


def test_turns_and_setups_are_told_as_described(start):
    station = start()

    mine = send(station, "POST", "players/tove/turn").json
    waits = send(station, "POST", "players/brannock/turn").json
    given = send(station, "POST", "players/tove/turn/hand-on", to="brannock").json
    setups = ask(station.port, "/api/v1/players/tove/setups").json

    assert [each["turns"][0]["turn"] for each in (mine, waits, given)] == [
        "tove", "tove", "brannock",
    ]  # fmt: skip
    assert waits["turns"][0]["waiting"] == ["brannock"]
    assert as_described(given, "TurnsNow") == []
    assert as_described(setups, "Setups") == []
    assert ask(station.port, "/api/v1/players/nobody/setups").status == 404


def test_turns_of_pegs_are_asked_told_and_forgotten(start):
    station = start()
    with event_stream(station.port, player="tove") as stream:
        stream.until("room")
        wait_until(lambda: "tove" in station.room.context.present())
        station.take_turn("tove")  # the line is Brannock's, too
        for tuning in ("drop-d", "standard", "drop-d"):
            station.play("tove", 6)
            station.change_player("tove", {"tuning": tuning})
            station.play("tove", 6)
            assert as_described(json.loads(json.dumps(station.snapshot())), "Room") == []
            known = send(station, "POST", "players/tove/pegs", string=6, quarters=4).json
    station.change_player("tove", {"tuning": "standard"})

    assert as_described(known, "Pegs") == []
    assert known["strings"][0]["reports"] == 3
    (string,) = station.snapshot()["order"]["players"]["tove"]["strings"]
    assert string["peg"]["turns"] == pytest.approx(1.0, abs=0.01)
    assert as_described(json.loads(json.dumps(station.snapshot())), "Room") == []
    for method, path, status, body in (
        ("POST", "pegs", 409, {"string": 6, "quarters": 4}),
        ("POST", "pegs", 400, {"string": 6, "quarters": 99}),
        ("POST", "pegs", 400, {"string": 6}),
        ("PUT", "pegs/asks", 400, {"asks": 1}),
        ("PUT", "pegs/asks", 200, {"asks": False}),
        ("POST", "pegs/forget", 200, {}),
        ("POST", "pegs/forget", 409, {}),
    ):
        assert send(station, method, f"players/tove/{path}", **body).status == status
    assert ask(station.port, "/api/v1/players/tove/pegs").json == {"asks": False, "strings": []}


def test_the_kit_that_the_page_saves_is_read_by_the_command(start, tmp_path):
    station = start()
    send(station, "PUT", "songs", songs=SONGS)
    for name, more in (("floor tom", {"diameter_in": 16.0, "pitch": "A2"}), ("snare", {})):
        body = json.dumps({"name": name, "player": "yorick", **more}).encode()
        code = {"Content-Type": "application/json", "X-Room-Code": CODE}
        assert ask(station.port, "/api/v1/drums", "PUT", body, code).status == 200
    saved = tmp_path / "drums.json"
    saved.write_bytes(ask(station.port, "/api/v1/drums.json").body)
    left_out: list[str] = []

    drums, songs, a4_hz = read_kit(KitToRead(saved), left_out)

    assert ([each.name for each in drums], a4_hz) == (["floor tom"], 440.0)
    assert [each.name for each in songs] == ["Low tide", "Paper lantern"]  # those with a key
    assert left_out == ['"snare" is left out: its size and pitch are not known']


def test_everyone_hears_of_a_retuned_string_by_the_stream(start):
    station = start()
    send(station, "PUT", "songs", songs=SONGS)
    with event_stream(station.port, player="tove") as stream:
        stream.until("room")
        send(station, "POST", "songs/next", song=2)

        told = stream.until("room")["order"]

    assert told["players"]["tove"]["strings"][0]["to"] == "D2"


class Evening(Part):
    """What the band does, as a test says."""

    doing = "tuning"

    def __init__(self, context: Context, work: Work | None = None) -> None:
        super().__init__(context)
        self.work = work
        self.taken: list[object] = []

    def due(self, now_s: float) -> Work | None:
        work, self.work = self.work, None
        return work

    def take(self, work: Work, found: list[StringDrift]) -> bool:
        self.taken.append(found)
        return True


def test_nobody_waits_for_the_room_while_drifts_are_solved_for(start):
    station = start()
    asked, answered = threading.Event(), threading.Event()

    def solve() -> list[StringDrift]:
        asked.set()
        assert answered.wait(20.0)
        return []

    known = Known(1, "guitar", (), PlayerDrift(()), [])
    evening = station.room.evening = Evening(station.room.context, Work(solve, known, True))
    assert asked.wait(20.0)
    meanwhile = send(station, "PUT", "songs", songs=SONGS)
    before = list(evening.taken)
    with event_stream(station.port, player="tove") as stream:
        stream.until("room")
        answered.set()

        stream.until("room")

    assert (meanwhile.status, before, evening.taken) == (200, [], [[]])


def test_it_is_quiet_while_the_band_plays_and_the_lamps_come_back(start):
    station = start()
    evening = Evening(station.room.context)
    station.room.evening = evening
    station._auto_quiet = AutoQuiet("playing")
    lamps = station.lamps
    assert lamps is not None

    evening.doing = "playing"
    station._follow_evening()
    assert station.snapshot()["station"]["quiet"] is True
    assert lamps._animation.quiet is True
    tone = {"note": "A4", "voice": "sine", "level_dbfs": -30.0, "seconds": 1.0}
    refused = change(station.port, "/api/v1/tone", tone, CODE)
    evening.doing = "gap"
    station._follow_evening()

    assert (refused.status, "quiet" in refused.json["error"]) == (409, True)
    assert station.snapshot()["station"]["quiet"] is False
    assert lamps._animation.quiet is False


def test_the_same_button_begins_and_ends_quiet(start):
    station = start()

    station._toggle_quiet()
    wait_until(lambda: station.snapshot()["station"]["quiet"])
    station._toggle_quiet()

    assert station.snapshot()["station"]["quiet"] is False
