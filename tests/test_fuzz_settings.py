"""Settings files and song tables as no one would write them: refused in one line, or taken."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings

from station.errors import SettingsError
from station.settings import load_settings
from station.toml_file import MAX_BYTES, MAX_DOTS
from tests.bench.bench_fuzz import tables
from tests.support.fuzz import check_settings, check_songs, settings_files

few = hypothesis_settings(max_examples=60, derandomize=True, deadline=None, database=None)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


@given(settings_files)
@few
def test_any_settings_file_is_taken_or_told_line_by_line(folder, raw):
    check_settings(raw, folder)


@given(tables())
@few
def test_any_table_of_songs_is_taken_or_refused_in_one_line(text):
    check_songs(text)


def fault_of(folder: Path, raw: bytes) -> str:
    path = folder / "settings.toml"
    path.write_bytes(raw)
    with pytest.raises(SettingsError) as refused:
        load_settings(path)
    (fault,) = refused.value.faults
    assert "\n" not in fault
    return fault.removeprefix(str(path))


# Each of these kept a parser busy for minutes, ended it in a traceback, or would have.
@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"#" * (MAX_BYTES + 1), ": is larger than 128 KB: is it the right file?"),
        (b"\na = " + b"[" * 60_000, ":2: not TOML: brackets within brackets too deep to be read"),
        (b"# x\n" + b"a." * 5000 + b"a = 1", f":2: 5000 dots in one line: at most {MAX_DOTS}"),
        (b"a = " + b"9" * 100_000, ":1: not TOML: Exceeds the limit (4300 digits)"),
        (b"a = [\n" + b"1,\n" * 40_000, ":1: not TOML: Invalid value"),
    ],
    ids=["large", "brackets", "dots", "digits", "unfinished"],
)
def test_what_would_keep_the_parser_busy_is_refused_with_its_place(tmp_path, raw, said):
    assert fault_of(tmp_path, raw).startswith(said)


def test_a_number_of_any_size_is_shown_in_a_few_signs(tmp_path):
    fault = fault_of(tmp_path, b"[page]\nport = 0x" + b"f" * 100_000)

    assert fault.startswith(":2: page.port: ")
    assert len(fault) < 200


def test_a_thousand_and_more_players_of_one_name_each_get_an_id(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('[[players]]\nname = "Tove"\ninstrument = "guitar"\n' * 1200)

    ids = {player.id for player in load_settings(path).players}

    assert len(ids) == 1200
