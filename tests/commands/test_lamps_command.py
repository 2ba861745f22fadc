"""`station lamps test` and `station lamps buttons`: what they say, light, feel and refuse."""

from __future__ import annotations

import json
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from station.commands import lamps as module
from station.commands.lamps import ending, run_buttons, run_lamps_test
from station.errors import LampError
from station.lamps import lights
from station.lamps.chip import mock_factory
from station.lamps.lamps import Lamps
from station.lamps.pins import BAND, COLUMN, QUIET_BUTTON, REFERENCE_BUTTON
from tests.support.page_client import wait_until


@pytest.fixture
def factory(monkeypatch) -> Iterator[Any]:
    """The mock pins that the commands get, for the test to look at and press."""
    made = mock_factory()
    monkeypatch.setattr(module, "mock_factory", lambda: made)
    monkeypatch.setattr(lights, "mock_factory", lambda: made)
    yield made
    made.close()


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


# -- lamps ---------------------------------------------------------------------


def test_every_lamp_is_named_with_its_pin_bottom_to_top_then_the_signs(command):
    done = command("lamps", "test", "--pins", "mock", "--seconds", "0.02")

    lines = done.stdout.splitlines()
    assert done.exit_code == 0
    assert lines[0].startswith("Mock pins: nothing is lit")
    for line, lamp in zip(lines[1:], (*COLUMN, BAND), strict=False):
        assert line.startswith(lamp.name)
        assert f"GPIO {lamp.bcm} " in line
        assert line.endswith(f"header pin {lamp.header}")
    assert [line.split("  ")[0] for line in lines[9:]] == [
        "flat", "listening", "surer", "agreed", "roll call", "in", "quiet",
    ]  # fmt: skip


def test_as_json_every_lamp_and_sign_is_an_object_a_line(command):
    done = command("lamps", "test", "--pins", "mock", "--seconds", "0.02", "--json")

    said = objects(done.stdout)
    assert [each["kind"] for each in said] == ["lamp"] * 8 + ["sign"] * 7
    assert said[0] == {
        "kind": "lamp",
        "name": "far flat",
        "colour": "amber",
        "bcm": 5,
        "header": 29,
        "resistor_ohm": 330,
    }


def test_each_lamp_is_really_lit_while_it_is_named_and_all_go_dark_at_the_end(
    factory, monkeypatch, capsys
):
    lit: list[tuple[float, ...]] = []
    write = lights.Lights.write

    def remember(self: lights.Lights, column: Any, band: float) -> None:
        write(self, column, band)
        values = self.values()
        lit.append((*values[0], values[1]))

    monkeypatch.setattr(lights.Lights, "write", remember)
    monkeypatch.setattr("station.lamps.walk.SIGN_LAMPS", 0.1)
    code = run_lamps_test(None, "mock", 0.25, as_json=True)

    assert code == 0
    for place in range(8):
        assert tuple(float(each == place) for each in range(8)) in lit
    freed = lights.Lights("mock")  # which it could not be while another holds the pins
    assert freed.values() == ((0.0,) * 7, 0.0)
    freed.close()
    assert len(capsys.readouterr().out.splitlines()) == 15


def test_pins_that_another_program_holds_are_one_line_with_the_likely_reason(factory):
    with Lamps("mock"), pytest.raises(LampError, match="such as the station") as refused:
        run_lamps_test(None, "mock", 0.02, as_json=False)

    assert "\n" not in str(refused.value)


def test_a_box_without_gpio_is_one_line_and_exit_code_1(command):
    done = command("lamps", "test", "--pins", "gpio")

    assert done.exit_code == 1
    assert done.stderr.startswith("station: ")
    assert done.stderr.count("\n") == 1


def test_without_pins_those_of_the_settings_are_taken(command, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('[lamps]\nmode = "mock"\n')

    done = command("lamps", "test", "--config", path, "--seconds", "0.02")

    assert done.exit_code == 0
    assert done.stdout.startswith("Mock pins")


@pytest.fixture
def own_pins(tmp_path: Path) -> Path:
    """Settings of a box with three lamps and one button on pins of its own."""
    path = tmp_path / "settings.toml"
    path.write_text(
        '[lamps]\ncolumn = [18, 4, 17]\nband = "none"\nquiet_button = "none"\n'
        "reference_button = 27\n"
    )
    return path


def test_a_builders_own_lamps_are_lit_and_what_may_get_in_their_way_is_said_first(
    factory, capsys, own_pins
):
    assert run_lamps_test(own_pins, "mock", 0.02, as_json=False) == 0

    said = capsys.readouterr().out.splitlines()
    assert "GPIO 18 is used by a sound card" in said[1]
    assert said[2:5] == [
        "flat            amber  GPIO 18  header pin 12",
        "in              white  GPIO 4   header pin 7",
        "sharp           blue   GPIO 17  header pin 11",
    ]
    assert not [line for line in said if line.startswith(("band ", "roll call"))]


def test_a_builders_own_button_is_waited_for(factory, pressed, capsys, own_pins):
    code = pressed(lambda: press(factory, 27, 0.1), own_pins)

    said = capsys.readouterr().out
    assert code == 0
    assert "Press reference (GPIO 27), shortly" in said
    assert "reference: short press" in said
    assert "quiet" not in said


@pytest.mark.parametrize("seconds", ["0", "-1", "11", "nan", "x"])
def test_a_time_that_cannot_be_meant_is_refused(command, seconds):
    done = command("lamps", "test", "--pins", "mock", "--seconds", seconds)

    assert done.exit_code == 2
    assert done.stdout == ""


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM], ids=lambda each: each.name)
def test_a_test_that_is_broken_off_ends_in_order(end):
    running = subprocess.Popen(
        [sys.executable, "-m", "station.cli", "lamps", "test", "--pins", "mock", "--seconds", "9"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert running.stdout is not None
        running.stdout.readline()
        running.stdout.readline()
        running.send_signal(end)
        _, complaints = running.communicate(timeout=20)
    finally:
        running.kill()
        running.communicate()

    assert (running.returncode, complaints) == (0, "")


def test_signals_mean_afterwards_what_they_meant_before():
    before = signal.getsignal(signal.SIGTERM)

    with ending():
        assert signal.getsignal(signal.SIGTERM) is not before

    assert signal.getsignal(signal.SIGTERM) is before


# -- buttons -------------------------------------------------------------------


FOREVER_S = 60.0  # a run that somebody ends before
Pressed = Callable[..., int]


@pytest.fixture
def pressed(monkeypatch, factory) -> Pressed:
    """Runs `station lamps buttons` while something is done; its exit code.

    Nothing is done before the command waits for presses, and it ends when what was done
    has been told, however slow the machine.
    """
    waiting: queue.SimpleQueue[tuple[Any, threading.Event]] = queue.SimpleQueue()
    say_presses = module._say_presses

    def say(told: Any, seconds: float, as_json: bool, ended: threading.Event) -> Any:
        waiting.put((told, ended))
        return say_presses(told, seconds, as_json, ended)

    def do_it(do: Callable[[], None]) -> None:
        told, ended = waiting.get(timeout=FOREVER_S)
        try:
            do()
            wait_until(told.empty)
        finally:
            ended.set()

    def run(do: Callable[[], None], config: Path | None = None, as_json: bool = False) -> int:
        doing = threading.Thread(target=do_it, args=[do])
        doing.start()
        code = run_buttons(config, "mock", FOREVER_S, as_json)
        doing.join()
        return code

    monkeypatch.setattr(module, "_say_presses", say)
    return run


def press(factory: Any, bcm: int, seconds: float) -> None:
    pin = factory.pin(bcm)
    pin.drive_low()
    time.sleep(seconds)
    pin.drive_high()


def test_presses_are_told_short_or_long_and_counted(factory, pressed, monkeypatch, capsys):
    monkeypatch.setattr("station.lamps.press.LONG_S", 1.0)
    monkeypatch.setattr("station.lamps.buttons.LONG_S", 1.0)

    def do() -> None:
        press(factory, QUIET_BUTTON.bcm, 0.1)
        press(factory, QUIET_BUTTON.bcm, 0.1)
        press(factory, REFERENCE_BUTTON.bcm, 1.5)

    code = pressed(do, as_json=True)

    said = objects(capsys.readouterr().out)
    assert code == 0
    assert [(each["button"], each.get("press")) for each in said] == [
        ("quiet", "short"),
        ("quiet", "short"),
        ("reference", "long"),
        ("quiet", None),
        ("reference", None),
    ]
    assert 0.1 <= said[0]["seconds"] < 1.0 <= said[2]["seconds"]
    assert [(each["presses"], each["stuck"]) for each in said[3:]] == [(2, False), (1, False)]


def test_people_read_each_press_and_which_button_was_not_pressed(factory, pressed, capsys):
    code = pressed(lambda: press(factory, QUIET_BUTTON.bcm, 0.1))

    lines = capsys.readouterr().out.splitlines()
    assert code == 0
    assert lines[1].startswith("Press quiet (GPIO 22) and reference (GPIO 23)")
    assert lines[2].startswith("quiet: short press (0.")
    assert lines[3].endswith("1 press")
    assert "no press: if you did press it, look for a loose wire" in lines[4]


def test_a_button_that_stays_down_is_told_and_ends_with_exit_code_1(
    factory, pressed, monkeypatch, capsys, caplog
):
    for name in ("press.LONG_S", "buttons.LONG_S"):
        monkeypatch.setattr(f"station.lamps.{name}", 0.05)
    monkeypatch.setattr("station.lamps.press.STUCK_S", 0.1)

    def do() -> None:
        factory.pin(QUIET_BUTTON.bcm).drive_low()
        wait_until(lambda: "held down or stuck" in caplog.text)
        time.sleep(0.1)  # logged, then told

    code = pressed(do)

    text = capsys.readouterr().out
    assert code == 1
    assert "The quiet button is held down or stuck" in text
    assert "free it, or see whether its wire touches ground" in text.splitlines()[-2]


def test_buttons_that_are_not_wired_are_said(factory, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('[lamps]\nquiet_button = "none"\nreference_button = "none"\n')

    with pytest.raises(LampError, match="there is no button"):
        run_buttons(path, "mock", 0.1, as_json=False)


def test_buttons_that_another_program_holds_are_one_line(factory):
    holding = Lamps("mock", on_quiet_button=lambda: None)
    try:
        with pytest.raises(LampError, match="a button's pin cannot be used"):
            run_buttons(None, "mock", 0.1, as_json=False)
    finally:
        holding.stop()
