"""`station label`: what is printed, written, said besides and refused."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from station.commands import label as module
from station.commands.label import ADDRESS_SIGNS

OWN = ["http://192.0.2.7:8000", "http://cellar.local:8000", "http://localhost:8000"]


@pytest.fixture(autouse=True)
def known_addresses(monkeypatch) -> list[str]:
    addresses = list(OWN)
    monkeypatch.setattr(module, "page_addresses", lambda host, port: addresses)
    return addresses


@pytest.fixture
def config(tmp_path) -> Path:
    path = tmp_path / "settings.toml"
    path.write_text('[station]\nname = "Cellar room"\nroom_code = "elm-35"\n')
    return path


def test_a_label_with_name_addresses_and_code_is_printed(command, config):
    done = command("label", "--config", config)

    assert done.exit_code == 0
    ElementTree.fromstring(done.stdout)
    for said in ("Cellar room", OWN[0], OWN[1], "elm-35"):
        assert f">{said}</text>" in done.stdout
    assert "localhost" not in done.stdout


def test_that_a_numeric_address_may_change_is_said_in_one_line(command, config):
    (line,) = command("label", "--config", config).stderr.splitlines()

    assert line.startswith("station: http://192.0.2.7:8000 is the box's address now")


def test_a_given_address_is_printed_as_it_is_and_nothing_is_said(command, config):
    done = command("label", "--config", config, "--address", "http://cellar.example:81/x")

    assert ">http://cellar.example:81/x</text>" in done.stdout
    assert "192.0.2.7" not in done.stdout
    assert done.stderr == ""


def test_the_code_can_be_left_out(command, config):
    done = command("label", "--config", config, "--no-code", "--address", "http://a.example")

    assert "elm-35" not in done.stdout
    assert (done.exit_code, done.stderr) == (0, "")


def test_without_a_room_code_in_the_settings_that_is_said(command):
    done = command("label", "--address", "http://a.example")

    assert done.exit_code == 0
    assert "Room code" not in done.stdout
    assert "set room_code in [station]" in done.stderr


@pytest.mark.parametrize(
    ("name", "begins"), [("a.svg", "<svg"), ("a.html", "<!doctype"), ("A.HTM", "<!doctype")]
)
def test_the_files_ending_says_what_is_written(command, config, tmp_path, name, begins):
    done = command("label", "--config", config, "--output", tmp_path / name)

    assert (done.exit_code, done.stdout) == (0, "")
    assert (tmp_path / name).read_text(encoding="utf-8").startswith(begins)


def test_the_format_can_be_said(command, config, tmp_path):
    command("label", "--config", config, "--format", "html", "--output", tmp_path / "label.txt")

    assert (tmp_path / "label.txt").read_text(encoding="utf-8").startswith("<!doctype")


def test_an_unknown_ending_is_refused_before_anything_is_written(command, config, tmp_path):
    done = command("label", "--config", config, "--output", tmp_path / "label.pdf")

    assert done.exit_code == 2
    assert "call it .svg or .html" in done.stderr
    assert not (tmp_path / "label.pdf").exists()


def test_a_file_that_cannot_be_written_is_one_line(command, config, tmp_path):
    done = command("label", "--config", config, "--output", tmp_path / "none" / "label.svg")

    assert done.exit_code == 1
    assert "cannot be written: No such file or directory" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    "address",
    [
        "", "cellar", "ftp://192.0.2.7", "http://", "http://192.0.2.7:99999", "http://192.0.2.7:0",
        "http://[::1", "http://a b", "http://a\nb", "http://café.example", "javascript:alert(1)",
        "http://127.0.0.1:8000", "http://localhost", "http://[::1]:8000",
        "http://a/" + ADDRESS_SIGNS * "a",
    ],
)  # fmt: skip
def test_an_address_that_leads_no_phone_here_is_refused_in_one_line(command, config, address):
    done = command("label", "--config", config, "--address", address)

    assert done.exit_code == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1


def test_a_box_without_a_network_is_said_with_the_remedy(command, config, known_addresses):
    known_addresses[:] = ["http://localhost:8000", "http://127.0.0.1:8000"]

    done = command("label", "--config", config)

    assert done.exit_code == 1
    assert "connect it to the room's network, or say --address" in done.stderr


def test_a_page_for_this_box_alone_has_no_label(command, config, known_addresses):
    known_addresses[:] = ["http://127.0.0.1:8000"]
    config.write_text('[page]\nhost = "127.0.0.1"\n')

    done = command("label", "--config", config)

    assert done.exit_code == 2
    assert 'set host = "0.0.0.0" in [page]' in done.stderr


def test_faults_in_the_settings_are_told_as_anywhere(command, tmp_path):
    done = command("label", "--config", tmp_path / "none.toml")

    assert done.exit_code == 2
    assert "there is no such file" in done.stderr
