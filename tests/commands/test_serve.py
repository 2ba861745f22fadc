"""`station run` and `station demo`: what they refuse, and how they end."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys

import pytest

from tests.support.page_client import ask, event_stream, wait_until
from tests.support.station_process import free_port, station_process


def station(*arguments: object) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, which must end by itself."""
    return subprocess.run(
        [sys.executable, "-m", "station.cli", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_a_demo_with_an_impossible_reference_does_not_begin(command):
    done = command("demo", "--a4", "4400")

    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "ten times" in done.stderr


@pytest.mark.parametrize("name", ["run", "demo"])
def test_a_settings_file_that_is_not_there_is_one_line(command, tmp_path, name):
    done = command(name, "--config", tmp_path / "none.toml")

    assert done.exit_code == 2
    assert done.stderr.count("\n") == 1
    assert "there is no such file" in done.stderr


def test_an_input_named_by_a_number_is_refused_in_one_line(command, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(f'[station]\ndata_dir = "{tmp_path}"\n[input]\ndevice = "hw:0,0"\n')

    done = command("run", "--config", path)

    assert done.exit_code in (1, 2)
    assert done.stderr.count("\n") == 1
    assert "is an index" in done.stderr


@pytest.mark.parametrize("name", ["run", "demo"])
def test_a_port_in_use_is_one_line_and_exit_code_1(tmp_path, name):
    with socket.create_server(("127.0.0.1", 0)) as other:
        path = tmp_path / "settings.toml"
        path.write_text(
            f'[station]\ndata_dir = "{tmp_path / "state"}"\n'
            f'[page]\nhost = "127.0.0.1"\nport = {other.getsockname()[1]}\n'
            '[lamps]\nmode = "off"\n'
        )
        done = station(name, "--config", path)

    assert done.returncode == 1
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert line.startswith("station: port ")
    assert "is in use" in line


@pytest.mark.parametrize("end", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_demo_serves_its_page_and_ends_cleanly_when_told_to(tmp_path, end):
    path = tmp_path / "settings.toml"
    path.write_text('[page]\nhost = "127.0.0.1"\n')
    with station_process("demo", "--config", str(path), "--port", "0", "--a4", "442") as demo:
        port = demo.wait_for_page()
        room = ask(port, "/api/v1/room").json
        demo.process.send_signal(end)
        code = demo.process.wait(20)

    printed = "".join(demo.printed)
    assert room["station"]["simulated"] is True
    assert room["reference"]["a4_hz"] == 442.0
    assert code == 0
    assert "Traceback" not in printed
    assert "Room code" in printed
    assert printed.endswith("Ending.\n")


def test_a_demo_prints_in_the_settings_naming_system_and_answers_in_english(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('[station]\nnote_names = "solfege"\n[page]\nhost = "127.0.0.1"\n')
    note = re.compile(r"^\w+ +string \d +(Do|Re|Mi|Fa|Sol|La|Si)\d +[+-]", re.MULTILINE)
    with station_process("demo", "--config", str(path), "--port", "0") as demo:
        room = ask(demo.wait_for_page(), "/api/v1/room").json
        wait_until(lambda: note.search("".join(demo.printed)))

    assert "Reference: La4 = 440 Hz" in "".join(demo.printed)
    assert room["station"]["note_names"] == "solfege"
    assert [each["note"] for each in room["players"][1]["strings"]] == ["E1", "A1", "D2", "G2"]


def test_a_demo_keeps_nothing(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(f'[station]\ndata_dir = "{tmp_path / "state"}"\n[page]\nhost = "127.0.0.1"\n')
    with station_process("demo", "--config", str(path), "--port", "0") as demo:
        demo.wait_for_page()
        demo.end()

    assert not (tmp_path / "state").exists()


@pytest.mark.timeout(60)  # the stream itself never ends
def test_a_demo_whose_terminal_is_gone_goes_on_listening(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(f'[page]\nhost = "127.0.0.1"\nport = {free_port()}\n')
    demo = subprocess.Popen(
        [sys.executable, "-m", "station.cli", "demo", "--config", str(path)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert demo.stdout is not None
        port = int(demo.stdout.readline().rpartition(":")[2])
        demo.stdout.close()
        with event_stream(port) as stream:
            # The first note is the first thing it fails to print.
            first, second = stream.until("note"), stream.until("note")
        demo.terminate()
        assert demo.wait(20) == 0
        assert demo.stderr is not None
        assert demo.stderr.read() == "Ending.\n"
    finally:
        demo.kill()
        demo.wait()
        demo.stderr.close()

    assert first != second
