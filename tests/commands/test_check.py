"""`station check`: every item ok, remarked on or at fault, each with its remedy."""

from __future__ import annotations

import errno
import json
import shutil
import socket
import tempfile
from collections.abc import Callable, Iterator
from ipaddress import IPv4Address
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from station.box_health import Supply
from station.commands import check_board, check_box, check_clock, check_input, check_running
from station.commands.check_box import look_at_dependencies, look_at_lamps, look_at_storage
from station.commands.check_input import broken_input, line_item
from station.commands.check_item import Item
from station.daemon import TunerStation
from station.demo import demo_settings
from station.errors import LineInputError, ToneError
from station.lamps import lamps
from station.lamps.lights import Lights
from station.lamps.wiring import own_wiring
from station.probe import Probe
from station.room.mains import REMEDY
from station.settings import Settings, load_settings
from station.sound.blocks import InputState
from station.system_clock import ClockState
from tests.measure.test_hum import hum as hum_of_rms_1
from tests.support.hand_input import HandInput
from tests.support.page_client import PATIENCE_S
from tests.support.station_process import free_port

RATE_HZ = 48_000
CODE = "hemlock-9"

WriteSettings = Callable[..., Path]


@pytest.fixture(autouse=True)
def in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """A box in order, whatever the machine is that the tests run on."""
    monkeypatch.setattr(check_clock, "ask_system", lambda: ClockState(True, "chrony", 0.0004))
    monkeypatch.setattr(check_board, "temperature_c", lambda _: 51.0)
    monkeypatch.setattr(check_board, "supply", lambda *_, **__: Supply(False))
    monkeypatch.setattr(check_board, "memory_bytes", lambda _: (251_000_000, 479_000_000))


@pytest.fixture
def write(tmp_path: Path) -> WriteSettings:
    """Settings of a station on a free port, without lamps, that listens to `device`."""

    def make(device: str = "tape", channels: int = 2, port: int | None = None) -> Path:
        path = tmp_path / "settings.toml"
        path.write_text(
            f'[station]\nroom_code = "{CODE}"\ndata_dir = "{tmp_path / "state"}"\n'
            f'[input]\ndevice = "{device}"\nchannels = {channels}\n'
            '[tone]\ndevice = "off"\n'
            f'[page]\nhost = "127.0.0.1"\nport = {port or free_port()}\n'
            '[lamps]\nmode = "off"\n'
            '[[players]]\nname = "Tove"\ninstrument = "guitar"\nline = 1\n'
            '[[players]]\nname = "Brannock"\ninstrument = "bass"\nline = 2\n'
        )
        return path

    return make


@pytest.fixture
def look(command) -> Callable[[Path], tuple[dict[str, dict[str, Any]], int]]:
    """What `check --json` finds, by item, and its exit code."""

    def run(config: Path) -> tuple[dict[str, dict[str, Any]], int]:
        done = command("check", "--config", config, "--json")
        assert done.stderr == ""
        said = [json.loads(line) for line in done.stdout.splitlines()]
        for each in said:
            of_lines = ["hum_hz", "hum_dbfs"] if each["item"].startswith("line ") else []
            assert list(each) == ["kind", "item", "state", "found", "remedy", *of_lines]
            assert each["kind"] == "check"
            assert (each["remedy"] is None) == (each["state"] == "ok")
            assert "\n" not in f"{each['found']}{each['remedy']}"
        assert CODE not in done.stdout
        return {each["item"]: each for each in said}, done.exit_code

    return run


def raw(*lines: np.ndarray) -> bytes:
    """Lines side by side as 16-bit frames."""
    return np.round(np.column_stack(lines) * 32767).astype("<i2").tobytes()


def tone(amplitude: float, seconds: float = 6.0) -> np.ndarray:
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    return np.clip(amplitude * np.sin(2 * np.pi * 220 * t), -1, 1)


# -- a box without a running station ------------------------------------------


def test_the_inputs_there_are_are_named_as_the_settings_want_them(monkeypatch):
    names = ["hw:CARD=Lines,DEV=0", "hw:CARD=Lines,DEV=1"]
    monkeypatch.setattr(check_input, "capture_names", lambda: names)
    several = check_input.look_at_cards()
    monkeypatch.setattr(check_input, "capture_names", list)
    none = check_input.look_at_cards()

    assert several == Item("cards", "ok", "hw:CARD=Lines,DEV=0, hw:CARD=Lines,DEV=1")
    assert (none.state, none.found) == ("ok", "the kernel knows no sound card with an input")


@pytest.mark.parametrize("option", [[], ["--show-code"]])
def test_the_room_code_is_shown_to_whoever_asks_for_it_and_masked_otherwise(command, write, option):
    shown = command("check", "--config", write(), *option).stdout

    assert (CODE in shown) == (option != [])


def test_a_box_in_order_has_nothing_to_remedy(look, write, feed):
    feed(raw(tone(0.3), tone(0.1)))

    items, code = look(write())

    assert code == 0
    assert {name: each["state"] for name, each in items.items() if name != "network"} == {
        "python": "ok",
        "packages": "ok",
        "temperature": "ok",
        "power": "ok",
        "memory": "ok",
        "settings": "ok",
        "storage": "ok",
        "incidents": "ok",
        "cards": "ok",
        "page port": "ok",
        "clock": "ok",
        "tracker": "ok",
        "lamps": "ok",
        "tone": "ok",
        "input": "ok",
        "line 1": "ok",
        "line 2": "ok",
    }


def test_the_level_of_each_line_is_measured(look, write, feed):
    feed(raw(tone(0.3), tone(0.1)))

    items, _ = look(write())

    # A sine's rms is its peak less 3.01 dB; 0.3 is -10.5 dBFS, 0.1 is -20.0 dBFS (arithmetic).
    assert items["line 1"]["found"] == "Tove: signal, -13.5 dBFS, peak -10.5 dBFS"
    assert items["line 2"]["found"] == "Brannock: signal, -23.0 dBFS, peak -20.0 dBFS"


def test_what_is_wrong_with_a_line_is_said_with_its_remedy(look, write, feed):
    silence = np.zeros(6 * RATE_HZ)
    feed(raw(tone(3.0), silence, tone(0.1) + 0.05, silence))

    items, code = look(write(channels=4))

    assert code == 0
    assert "clipping" in items["line 1"]["found"]
    assert "gain" in items["line 1"]["remedy"]
    assert "no signal" in items["line 2"]["found"]
    assert "plug Brannock in" in items["line 2"]["remedy"]
    assert "DC of +5.0 % of full scale" in items["line 3"]["found"]
    assert items["line 4"]["state"] == "ok"
    assert items["line 4"]["found"].startswith("nobody: no signal")


def test_several_troubles_of_a_line_are_all_said():
    level = {"line": 3, "rms_dbfs": -1.0, "peak_dbfs": 0.0, "dc": -0.2, "clipped": True}

    item = line_item(level | {"state": "signal"}, "Tove")

    assert item.found.endswith("clipping, DC of -20.0 % of full scale")
    assert item.remedy is not None
    assert "; " in item.remedy


def hum(level_dbfs: float, seconds: float = 6.0) -> np.ndarray:
    return 10 ** (level_dbfs / 20) * hum_of_rms_1(50.03, seconds, RATE_HZ)


def test_the_hum_of_every_line_is_told_and_loud_hum_with_what_helps(look, write, feed):
    feed(raw(hum(-41.2), hum(-58.0), tone(0.1) + hum(-58.0)))

    items, code = look(write(channels=3))

    loud, soft, hidden = (items[f"line {line}"] for line in (1, 2, 3))
    assert code == 0
    assert loud["state"] == "remark"
    assert "mains hum 50.03 Hz, -41.2 dBFS, the hum is loud" in loud["found"]
    assert loud["remedy"] == REMEDY
    assert (loud["hum_hz"], loud["hum_dbfs"]) == pytest.approx((50.03, -41.2), abs=0.1)
    assert (soft["state"], soft["remedy"]) == ("ok", None)
    assert soft["found"].endswith("mains hum 50.03 Hz, -58.0 dBFS")
    assert (hidden["hum_hz"], hidden["hum_dbfs"]) == (None, None)
    assert "hum" not in hidden["found"]


def test_too_little_of_a_line_tells_no_hum():
    samples = hum(-41.2, 0.1).astype(np.float32)

    assert check_input.hum_of(samples, RATE_HZ) == {}


def test_a_missing_input_is_a_fault_that_lists_what_there_is(look, write, feed):
    feed(raw(tone(0.3), tone(0.3)))

    items, code = look(write("hw:CARD=Gone,DEV=0"))

    assert code == 1
    assert items["input"]["state"] == "fault"
    assert "no input device hw:CARD=Gone,DEV=0" in items["input"]["found"]
    assert "tape" in items["input"]["found"]
    assert "line 1" not in items


def test_an_input_named_by_a_number_is_a_fault_of_the_settings(look, write):
    items, code = look(write("hw:0,0"))

    assert code == 1
    assert "is an index" in items["settings"]["found"]
    assert items["settings"]["remedy"] == "correct the settings file"


@pytest.mark.parametrize(
    ("device", "outputs", "state", "said"),
    [
        ("off", [], "ok", "switched off"),
        ("hw:CARD=Codec2,DEV=0", [("hw:CARD=Codec2,DEV=0", 2)], "ok", "comes out of hw:CARD"),
        ("default", [("hw:CARD=Codec2,DEV=0", 2)], "ok", "comes out of default"),
        ("default", [], "remark", "there is none at all"),
        ("hw:CARD=Gone,DEV=0", [("hw:CARD=Codec2,DEV=0", 2)], "remark", "no output hw:CARD=Gone"),
    ],
)
def test_where_the_tone_would_come_out_is_told(monkeypatch, device, outputs, state, said):
    monkeypatch.setattr(check_input, "list_outputs", lambda: outputs)

    item = check_input.look_at_tone(device)

    assert item.state == state
    assert said in item.found


def test_outputs_that_cannot_be_listed_are_remarked_on(monkeypatch):
    def fail() -> None:
        raise ToneError("the sound system did not answer within 6 s")

    monkeypatch.setattr(check_input, "list_outputs", fail)

    assert check_input.look_at_tone("default").state == "remark"


@pytest.mark.parametrize(
    ("told", "state"),
    [
        ({"state": "ready", "reason": None}, "ok"),
        ({"state": "off", "reason": "switched off"}, "ok"),
        ({"state": "failed", "reason": "the card is gone"}, "remark"),
    ],
)
def test_a_running_station_tells_of_its_tone(told, state):
    assert check_running.tone_item({"tone_out": told}).state == state


def test_overruns_while_listening_are_remarked_on():
    assert check_input.input_item("tape", 0).state == "ok"
    item = check_input.input_item("tape", 3)

    assert item.state == "remark"
    assert "3 overruns" in item.found


def test_faulty_settings_are_told_line_by_line_and_the_rest_is_not_guessed(look, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(f'[station]\nroom_code = "{CODE}\\u0007"\na4_hz = 4400\n')

    items, code = look(path)

    assert code == 1
    assert items["settings"]["state"] == "fault"
    assert "settings.toml:3: station.a4_hz" in items["settings"]["found"]
    assert (items["clock"]["state"], items["tracker"]["state"]) == ("ok", "ok")
    for name in ("input", "lamps", "storage", "page port"):
        assert items[name]["found"] == "not looked at: the settings cannot be read"


def test_a_settings_file_without_a_room_code_is_remarked_on(look, write, feed):
    feed(raw(tone(0.3), tone(0.3)))
    path = write()
    path.write_text(path.read_text().replace(f'room_code = "{CODE}"\n', ""))

    items, code = look(path)

    assert code == 0
    assert items["settings"]["state"] == "remark"
    assert "room_code" in items["settings"]["remedy"]


def test_for_people_the_remedy_stands_below_and_the_end_counts(command, write, feed):
    feed(raw(tone(3.0), tone(0.1)))

    done = command("check", "--config", write("hw:CARD=Gone,DEV=0"))

    lines = done.stdout.splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith("fault   input"))
    assert lines[place + 1].strip().startswith("-> plug it in")
    assert lines[-1].startswith("1 fault, ")
    assert CODE not in done.output


def test_checking_leaves_nothing_behind(look, write, feed, tmp_path):
    feed(raw(tone(0.3), tone(0.3)))
    path = write()
    before = sorted(tmp_path.rglob("*"))

    items, _ = look(path)

    assert sorted(tmp_path.rglob("*")) == before
    assert "to be made at the first start" in items["storage"]["found"]


# -- the page's port ----------------------------------------------------------


def test_a_port_in_use_by_another_program_is_a_fault(look, write, monkeypatch):
    monkeypatch.setattr(check_running, "ANSWER_LIMIT_S", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as other:  # takes connections, never answers
        items, code = look(write("hw:CARD=Gone,DEV=0", port=other.getsockname()[1]))

    assert code == 1
    assert items["page port"]["state"] == "fault"
    assert "is in use" in items["page port"]["found"]


def test_an_address_that_is_not_this_boxs_is_a_fault(monkeypatch):
    def refuse(*_: object) -> None:
        raise ConnectionRefusedError

    monkeypatch.setattr(check_running, "_get", refuse)

    # 203.0.113.0/24 is for documentation (RFC 5737): no box has it.
    item, room = check_running.look_at_port("203.0.113.5", 8000)

    assert (item.state, room) == ("fault", None)
    assert "cannot be served on 203.0.113.5 port 8000" in item.found


def test_a_page_that_is_not_ours_is_not_taken_for_a_station(monkeypatch):
    monkeypatch.setattr(check_running, "_get", lambda *_: {"status": "ok"})
    with socket.create_server(("127.0.0.1", 0)) as other:
        item, room = check_running.look_at_port("127.0.0.1", other.getsockname()[1])

    assert (item.state, room) == ("fault", None)


# -- a box whose station runs ---------------------------------------------------


@pytest.fixture
def hand() -> HandInput:
    return HandInput()


@pytest.fixture
def running(write, hand, monkeypatch) -> Iterator[tuple[Path, TunerStation]]:
    """A station that runs on the settings; its input is the test's own hand."""
    monkeypatch.setattr(check_running, "ANSWER_LIMIT_S", PATIENCE_S)  # however busy the machine
    config = write()
    settings = load_settings(config)
    with TunerStation(settings, hand, Probe("numpy", "aubio crashes here")) as station:
        yield config, station


@pytest.fixture
def hands_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening the device or the pins fails the test."""

    def taken(*_: object, **__: object) -> None:
        raise AssertionError("the running station's device and pins are its own")

    monkeypatch.setattr(check_input, "LineInput", taken)
    monkeypatch.setattr(check_box, "Lamps", taken)


def test_a_running_station_is_asked_and_its_device_left_alone(look, running, hand, hands_off):
    config, station = running
    hand.play(np.column_stack([tone(0.3, 0.5), tone(0.1, 0.5)]), station.listening)

    items, code = look(config)

    assert code == 0
    assert "station 0." in items["page port"]["found"]
    assert items["page port"]["state"] == "ok"
    assert items["input"]["found"] == "the station listens to by hand"
    assert items["line 1"]["found"] == "Tove: signal, -13.5 dBFS, peak -10.5 dBFS"
    assert items["line 2"]["found"] == "Brannock: signal, -23.0 dBFS, peak -20.0 dBFS"
    assert (items["lamps"]["state"], items["tracker"]["state"]) == ("ok", "remark")
    assert "aubio crashes here" in items["tracker"]["found"]


def test_hum_that_the_running_station_hears_is_passed_on(look, running, hand, hands_off):
    config, station = running
    hand.play(np.column_stack([hum(-41.2, 3.0), tone(0.1, 3.0)]), station.listening)

    items, code = look(config)

    assert code == 0
    assert "mains hum 50.03 Hz, -41.2 dBFS" in items["line 1"]["found"]
    assert (items["line 1"]["state"], items["line 1"]["remedy"]) == ("remark", REMEDY)
    assert items["line 2"]["hum_hz"] is None


def test_an_input_the_running_station_waits_for_is_a_fault(look, running, hand, hands_off):
    config, _ = running
    hand.on_state(InputState("waiting", "by hand", "unplugged, it seems"))

    items, code = look(config)

    assert code == 1
    assert items["input"]["found"] == "unplugged, it seems"


def test_a_line_the_running_station_has_not_heard_yet_is_said_so(look, running, hands_off):
    items, code = look(running[0])

    assert code == 0
    assert items["line 1"]["found"] == "Tove: not heard yet"


def test_what_the_running_station_warns_of_is_passed_on(look, running, hands_off):
    config, station = running
    station.room.add_banner("Not saved: the card is full.")

    items, code = look(config)

    assert code == 0
    assert items["station"]["state"] == "remark"
    assert items["station"]["found"] == "Not saved: the card is full."


def test_a_station_of_another_version_is_to_be_restarted(look, running, hands_off, monkeypatch):
    monkeypatch.setattr(check_running, "__version__", "99.0")

    items, _ = look(running[0])

    assert items["page port"]["remedy"] == "restart the station"


def test_beside_a_demo_the_device_itself_is_looked_at(look, write, hand, feed):
    feed(raw(tone(0.3), tone(0.1)))
    config = write()
    settings = demo_settings(load_settings(config), None, None)
    with TunerStation(settings, hand, Probe("numpy"), simulated=True, keep=False):
        items, code = look(config)

    assert code == 0
    assert items["page port"]["state"] == "remark"
    assert "the demo" in items["page port"]["found"]
    assert items["line 1"]["found"] == "Tove: signal, -13.5 dBFS, peak -10.5 dBFS"


# -- parts of the box ---------------------------------------------------------


def test_packages_missing_or_too_old_are_faults_unless_there_is_another_way(monkeypatch):
    required = [
        "numpy>=1.0",
        "click>=99.1",
        "no-such-thing>=1.0",
        "aubio>=99",
        'x>=1; extra == "d"',
    ]
    monkeypatch.setattr("importlib.metadata.requires", lambda _: required)

    items = list(look_at_dependencies())

    assert [item.state for item in items] == ["fault", "fault", "remark", "ok"]
    assert items[0].found.endswith("is too old (at least 99.1 is needed)")
    assert items[1].found == "no-such-thing is not installed (at least 1.0 is needed)"
    assert "own numpy tracker" in items[2].found
    assert items[3].found.startswith("numpy ")


def test_every_package_the_station_requires_is_looked_at():
    (item,) = look_at_dependencies()

    for name in ("numpy", "aubio", "PyAudio", "gpiozero", "flask", "gevent", "click", "segno"):
        assert f"{name} " in item.found


def test_a_folder_that_cannot_be_made_is_a_fault(tmp_path):
    (tmp_path / "file").touch()

    item = look_at_storage(tmp_path / "file" / "state")

    assert item.state == "fault"
    assert "cannot be written" in item.found


def test_a_medium_that_turned_read_only_is_a_fault(tmp_path, monkeypatch):
    def refuse(**_: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(tempfile, "TemporaryFile", refuse)

    item = look_at_storage(tmp_path)

    assert item.state == "fault"
    assert "Read-only file system" in item.found


@pytest.mark.parametrize(("free_mb", "state"), [(5, "fault"), (50, "remark"), (5000, "ok")])
def test_storage_that_runs_out_is_told_in_time(tmp_path, monkeypatch, free_mb, state):
    usage = shutil.disk_usage(tmp_path)._replace(free=free_mb * 1_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)

    item = look_at_storage(tmp_path)

    assert item.state == state
    assert f"{free_mb} MB free" in item.found


def test_lamps_that_are_off_or_mock_are_no_fault():
    assert look_at_lamps("off").state == "ok"
    assert look_at_lamps("mock").state == "remark"


def test_a_builders_own_lamps_and_buttons_are_tried_and_their_current_is_told(monkeypatch):
    claimed: list[str] = []

    class Told(Lights):
        def close(self):
            claimed.extend(sorted(pin.name for pin in self.pin_factory.pins))
            return super().close()

    monkeypatch.setattr(lamps, "Lights", lambda _, wiring, **__: Told("mock", wiring))

    plain = look_at_lamps("gpio", wiring=own_wiring([13, 26, 16], quiet_button=22))
    doubtful = look_at_lamps("gpio", wiring=own_wiring([13, 26, 18]))

    assert (plain.state, plain.remedy) == ("ok", None)
    assert plain.found == "lit: every pin can be had; 3 lamps, at most 18 of 50 mA"
    assert claimed == ["GPIO13", "GPIO16", "GPIO22", "GPIO26", "GPIO13", "GPIO18", "GPIO26"]
    assert doubtful.state == "remark"
    assert "sharp: GPIO 18 is used by a sound card on the header" in doubtful.found


@pytest.mark.parametrize(("chips", "state"), [([], "remark"), (["gpiochip0"], "fault")])
def test_lamps_that_cannot_be_lit_are_a_fault_only_where_there_is_gpio(tmp_path, chips, state):
    for chip in chips:
        (tmp_path / chip).touch()

    item = look_at_lamps("gpio", tmp_path)

    assert item.state == state
    assert item.remedy is not None
    assert "[lamps]" in item.remedy


def test_a_box_without_a_network_is_remarked_on(monkeypatch):
    monkeypatch.setattr(check_box, "interface_addresses", lambda: [IPv4Address("127.0.0.1")])

    item = check_box.look_at_network("0.0.0.0")

    assert item.state == "remark"
    assert "no network address" in item.found


def test_a_page_for_this_box_alone_is_remarked_on():
    assert check_box.look_at_network("127.0.0.1").state == "remark"


def test_the_boxs_own_addresses_are_said(monkeypatch):
    own = [IPv4Address("192.0.2.17"), IPv4Address("127.0.0.1")]
    monkeypatch.setattr(check_box, "interface_addresses", lambda: own)

    item = check_box.look_at_network("0.0.0.0")

    assert (item.state, item.found) == ("ok", "this box is 192.0.2.17")


def test_a_device_that_refuses_is_for_the_settings_one_that_is_away_for_the_hand():
    assert broken_input("no", refused=True).remedy == "correct [input] in the settings"
    assert "plug it in" in str(broken_input("no").remedy)


def test_a_device_that_breaks_off_while_listening_is_a_fault(monkeypatch):
    class Broken:
        def __init__(self, *_: object) -> None:
            pass

        def __enter__(self) -> Broken:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def __iter__(self) -> Iterator[None]:
            raise LineInputError("the sound device stopped giving samples")

    monkeypatch.setattr(check_input, "LineInput", Broken)

    (item,) = check_input.look_at_input(Settings().input, Settings().players)

    assert (item.state, item.found) == ("fault", "the sound device stopped giving samples")
