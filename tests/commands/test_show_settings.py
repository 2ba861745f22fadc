"""`station settings`: what holds, secrets masked, every fault at once."""

from __future__ import annotations

import json
import tomllib

SETTINGS = """\
[station]
name = "Cellar room"
room_code = "hemlock-9"
a4_hz = 442.0

[[players]]
name = "Tove"
instrument = "guitar"
tuning = "drop-d"
line = 2
"""


def test_what_is_shown_is_a_settings_file_again(command, tmp_path):
    (tmp_path / "settings.toml").write_text(SETTINGS)

    shown = command("settings", "--config", tmp_path / "settings.toml")

    data = tomllib.loads(shown.stdout)
    assert (shown.exit_code, shown.stderr) == (0, "")
    assert (data["station"]["name"], data["station"]["a4_hz"]) == ("Cellar room", 442.0)
    assert data["players"][0]["tuning"] == "drop-d"
    assert data["input"]["rate_hz"] == 48000


def test_json_says_the_same_on_one_line(command, tmp_path):
    (tmp_path / "settings.toml").write_text(SETTINGS)

    text = command("settings", "--config", tmp_path / "settings.toml").stdout
    line = command("settings", "--config", tmp_path / "settings.toml", "--json").stdout

    assert line.count("\n") == 1
    assert json.loads(line) == {"tunings": []} | tomllib.loads(text)


def test_without_a_file_the_defaults_are_shown(command):
    shown = command("settings")

    assert shown.exit_code == 0
    assert tomllib.loads(shown.stdout)["station"]["a4_hz"] == 440.0


def test_the_room_code_is_never_shown(command, tmp_path):
    (tmp_path / "settings.toml").write_text(SETTINGS)

    for arguments in ((), ("--json",)):
        shown = command("settings", "--config", tmp_path / "settings.toml", *arguments)
        assert "hemlock" not in shown.output


def test_not_even_a_room_code_at_fault_is_shown(command, tmp_path):
    for value in ("4711471147", '"hemlock\\u0007"', f'"{"hemlock" * 20}"'):
        (tmp_path / "settings.toml").write_text(f"[station]\nroom_code = {value}\n")

        shown = command("settings", "--config", tmp_path / "settings.toml")

        assert shown.exit_code == 2
        assert shown.stderr.count("\n") == 1
        assert "settings.toml:2: station.room_code: " in shown.stderr
        assert "hemlock" not in shown.output
        assert "4711" not in shown.output


def test_every_fault_is_told_at_once_with_its_line(command, tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('[station]\na4_hz = 4400\n[input]\nchanels = 2\n[page]\nport = "web"\n')

    shown = command("settings", "--config", path)

    first, second, third = shown.stderr.splitlines()
    assert (shown.exit_code, shown.stdout) == (2, "")
    assert first.startswith(f"station: {path}:2: station.a4_hz: ")
    assert second.startswith(f"station: {path}:4: input.chanels: ")
    assert "channels" in second
    assert third.startswith(f"station: {path}:6: page.port: ")


def test_a_settings_file_that_is_not_there_is_one_line(command, tmp_path):
    shown = command("settings", "--config", tmp_path / "none.toml")

    assert shown.exit_code == 2
    assert shown.stderr == (
        f"station: {tmp_path / 'none.toml'}: there is no such file: is the path right?\n"
    )
