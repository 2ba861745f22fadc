"""Settings: every fault at once, each with its line, its key and the nearest valid key."""

from __future__ import annotations

import dataclasses
import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import station
from station.errors import SettingsError, StorageError
from station.lamps.wiring import STANDARD, own_wiring
from station.room.room import Reference, Room
from station.settings import (
    KEYS,
    MASK,
    ROOM_CODE_LETTERS,
    Settings,
    default_settings,
    effective,
    effective_toml,
    load_settings,
    make_room_code,
)

EXAMPLE = Path(station.__file__).parent / "settings_example.toml"


def load(tmp_path: Path, text: str) -> Settings:
    path = tmp_path / "station.toml"
    path.write_text(text, encoding="utf-8")
    return load_settings(path)


def faults(tmp_path: Path, text: str) -> list[str]:
    """The faults, file name shortened, with every one held to be a single line."""
    with pytest.raises(SettingsError) as failed:
        load(tmp_path, text)
    found = failed.value.faults
    assert all("\n" not in fault for fault in found)
    assert str(failed.value) == "\n".join(found)
    return [fault.replace(f"{tmp_path}/", "") for fault in found]


def fault(tmp_path: Path, text: str) -> str:
    (only,) = faults(tmp_path, text)
    return only


def test_the_example_loads_and_says_what_it_shows():
    settings = load_settings(EXAMPLE)

    assert [(p.id, p.instrument, p.tuning, p.line) for p in settings.players] == [
        ("oda", "guitar", "fishing-village", 1),
        ("bram", "bass", "standard", 2),
    ]
    assert [s.note for s in settings.tunings[0].strings] == ["D4", "B3", "G3", "D3", "G2", "C2"]


def test_the_example_shows_every_key_with_what_holds_without_it():
    shown = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))
    default = default_settings()
    loaded = load_settings(EXAMPLE)

    assert {table: set(keys) for table, keys in KEYS.items()} == {
        table: set(content[0]) if isinstance(content, list) else set(content)
        for table, content in shown.items()
    }
    for table in ("station", "input", "page", "lamps"):
        assert getattr(loaded, table) == getattr(default, table)


def test_every_key_that_is_checked_has_a_place_in_the_settings():
    for table in ("station", "input", "page", "lamps"):
        held = {f.name for f in dataclasses.fields(getattr(default_settings(), table))}
        assert set(KEYS[table]) == held


def test_an_empty_file_means_the_defaults(tmp_path):
    assert load(tmp_path, "") == default_settings()


@pytest.mark.parametrize(("user", "there"), [(0, True), (1000, True), (0, False)])
def test_root_means_the_installed_services_folder(monkeypatch, tmp_path, user, there):
    folder = tmp_path / "service"
    if there:
        folder.mkdir()
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    monkeypatch.setattr("station.settings_model.SERVICE_FOLDER", folder)
    monkeypatch.setattr("station.settings_model.os.geteuid", lambda: user)

    assert (default_settings().data_dir() == folder) == (user == 0 and there)


@pytest.mark.parametrize("device", ["hw:CARD=Codec2,DEV=0", "default", "OFF"])
def test_a_card_is_taken_by_its_name_and_off_however_it_is_written(tmp_path, device):
    settings = load(tmp_path, f"[tone]\ndevice = '{device}'")

    assert settings.tone.device == device.replace("OFF", "off")


@pytest.mark.parametrize("names", ["english", "german", "solfege"])
def test_each_naming_system_is_taken_and_shown_while_tunings_stay_english(tmp_path, names):
    settings = load(tmp_path, f"[station]\nnote_names = '{names}'\n{BASS_TUNING}")

    assert settings.station.note_names == names
    assert effective(settings)["station"]["note_names"] == names
    assert effective(load(tmp_path, effective_toml(settings))) == effective(settings)
    assert effective(settings)["tunings"][0]["notes"] == ["Eb1", "Ab1", "Db2", "B2"]


BASS_TUNING = """\
[[tunings]]
name = "Odd"
instrument = "bass"
notes = ["eb1", "A♭1", "Db2", "B2"]
"""


def test_settings_make_a_room(tmp_path):
    settings = load_settings(EXAMPLE)

    room = Room(
        settings.players,
        Reference(settings.station.a4_hz),
        settings.input.channels,
        settings.station.in_cents,
        instruments=settings.instruments(),
    )

    oda = room.snapshot(0.0)["players"][0]
    assert oda["tuning_label"] == "Fishing village"
    assert [s["note"] for s in oda["strings"]] == ["C2", "G2", "D3", "G3", "B3", "D4"]


def test_every_fault_is_reported_at_once_in_the_order_of_the_file(tmp_path):
    text = """\
[station]
a4_hz = 4400
nam = "Cellar"

[input]
sample_rate = 48000
rate_hz = 44000
channels = 2

[pages]
port = 80

[[players]]
name = "Oda"
instrument = "gitar"
line = 3

[[players]]
instrument = "bass"
tuning = "drop-q"
"""

    found = faults(tmp_path, text)

    assert [entry.split(": ")[:2] for entry in found] == [
        ["station.toml:2", "station.a4_hz"],
        ["station.toml:3", "station.nam"],
        ["station.toml:6", "input.sample_rate"],
        ["station.toml:7", "input.rate_hz"],
        ["station.toml:10", "pages"],
        ["station.toml:15", "players.instrument"],
        ["station.toml:16", "players.line"],
        ["station.toml:18", "players.name"],
        ["station.toml:20", "players.tuning"],
    ]
    assert "440 Hz" in found[0]
    assert "nearest valid key is name" in found[1]
    assert "nearest valid key is sample_format" in found[2]
    assert "nearest is 44100" in found[3]
    assert "nearest valid key is page" in found[4]
    assert "guitar" in found[5]
    assert "1 to 2" in found[6]
    assert "missing" in found[7]
    assert "nearest is drop-d" in found[8]


@pytest.mark.parametrize(
    ("text", "line", "key", "says"),
    [
        ("a4_hz = 442", 1, "a4_hz", "belongs to [station]"),
        ("\nstatoin = 3", 2, "statoin", "nearest valid key is station"),
        ("zzzz = 1", 1, "zzzz", "valid keys are station, input"),
        ("chanels = 1", 1, "chanels", "channels in [input]"),
        ("station = 3", 1, "station", "write [station]"),
        ("[players]\nname = 'Oda'", 1, "players", "write [[players]]"),
        ("players = [1]", 1, "players", "write [[players]]"),
        ("players = 3", 1, "players", "write [[players]]"),
        ("[input]\nport = 1", 2, "input.port", "belongs to [page]"),
        ("[input]\n\nqqqq = 1", 3, "input.qqqq", "valid keys are device"),
        ("[station]\nname = ''", 2, "station.name", "at least 1"),
        ("[station]\nname = 3", 2, "station.name", "not text"),
        (f"[station]\nname = '{'x' * 61}'", 2, "station.name", "limit is 60"),
        ('[station]\nname = "a\\u0007b"', 2, "station.name", "control"),
        ("[station]\nroom_code = 1234", 2, "station.room_code", "not text"),
        ("[station]\ndata_dir = 1", 2, "station.data_dir", "folder"),
        ('[station]\ndata_dir = "a\\u0007b"', 2, "station.data_dir", "folder"),
        ("[station]\ndata_dir = '~nobody-here/x'", 2, "station.data_dir", "no home folder"),
        ("[station]\na4_hz = '440'", 2, "station.a4_hz", "390 to 470"),
        ("[station]\na4_hz = nan", 2, "station.a4_hz", "390 to 470"),
        ("[station]\na4_hz = true", 2, "station.a4_hz", "390 to 470"),
        ("[station]\nin_cents = 0", 2, "station.in_cents", "0.5 to 10 cents"),
        ("[station]\nin_cents = inf", 2, "station.in_cents", "0.5 to 10 cents"),
        ("[station]\nin_cents = true", 2, "station.in_cents", "0.5 to 10 cents"),
        ("[station]\nnote_names = 'solfège'", 2, "station.note_names", "nearest is solfege"),
        ("[station]\nnote_names = 'germna'", 2, "station.note_names", "nearest is german"),
        ("[station]\nnote_names = 3", 2, "station.note_names", '"english", "german", "solfege"'),
        ("[station]\nnote_name = 'german'", 2, "station.note_name", "valid key is note_names"),
        ("[input]\ndevice = '2'", 2, "input.device", "index"),
        ("[input]\ndevice = 'hw:1,0'", 2, "input.device", "index"),
        ("[tone]\ndevice = 'plughw:CARD=0,DEV=0'", 2, "tone.device", "index"),
        ("[input]\ndevice = ''", 2, "input.device", "at least 1"),
        ("[input]\nrate_hz = 48000.0", 2, "input.rate_hz", "44100, 48000, 96000"),
        ("[input]\nrate_hz = '48000'", 2, "input.rate_hz", "nearest is 48000"),
        ("[input]\nchannels = 0", 2, "input.channels", "1 to 32"),
        ("[input]\nchannels = 33", 2, "input.channels", "1 to 32"),
        ("[input]\nchannels = true", 2, "input.channels", "true"),
        ("[input]\nsample_format = 'int32'", 2, "input.sample_format", "nearest is int"),
        ("[input]\nsample_format = []", 2, "input.sample_format", "int24"),
        ("[input]\nframes_per_block = 64", 2, "input.frames_per_block", "128 to 8192"),
        ("[page]\nhost = 'example'", 2, "page.host", "0.0.0.0"),
        ("[page]\nhost = 7", 2, "page.host", "0.0.0.0"),
        ("[page]\nport = 65536", 2, "page.port", "1 to 65535"),
        ("[page]\nmax_streams = 0", 2, "page.max_streams", "1 to 256"),
        ("[lamps]\nmode = 'mok'", 2, "lamps.mode", "nearest is mock"),
        ("[lamps]\nplayer = 'player1'", 2, "lamps.player", "nearest is player-1"),
        ("[lamps]\ncolumn = 5", 2, "lamps.column", "such as [13, 26, 16]"),
        ("[lamps]\ncolumn = [5, 6]", 2, "lamps.column", "3, 5 or 7"),
        ("[lamps]\ncolumn = [5, 6, 31]", 2, "lamps.column", "pin 31 is GPIO 6"),
        ("[lamps]\ncolumn = [5, 6, 39]", 2, "lamps.column", "pin 39 is ground and no GPIO"),
        ("[lamps]\ncolumn = [5, 6, 41]", 2, "lamps.column", "0 to 27"),
        ("[lamps]\ncolumn = [5, 6, 2]", 2, "lamps.column", "from 4 up"),
        ("[lamps]\ncolumn = [5, 6, 'a']", 2, "lamps.column", "'a' is not on the header"),
        ("[lamps]\ncolumn = [5, 6, 5]", 2, "lamps.column", "given twice"),
        ("[lamps]\ncolumn = [4, 17, 22]", 2, "lamps.column", 'write quiet_button with another'),
        ("[lamps]\nband = 5", 2, "lamps.band", "write column with another"),
        ("[lamps]\nband = 9\ncolumn = [9, 6, 5]", 2, "lamps.band", "given to column, too"),
        ("[lamps]\nband = '24'", 2, "lamps.band", "without quotes"),
        ("[lamps]\nband = 0", 2, "lamps.band", "from 4 up"),
        ("[lamps]\nquiet_button = 1", 2, "lamps.quiet_button", "from 2 up"),
        ("[lamps]\nreference_button = true", 2, "lamps.reference_button", "0 to 27"),
        ("[lamps]\nbutton = 4", 2, "lamps.button", "nearest valid key is quiet_button"),
        ("input = { rate_hz = 1 }", 1, "input.rate_hz", "44100"),
        ("page.port = 0", 1, "page.port", "1 to 65535"),
        ("station.name = '''\n'''\n[page]\nport = -1", 4, "page.port", "65535"),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_its_line_its_key_and_the_way_out(tmp_path, text, line, key, says):
    found = faults(tmp_path, text)

    assert found[-1].startswith(f"station.toml:{line}: {key}: ")
    assert says in found[-1]


PLAYER = "[[players]]\nname = 'Oda'\ninstrument = 'guitar'\n"


@pytest.mark.parametrize(
    ("more", "key", "says"),
    [
        ("tuning = 'dadgat'", "players.tuning", "nearest is dadgad"),
        ("tuning = 3", "players.tuning", "not text"),
        ("capo = 13", "players.capo", "0 to 12"),
        ("line = 0", "players.line", "1 to 32"),
        ("line = 3", "players.line", "1 to 2"),
        ("id = 'Oda K'", "players.id", "small letters"),
        ("offsets_cents = {'4' = 55}", "players.offsets_cents", "did you mean a tuning?"),
        ("offsets_cents = {'7' = 5}", "players.offsets_cents", "guitar:standard are 1 to 6"),
        ("offsets_cents = {B = 5}", "players.offsets_cents", "name the string by its number"),
        ("offsets_cents = {'4' = '5'}", "players.offsets_cents", "is not a number"),
        ("offsets_cents = {'4' = nan}", "players.offsets_cents", "is not a number"),
        ("offsets_cents = [5, 4]", "players.offsets_cents", "no table of offsets"),
        ("offsets_cents = 'pure fiths'", "players.offsets_cents", "mean 'pure fifths'"),
        ("offsets_cents = 'pure fifths'", "players.offsets_cents", "is not a fifth"),
        ("offset_cents = {'4' = 5}", "players.offset_cents", "valid key is offsets_cents"),
        ("tunning = 'dadgad'", "players.tunning", "nearest valid key is tuning"),
    ],
)
def test_a_fault_in_a_players_entry_stands_on_its_own_line(tmp_path, more, key, says):
    found = fault(tmp_path, f"{PLAYER}{more}\n")

    assert found.startswith(f"station.toml:4: {key}: ")
    assert says in found


@pytest.mark.parametrize(
    ("instrument", "more", "key"),
    [
        ("piano", "tuning = 'standard'", "tuning"),
        ("piano", "offsets_cents = {'1' = 2.0}", "offsets_cents"),
        ("piano", "offsets_cents = 'pure fifths'", "offsets_cents"),
        ("violin", "capo = 1", "capo"),
    ],
)
def test_what_an_instrument_cannot_have_is_a_fault(tmp_path, instrument, more, key):
    text = f"[[players]]\nname = 'Pia'\ninstrument = '{instrument}'\n{more}\n"

    assert fault(tmp_path, text).startswith(f"station.toml:4: players.{key}: ")


@pytest.mark.parametrize(
    ("offsets", "means"),
    [
        ("offsets_cents = 'pure fifths'", ((1, 1.955), (3, -1.955), (4, -3.91))),
        ("offsets_cents = {'4' = -5.865, 1 = 2}", ((1, 2.0), (4, -5.865))),
        ("offsets_cents.4 = -5.865", ((4, -5.865),)),
        ("[players.offsets_cents]\n4 = -5.865", ((4, -5.865),)),
        ("offsets_cents = {'4' = 0.0}", ()),
        ("offsets_cents = 'none'", ()),
        ("", ()),
    ],
)
def test_offsets_are_a_table_by_string_or_a_preset(tmp_path, offsets, means):
    text = f"[[players]]\nname = 'Vilde'\ninstrument = 'violin'\n{offsets}\n"

    settings = load(tmp_path, text)

    assert settings.players[0].offsets_cents == means
    assert load(tmp_path, effective_toml(settings)).players == settings.players


def test_an_instrument_without_strings_may_say_that_it_has_no_offsets(tmp_path):
    text = "[[players]]\nname = 'Pia'\ninstrument = 'piano'\noffsets_cents = 'none'\n"

    assert load(tmp_path, text).players[0].offsets_cents == ()


def test_offsets_go_with_a_tuning_of_the_players_own(tmp_path):
    settings = load(
        tmp_path,
        "[[players]]\nname = 'Vilde'\ninstrument = 'violin'\ntuning = 'High'\n"
        "offsets_cents = 'pure fifths'\n"
        "[[tunings]]\nname = 'High'\ninstrument = 'violin'\nnotes = ['A3', 'E4', 'B4', 'F#5']\n",
    )

    assert settings.players[0].offsets_cents == ((1, 5.865), (2, 3.91), (3, 1.955))


def test_a_faulty_tuning_leaves_only_its_pure_fifths_unsaid(tmp_path):
    entry = "[[players]]\nname = 'Vilde'\ninstrument = 'violin'\ntuning = 'hihg'\n"

    unsaid = faults(tmp_path, f"{entry}offsets_cents = 'pure fifths'\n")
    said = faults(tmp_path, f"{entry}offsets_cents = {{'4' = 400}}\n")

    assert [text.split(": ")[1] for text in unsaid] == ["players.tuning"]
    assert [text.split(": ")[1] for text in said] == ["players.tuning", "players.offsets_cents"]


def test_an_entry_is_checked_to_its_end_whatever_its_first_fault(tmp_path):
    text = """\
[[players]]
name = "Oda"
id = "x"
instrument = "guitr"
capo = 99
line = 3

[[players]]
id = "x"
instrument = "piano"
tuning = "standard"
capo = 1

[[tunings]]
name = "Drop D"
instrument = "guitar"
notes = ["E2"]

[[tunings]]
instrument = "gitar"
notes = ["H9"]
"""

    assert [entry.split(": ")[:2] for entry in faults(tmp_path, text)] == [
        ["station.toml:4", "players.instrument"],
        ["station.toml:5", "players.capo"],
        ["station.toml:6", "players.line"],
        ["station.toml:8", "players.name"],
        ["station.toml:9", "players.id"],
        ["station.toml:11", "players.tuning"],
        ["station.toml:12", "players.capo"],
        ["station.toml:15", "tunings.name"],
        ["station.toml:17", "tunings.notes"],
        ["station.toml:19", "tunings.name"],
        ["station.toml:20", "tunings.instrument"],
        ["station.toml:21", "tunings.notes"],
    ]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        # What a player may play, and on which line, hangs on what is faulty already.
        (f"{PLAYER}line = 9\n[input]\nchannels = 99\n", "input.channels"),
        (f"tunings = 3\n{PLAYER}tuning = 'low-tide'\n", "tunings"),
        (f"[lamps]\nplayer = 'oda'\n{PLAYER}id = 'O da'\n", "players.id"),
        ("[lamps]\nplayer = 'oda'\n[players]\n", "players"),
    ],
)
def test_what_depends_on_a_faulty_key_is_not_at_fault_too(tmp_path, text, key):
    assert fault(tmp_path, text).split(": ")[1] == key


def test_a_lamp_player_is_looked_for_among_players_with_other_faults(tmp_path):
    found = faults(tmp_path, f"[lamps]\nplayer = 'odo'\n{PLAYER}capo = 99\n")

    assert [entry.split(": ")[1] for entry in found] == ["lamps.player", "players.capo"]
    assert "nearest is oda" in found[0]


def test_two_players_may_not_have_one_id(tmp_path):
    found = fault(tmp_path, f"{PLAYER}id = 'x'\n{PLAYER}id = 'x'\n")

    assert found.startswith("station.toml:8: players.id: ")


def test_players_without_an_id_get_one_from_their_name_each_its_own(tmp_path):
    text = "".join(
        f"[[players]]\nname = '{name}'\ninstrument = 'bass'\n" for name in ("Zoë M", "zoe m", "李")
    )

    assert [player.id for player in load(tmp_path, text).players] == [
        "zoe-m",
        "zoe-m-2",
        "player-3",
    ]


def test_an_id_given_later_is_not_taken_by_a_name(tmp_path):
    text = f"{PLAYER}[[players]]\nname = 'Else'\nid = 'oda'\ninstrument = 'bass'\n"

    assert [player.id for player in load(tmp_path, text).players] == ["oda-2", "oda"]


TUNING = "[[tunings]]\nname = 'Low tide'\ninstrument = 'guitar'\n"


@pytest.mark.parametrize(
    ("entry", "line", "key", "says"),
    [
        (f"{TUNING}notes = ['E2', 'A2']", 4, "notes", "takes 6 notes"),
        (f"{TUNING}notes = ['E2', 'A2', 'D3', 'G3', 'B3', 'X4']", 4, "notes", "X4"),
        (f"{TUNING}notes = ['E9', 'A2', 'D3', 'G3', 'B3', 'E4']", 4, "notes", "5000 Hz"),
        (f"{TUNING}notes = 'EADGBE'", 4, "notes", "list of note names"),
        (f"{TUNING}", 1, "notes", "missing"),
        (
            "[[tunings]]\nname = 'Drop D'\ninstrument = 'guitar'\n"
            "notes = ['D2', 'A2', 'D3', 'G3', 'B3', 'E4']",
            2, "name", "taken",
        ),
        (
            "[[tunings]]\nname = 'Low tide'\ninstrument = 'gitar'\nnotes = ['E2']",
            3, "instrument", "guitar",
        ),
    ],
)  # fmt: skip
def test_a_tuning_that_does_not_hold_together_is_named(tmp_path, entry, line, key, says):
    found = fault(tmp_path, entry + "\n")

    assert found.startswith(f"station.toml:{line}: tunings.{key}: ")
    assert says in found


def test_whoever_plays_a_tuning_with_a_fault_is_not_at_fault_too(tmp_path):
    text = f"{PLAYER}tuning = 'low-tide'\n{TUNING}notes = ['E2']\n"

    assert fault(tmp_path, text).startswith("station.toml:8: tunings.notes: ")


def test_two_tunings_of_one_name_on_one_instrument_are_a_fault(tmp_path):
    entry = f"{TUNING}notes = ['C2', 'A2', 'D3', 'G3', 'B3', 'E4']\n"

    assert fault(tmp_path, entry + entry).startswith("station.toml:6: tunings.name: ")


def test_a_misspelled_tuning_of_the_players_own_is_offered_the_right_one(tmp_path):
    text = f"{PLAYER}tuning = 'low-tid'\n{TUNING}notes = ['C2', 'A2', 'D3', 'G3', 'B3', 'E4']\n"

    assert "nearest is low-tide" in fault(tmp_path, text)


def test_a_fault_of_syntax_gives_its_line_and_says_that_nothing_after_it_was_checked(tmp_path):
    found = fault(tmp_path, "[station]\nname = 'Cellar\n[inptu]\n")

    assert found.startswith("station.toml:2: not TOML: ")
    assert "nothing after this line" in found


def test_a_list_that_never_ends_gives_the_line_it_begins_on(tmp_path):
    text = "[page]\nport = 80\n[[tunings]]\nnotes = [\n  'E2',\n  'A2',\n\n"

    assert fault(tmp_path, text).startswith("station.toml:4: not TOML: ")


def test_a_key_given_twice_is_a_fault_on_its_second_line(tmp_path):
    assert fault(tmp_path, "[page]\nport = 1\nport = 2\n").startswith("station.toml:3: not TOML")


def test_a_file_that_ends_too_early_gives_its_last_line(tmp_path):
    assert fault(tmp_path, "[page]\nport = ").startswith("station.toml:2: not TOML")


def test_a_file_that_is_not_utf8_gives_the_line(tmp_path):
    path = tmp_path / "station.toml"
    path.write_bytes(b"[station]\nname = 'Caf\xe9'\n")

    with pytest.raises(SettingsError, match=r"station\.toml:2: not UTF-8"):
        load_settings(path)


def test_marks_and_line_ends_of_other_systems_are_taken(tmp_path):
    path = tmp_path / "station.toml"
    path.write_bytes(b"\xef\xbb\xbf[page]\r\nport = 8100\r\n")

    assert load_settings(path).page.port == 8100


@pytest.mark.parametrize("name", ["missing.toml", "."])
def test_a_file_that_cannot_be_read_is_said_in_one_line(tmp_path, name):
    with pytest.raises(SettingsError) as failed:
        load_settings(tmp_path / name)

    assert len(failed.value.faults) == 1
    assert failed.value.exit_code == 2


def test_a_relative_folder_counts_from_the_settings_file(tmp_path):
    settings = load(tmp_path, "[station]\ndata_dir = 'state'\n")

    assert settings.data_dir() == tmp_path / "state"


def test_without_a_folder_the_service_managers_one_is_used_then_the_home_folder(monkeypatch):
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/one:/var/lib/two")
    given = default_settings().data_dir()
    monkeypatch.delenv("STATE_DIRECTORY")
    monkeypatch.setenv("HOME", "/home/band")

    assert given == Path("/var/lib/one")
    assert default_settings().data_dir().is_relative_to("/home/band")


def test_a_user_without_a_home_folder_is_told_what_to_set(monkeypatch):
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    monkeypatch.setattr(Path, "expanduser", no_home)

    with pytest.raises(StorageError, match="set data_dir"):
        default_settings().data_dir()


def no_home(_: Path) -> Path:
    raise RuntimeError("Could not determine home directory.")  # as pathlib says it


def test_a_settings_file_with_an_odd_name_is_still_one_line_a_fault(tmp_path):
    path = tmp_path / "two\nlines \udcff.toml"
    path.write_text("zzzz = 1\nyyyy = 2\n")

    with pytest.raises(SettingsError) as failed:
        load_settings(path)

    assert [r"two\nlines \xff.toml:" in line for line in failed.value.faults] == [True, True]
    assert "\n" not in "".join(failed.value.faults)


def test_the_room_code_is_masked_wherever_settings_are_shown(tmp_path):
    settings = load(tmp_path, "[station]\nroom_code = 'open sesame'\n")

    assert settings.station.room_code == "open sesame"
    assert effective(settings)["station"]["room_code"] == MASK
    assert "sesame" not in effective_toml(settings)
    assert "sesame" not in json.dumps(effective(settings))


def test_without_pins_in_the_file_lamps_and_buttons_are_wired_as_usual(tmp_path):
    assert load(tmp_path, "").lamps.wiring() == STANDARD


def test_a_builders_own_pins_are_wired_shown_and_read_again(tmp_path):
    settings = load(
        tmp_path,
        '[lamps]\ncolumn = [13, 26, 16]\nband = "none"\nquiet_button = 4\n'
        'reference_button = "none"\n',
    )

    assert settings.lamps.wiring() == own_wiring([13, 26, 16], quiet_button=4)
    assert effective(settings)["lamps"]["band"] == "none"
    assert load(tmp_path, effective_toml(settings)).lamps == settings.lamps


def test_pins_at_fault_by_themselves_clash_with_nothing(tmp_path):
    found = faults(tmp_path, "[lamps]\ncolumn = [99, 22, 5]\nband = 5\nquiet_button = 5")

    assert [entry.split(": ")[1] for entry in found] == ["lamps.column", "lamps.quiet_button"]


def test_effective_settings_are_a_settings_file_that_means_the_same(tmp_path):
    settings = load_settings(EXAMPLE)

    again = load(tmp_path, effective_toml(settings))

    assert effective(again) == effective(settings)
    assert again.players == settings.players
    assert again.tunings == settings.tunings


def test_a_made_up_room_code_is_fresh_each_time_and_easy_to_type():
    codes = {make_room_code() for _ in range(50)}

    assert len(codes) == 50
    assert set("".join(codes)) <= set(ROOM_CODE_LETTERS)


def test_settings_do_not_load_numpy():
    import subprocess
    import sys

    code = "import sys, station.settings, station.cli; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


values = st.one_of(
    st.booleans(),
    st.integers(-10, 100_000),
    st.floats(),
    st.text(max_size=8),
    st.lists(st.integers(0, 3), max_size=2),
)


@given(
    st.dictionaries(
        st.sampled_from([(t, k) for t in ("station", "input", "page", "lamps") for k in KEYS[t]]),
        values,
        max_size=6,
    )
)
def test_any_value_either_loads_or_is_a_fault_on_its_own_line(tmp_path_factory, chosen):
    path = tmp_path_factory.mktemp("settings") / "station.toml"
    lines = [f"{table}.{key} = {as_toml(value)}" for (table, key), value in chosen.items()]
    path.write_text("\n".join(lines), encoding="utf-8")

    try:
        load_settings(path)
    except SettingsError as error:
        for entry in error.faults:
            line, key = entry.removeprefix(f"{path}:").split(": ")[:2]
            assert lines[int(line) - 1].startswith(f"{key} = ")


def as_toml(value: object) -> str:
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
    return json.dumps(value)
