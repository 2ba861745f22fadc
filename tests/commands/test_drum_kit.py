"""`station drum kit`: what it reads, every fault at once, what it says to people and programs."""

from __future__ import annotations

import json

import pytest

from station.commands.drum_kit import run_kit
from station.commands.drum_kit_file import KitToRead, read_kit
from station.errors import SettingsError

KIT = """\
a4_hz = 441.0

[[drums]]
name = "high tom"
diameter_in = 10
depth_in = 7
pitch = "G3+12"
overtone_hz = 310.0

[[drums]]
name = "kick"
kind = "bass"
diameter_mm = 558.8
hz = 52.0
keep = true

[[songs]]
name = "Low tide"
key = "E minor"
bass = ["E1", "A1", "B1"]

[[songs]]
name = "Harbour wall"
key = "A"
"""
DRUMS = ("high tom:10x7:G3+12", "floor tom:16x14:A#2+30", "snare:14x5.5:196 Hz:snare")
SONGS = ("Low tide:E minor:E1,A1,B1", "Lamp oil:G mixolydian")


@pytest.fixture
def kit_file(tmp_path):
    def write(text):
        path = tmp_path / "kit.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def faults(wanted):
    with pytest.raises(SettingsError) as failed:
        read_kit(wanted)
    assert all("\n" not in fault for fault in failed.value.faults)
    return failed.value.faults


def said(capsys, wanted, as_json=False, names="english"):
    run_kit(wanted, as_json, names)
    return capsys.readouterr().out.splitlines()


def test_a_file_gives_drums_songs_and_the_reference(kit_file):
    drums, songs, a4_hz = read_kit(KitToRead(kit_file(KIT)))

    high, kick = drums
    assert a4_hz == 441.0
    assert (high.name, high.kind, high.keep, high.overtone_hz) == ("high tom", "tom", False, 310.0)
    assert high.hz == pytest.approx(441.0 * 2.0 ** (-14 / 12 + 12 / 1200))
    assert (kick.diameter_in, kick.hz, kick.keep) == (pytest.approx(22.0), 52.0, True)
    assert [song.key.label() for song in songs] == ["E minor", "A major"]
    assert [song.bass for song in songs] == [("E1", "A1", "B1"), ("A1",)]


def test_options_say_the_same_as_a_file(kit_file):
    written = read_kit(KitToRead(kit_file(KIT.replace("overtone_hz = 310.0", ""))))
    options = KitToRead(
        drums=("high tom:10x7:G3+12:tom", "kick:558.8mm:52 Hz:bass"),
        songs=("Low tide:E minor:E1, A1, B1", "Harbour wall:A"),
        a4_hz=441.0,
    )

    asked = read_kit(options)

    assert asked[1:] == written[1:]
    assert asked[0][0] == written[0][0]
    assert asked[0][1].diameter_mm == pytest.approx(written[0][1].diameter_mm)


def test_options_add_to_a_file_and_their_reference_goes_before_its_own(kit_file):
    wanted = KitToRead(kit_file(KIT), DRUMS[1:2], SONGS[1:], 442.0)

    drums, songs, a4_hz = read_kit(wanted)

    assert [drum.name for drum in drums] == ["high tom", "kick", "floor tom"]
    assert [song.name for song in songs] == ["Low tide", "Harbour wall", "Lamp oil"]
    assert a4_hz == 442.0
    assert drums[0].hz == pytest.approx(442.0 * 2.0 ** (-14 / 12 + 12 / 1200))


def test_every_fault_of_a_file_is_told_at_once_with_its_line(kit_file):
    path = kit_file("""\
a4_hz = 4410
[[drums]]
nam = "high tom"
diameter_in = 100
depth_in = 7
depth_mm = 100
pitch = "G3+12"
hz = 190
[[drums]]
name = "low tom"
kind = "tomtom"
diameter_mm = 305
pitch = "D#+4"
keep = "yes"
[[drums]]
name = "low tom"
diameter_in = 12
hz = 150
overtone_hz = 900
[[songs]]
name = "Low tide"
key = "E minro"
bass = ["E1", "A7", "H1"]
[[song]]
name = "Harbour wall"
""")

    found = [fault.removeprefix(f"{path}:") for fault in faults(KitToRead(path))]

    assert [fault.rsplit(" (", 1)[0].split(": ")[0] for fault in found] == (
        ["1", "2", "3", "4", "6", "8", "11", "13", "14", "16", "19", "22", "23", "23", "24"]
    )
    assert found[1] == "2: drums.name: the key is missing"
    assert found[2] == "3: drums.nam: no such key; the nearest valid key is name"
    assert found[4] == "6: drums.depth_mm: depth_in says it already: leave one of them out"
    assert 'one of "tom", "snare", "bass", "timbale"; the nearest is tom' in found[6]
    assert '"low tom" is there already' in found[9]
    assert "overtone 900 Hz is not from 157.5 to 375 Hz" in found[10]
    assert "did you mean minor?" in found[11]
    assert "'A7' is not from C0 to C5" in found[12]
    assert "that is German for B1" in found[13]


def test_every_fault_of_options_is_told_at_once_with_its_option(kit_file):
    wanted = KitToRead(
        None, ("x:y", "a:10q:G3", "b:10:G", "c:10:G3:gong"), ("z", "Song:E minor:H1"), 20.0
    )

    found = faults(wanted)

    assert [fault.split(": ")[0] for fault in found] == [
        "--a4",
        '--drum "x:y"',
        '--drum "a:10q:G3"',
        '--drum "b:10:G"',
        '--drum "c:10:G3:gong"',
        '--song "z"',
        '--song "Song:E minor:H1"',
    ]
    assert any("write 10x7 in inches, or 254x178mm" in fault for fault in found)


def test_a_kit_without_drums_or_songs_says_how_to_give_them():
    assert faults(KitToRead()) == [
        "no drum: give --drum, or a --kit file with [[drums]]",
        "no song: give --song, or a --kit file with [[songs]]",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[[drums]\n", "not TOML"),
        ("drums = 3\nsongs = []\n", "these are not entries: write [[drums]]"),
    ],
)
def test_a_file_that_is_no_kit_is_refused_with_its_line(kit_file, text, told):
    path = kit_file(text)

    assert any(f.startswith(f"{path}:1: ") and told in f for f in faults(KitToRead(path)))


def test_a_file_that_is_not_there_is_told(tmp_path):
    (told,) = faults(KitToRead(tmp_path / "kit.toml"))

    assert "there is no such file" in told


def test_json_is_an_object_a_line_for_each_drum_clash_and_target_and_the_kit(capsys):
    lines = [json.loads(line) for line in said(capsys, KitToRead(None, DRUMS, SONGS), True)]

    kinds = [line["kind"] for line in lines]
    assert kinds == sorted(kinds, key=["drum", "clash", "target", "kit"].index)
    assert (kinds.count("drum"), kinds.count("target"), kinds.count("kit")) == (3, 3, 1)
    assert kinds.count("clash") >= 1
    assert lines[0]["drum"] == "high tom"
    assert (lines[0]["note"], lines[0]["cents"]) == ("G3", pytest.approx(12.0))
    assert lines[2]["type"] == "snare"
    assert lines[-1]["spacing"]["toms"] == ["high tom", "floor tom"]


def test_json_is_english_whatever_names_are_asked_for(capsys):
    wanted = KitToRead(None, DRUMS, SONGS)

    assert said(capsys, wanted, True, "german") == said(capsys, wanted, True)


def test_people_are_told_roles_clashes_and_where_drums_could_move(capsys):
    text = said(capsys, KitToRead(None, DRUMS, SONGS))

    shown = "\n".join(text)
    tide = next(line for line in text if line.startswith("Low tide"))
    assert "third" in tide
    assert "outside, +70 to B2" in tide  # A#2 + 30 cents; E minor has a B
    assert "floor tom clashes with the bass's A1: 8.6 beats a second" in shown
    assert "Could move, to suit all 2 songs:" in shown
    assert "How a drum feels comes first" in shown


def test_what_a_target_asks_is_told_by_word_and_cents_as_in_json(capsys):
    wanted = KitToRead(None, DRUMS, SONGS)
    text = said(capsys, wanted)
    targets = [t for t in map(json.loads, said(capsys, wanted, True)) if t["kind"] == "target"]

    rows = text[text.index("Could move, to suit all 2 songs:") + 1 :]
    for row, target in zip(rows, targets, strict=False):
        assert row.startswith(target["drum"])
        assert target["note"] in row
        assert target["verdict"] in row
        assert f"{abs(target['move_cents']):.0f} cents" in row
        assert f"tension {target['tension_percent']:+.1f} %" in row


def test_notes_are_named_as_asked(capsys):
    shown = "\n".join(said(capsys, KitToRead(None, DRUMS, SONGS), names="german"))

    assert "Ais2 +30" in shown
    assert "the bass's H1" in shown


def test_a_drum_that_is_kept_is_told_so(capsys, kit_file):
    shown = said(capsys, KitToRead(kit_file(KIT)))

    assert any(line.startswith("kick") and "kept as it is" in line for line in shown)


def test_no_drum_is_ever_called_wrong(capsys):
    drums = ("high tom:10x7:G3+12", "low tom:12:D#3-20", "kick:22:130 Hz:bass")

    shown = "\n".join(said(capsys, KitToRead(None, drums, SONGS))).lower()

    for word in ("wrong", "bad", "out of tune", "error", "must", "should"):
        assert word not in shown
    assert "kick is above what its size is usually tuned to" in shown


@pytest.fixture
def json_file(tmp_path):
    def write(data, name="drums.json"):
        path = tmp_path / name
        path.write_text(data if isinstance(data, str) else json.dumps(data), encoding="utf-8")
        return path

    return write


PAGE_KIT = {
    "a4_hz": 441.0,
    "drums": [
        {"name": "high tom", "kind": "tom", "diameter_mm": 254.0, "hz": 199.0, "keep": False,
         "good": None},
        {"name": "snare", "kind": "snare", "hz": 196.0, "keep": True, "good": {"at": "x"}},
    ],
    "songs": [{"name": "Low tide", "key": "E minor", "bass": ["E1"]}],
}  # fmt: skip


def test_what_the_page_saved_is_read_and_what_it_does_not_know_is_named(json_file, capsys):
    run_kit(KitToRead(json_file(PAGE_KIT)), as_json=True)

    told = capsys.readouterr()
    kinds = [json.loads(line)["kind"] for line in told.out.splitlines()]
    assert (kinds[0], kinds[-1]) == ("drum", "kit")
    assert json.loads(told.out.splitlines()[0])["drum"] == "high tom"
    assert told.err == '"snare" is left out: its size is not known\n'


def test_a_json_kit_says_the_same_as_the_toml_one(kit_file, json_file):
    drums = [
        {"name": "high tom", "diameter_in": 10, "depth_in": 7, "pitch": "G3+12",
         "overtone_hz": 310.0},
        {"name": "kick", "kind": "bass", "diameter_mm": 558.8, "hz": 52.0, "keep": True},
    ]  # fmt: skip
    songs = [
        {"name": "Low tide", "key": "E minor", "bass": ["E1", "A1", "B1"]},
        {"name": "Harbour wall", "key": "A"},
    ]
    whole = json_file({"a4_hz": 441.0, "drums": drums, "songs": songs}, "kit")

    assert read_kit(KitToRead(whole)) == read_kit(KitToRead(kit_file(KIT)))


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ('{"a4_hz": 440,\n "drums": [,]}', "drums.json:2: not JSON: Expecting value"),
        ('{"a4_hz": NaN}', "drums.json: not JSON: NaN is no number"),
        ("[1]", "drums.json: no table with drums and songs"),
        ("a4_hz = 440", "drums.json:1: not JSON"),
        ("[" * 100_000, "brackets within brackets too deep"),
        ({**PAGE_KIT, "a4_hz": 90}, "drums.json: a4_hz: "),
        ({**PAGE_KIT, "drums": [{"name": "x", "hz": 90}]}, "drums.json: drums.1.diameter_in: the"),
        ({**PAGE_KIT, "drums": 7}, "drums.json: drums: these are not entries"),
        ({**PAGE_KIT, "songs": [{"name": "x", "key": "Q"}]}, "drums.json: songs.1.key: "),
        ({**PAGE_KIT, "kits": []}, "drums.json: kits: no such key"),
    ],
)
def test_a_json_kit_with_faults_says_where(json_file, written, said):
    assert any(said in fault for fault in faults(KitToRead(json_file(written))))
