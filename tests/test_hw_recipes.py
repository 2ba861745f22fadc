"""Every recipe is run: on mock pins, and against a page that really serves the stream."""

from __future__ import annotations

import ast
import importlib
import os
import signal
import subprocess
import sys
import threading
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import gpiozero
import pytest

from station.commands.lamps import run_lamps_test
from station.lamps.chip import mock_factory
from station.lamps.lamps import Lamps
from station.lamps.wiring import remarks
from station.settings import load_settings
from station.web.server import PageServer
from tests.support.fake_station import FakeStation
from tests.support.page_client import wait_until

RECIPES = Path(__file__).resolve().parents[1] / "hw" / "recipes"
NAMES = sorted(path.stem for path in RECIPES.glob("*.py"))
NOTE = {"player": "tove", "note": "A2", "cents": 1.25}
LIMIT_S = 20


@pytest.fixture(autouse=True)
def nothing_survives(no_process_survives: None) -> None:
    """No process outlives any of these tests."""


@pytest.fixture
def recipe(monkeypatch) -> Iterator[Callable[[str], types.ModuleType]]:
    """Loads a recipe as Python finds it when it is run: its folder first."""
    monkeypatch.syspath_prepend(RECIPES)
    yield importlib.import_module
    for name in NAMES:
        sys.modules.pop(name, None)


@pytest.fixture
def address(server: PageServer) -> str:
    return f"http://127.0.0.1:{server.port}"


def heard(*readings: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    return [("reading", each) for each in readings]


# -- three lamps -----------------------------------------------------------------


@pytest.fixture
def leds(monkeypatch) -> Iterator[list[Any]]:
    factory = mock_factory()
    monkeypatch.setattr(gpiozero.Device, "pin_factory", factory)
    lamps = [gpiozero.PWMLED(bcm) for bcm in (5, 26, 16)]
    yield lamps
    for lamp in lamps:
        lamp.close()
    factory.close()


@pytest.mark.parametrize(
    ("verdict", "cents", "lit"),
    [("tighten", -4.0, [1, 0, 0]), ("in", 0.4, [0, 1, 0]), ("slacken", 4.0, [0, 0, 1])],
)
def test_three_lamps_say_tighten_in_and_slacken(recipe, leds, verdict, cents, lit):
    recipe("three_lamps").run(heard({"verdict": verdict, "string_cents": cents}), leds)

    assert [lamp.value for lamp in leds] == lit


def test_three_lamps_pulse_while_far_off_stand_still_when_near_and_go_dark_after_the_note(
    recipe, leds
):
    shown = []

    def played() -> Iterator[tuple[str, dict[str, Any]]]:
        for cents in (-40.0, -30.0, -4.0, -40.0):
            yield "reading", {"verdict": "tighten", "string_cents": cents}
        wait_until(lambda: 0.0 < leds[0].value < 1.0)
        shown.append("it pulses")
        yield "reading", {"verdict": None, "string_cents": None}
        yield "room", {}
        yield "note", NOTE
        shown.append([lamp.value for lamp in leds])

    recipe("three_lamps").run(played(), leds)

    assert shown == ["it pulses", [0, 0, 0]]


# -- an own lamp map ---------------------------------------------------------------


def test_an_own_lamp_map_shows_the_room_and_its_readings_on_its_own_pins(
    recipe, station: FakeStation, address
):
    own = recipe("own_lamp_map")
    events = recipe("follow_events").events(address)
    with Lamps("mock", wiring=own.MAP) as lamps:
        following = threading.Thread(target=own.run, args=(events, lamps), daemon=True)
        following.start()

        def lit() -> bool:
            station.pluck("tove", 6, -40.0)
            return lamps.lit()[0][0] > 0.5

        wait_until(lit)

        assert lamps.lit()[0][1:] == (0.0,) * 4
        names = {pin.name for pin in lamps.pin_factory.pins}
        assert names == {f"GPIO{lamp.bcm}" for lamp in own.MAP.lamps}


@pytest.mark.parametrize("name", sorted(path.stem for path in RECIPES.glob("*.toml")))
def test_the_lamps_of_a_recipes_settings_are_lit_one_by_one(name, capsys):
    path = RECIPES / f"{name}.toml"

    assert run_lamps_test(path, "mock", 0.02, as_json=False) == 0

    wiring = load_settings(path).lamps.wiring()
    said = capsys.readouterr().out.splitlines()
    assert remarks(wiring) == []
    for line, lamp in zip(said[1:], wiring.lamps, strict=False):
        assert line.startswith(lamp.name)
        assert f"GPIO {lamp.bcm} " in line


def test_three_lamps_hang_on_the_same_pins_with_and_without_a_program():
    pins = load_settings(RECIPES / "three_lamps.toml").lamps.column
    program = (RECIPES / "three_lamps.py").read_text()

    assert f"lamps = [{', '.join(f'PWMLED({bcm})' for bcm in pins)}]" in program


# -- following events --------------------------------------------------------------


def test_following_uses_the_standard_library_alone():
    tree = ast.parse((RECIPES / "follow_events.py").read_text())
    imported = {
        name.name.partition(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for name in node.names
    }

    assert imported <= set(sys.stdlib_module_names)
    assert not [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]


def test_following_gives_the_room_first_then_what_is_played(recipe, station, address):
    events = recipe("follow_events").events(address)

    kind, room = next(events)
    station.hub.publish("note", "tove", NOTE)
    found = next(said for each, said in events if each == "note")
    events.close()

    assert kind == "room"
    assert room["players"]
    assert found == NOTE


def test_a_station_that_is_away_is_asked_again(recipe, monkeypatch, capsys):
    follow_events = recipe("follow_events")
    monkeypatch.setattr(follow_events, "AGAIN_S", 0)
    answers = iter([OSError("no route"), [("room", {})], [("note", NOTE)]])

    def events(_: str) -> Any:
        answer = next(answers)
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr(follow_events, "events", events)
    following = follow_events.follow("http://192.0.2.7:8000")

    assert [next(following), next(following)] == [("room", {}), ("note", NOTE)]
    assert "The station is away: no route" in capsys.readouterr().err


def test_an_address_without_a_stream_ends_it(recipe, address):
    import urllib.error

    following = recipe("follow_events").follow(f"{address}/nothing")

    with pytest.raises(urllib.error.HTTPError):
        next(following)


# -- as scripts --------------------------------------------------------------------


def begin(name: str, *arguments: str) -> subprocess.Popen[str]:
    mock = {"GPIOZERO_PIN_FACTORY": "mock", "GPIOZERO_MOCK_PIN_CLASS": "mockpwmpin"}
    return subprocess.Popen(
        # A program started in the background of a shell would ignore the interrupt.
        ["env", "--default-signal=INT", sys.executable, str(RECIPES / f"{name}.py"), *arguments],
        env=os.environ | mock,
        cwd="/",
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM], ids=lambda each: each.name)
def test_every_recipe_runs_as_a_script_and_ends_when_told_to(station, address, name, end):
    more = ["--mock"] if name == "own_lamp_map" else []
    running = begin(name, address, *more)
    try:
        wait_until(lambda: running.poll() is not None or station.hub.streams)
        station.hub.publish("note", "tove", NOTE)
        if name == "follow_events":
            assert running.stdout is not None
            assert running.stdout.readline() == "tove A2 +1.2 cents\n"
        running.send_signal(end)
        _, complaints = running.communicate(timeout=LIMIT_S)
    finally:
        running.kill()
        running.communicate()

    ended = (0, -signal.SIGTERM) if end == signal.SIGTERM else (0,)
    assert running.returncode in ended
    assert "Traceback" not in complaints
