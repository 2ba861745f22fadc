"""Songs as people write them: JSON and tables, read strictly and written back the same."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.errors import SongsError, UsageError
from station.music.tunings import load_instruments
from station.room.setups import read_setup
from station.room.songs import SONGS_MAX, Band, check_size, read_song, read_songs, with_ids
from station.room.songs_csv import songs_from_csv, songs_to_csv
from tests.support.order_band import BRANNOCK, ILSE, SONGS, TOVE, YORICK

PLAYERS = {each.id: each for each in (TOVE, BRANNOCK, ILSE, YORICK)}
BAND = Band(PLAYERS, load_instruments())
HEADER = "title,key,bass,notes,drums,tove,brannock\r\n"


def faults_of(read, *args) -> list[str]:
    with pytest.raises(SongsError) as caught:
        read(*args)
    assert "\n" not in str(caught.value)
    return caught.value.faults


@pytest.mark.parametrize(
    ("written", "who", "text"),
    [
        ("drop-d", TOVE, "guitar:drop-d"),
        ("Drop D", TOVE, "guitar:drop-d"),
        ("guitar:dadgad capo 3", TOVE, "guitar:dadgad capo 3"),
        ("Capo 2", TOVE, "guitar:standard capo 2"),
        ("bass", TOVE, "bass:standard"),
        ("standard", BRANNOCK, "bass:standard"),
        ("keyboard", TOVE, "keyboard"),
        ("guitar", ILSE, "guitar:standard"),
        ("drum-kit", YORICK, "drum-kit"),
    ],
)
def test_what_is_played_may_be_written_short_and_is_kept_whole(written, who, text):
    setup = read_setup(written, who, load_instruments())

    assert setup.text == text
    assert read_setup(text, who, load_instruments()) == setup


@pytest.mark.parametrize(
    ("written", "who", "words"),
    [
        ("drop-q", TOVE, "did you mean"),
        ("guitar:xyz", TOVE, "unknown"),
        ("capo 13", TOVE, "capo"),
        ("keyboard capo 2", ILSE, "no strings"),
        ("violin capo 1", TOVE, "no frets"),
        ("x" * 61, TOVE, "limit is 60"),
        (7, TOVE, "not text"),
    ],
)
def test_what_cannot_be_played_is_told(written, who, words):
    with pytest.raises(UsageError, match=words):
        read_setup(written, who, load_instruments())


def test_songs_are_read_normalised_and_come_back_as_they_were():
    songs = read_songs(SONGS, BAND)

    assert [song.title for song in songs] == ["Low tide", "Paper lantern", "Slow ferry"]
    assert songs[1].key == "D major"
    assert songs[1].drums == (("floor tom", "G2"),)
    assert songs[2].setup("tove").text == "guitar:standard capo 2"
    again = read_songs([song.as_json() for song in songs], BAND)
    assert again == songs
    assert songs_from_csv(songs_to_csv(songs, list(PLAYERS)), BAND) == songs


def test_every_fault_is_told_with_its_row_and_column():
    rows = [
        {"title": "Low tide", "key": "H minor"},
        {"title": "", "bass": ["E1", "Q9"]},
        {"title": "Ferry", "players": {"tove": "drop-q", "nobody": "drop-d"}, "tempo": 120},
    ]

    faults = faults_of(read_songs, rows, BAND)

    wheres = [fault.partition(":")[0] for fault in faults]
    assert wheres == [
        "row 1, key", "row 2, title", "row 2, bass", "row 3, 'tempo'", "row 3, tove",
        "row 3, 'nobody'",
    ]  # fmt: skip


def test_a_table_tells_rows_as_a_spreadsheet_counts_them():
    text = HEADER + "Low tide,E minor,E1 A1,,,,\r\n\r\nFerry,H minor,,,floor tom,drop-q,\r\n"

    faults = faults_of(songs_from_csv, text, BAND)

    assert [fault.partition(":")[0] for fault in faults] == [
        "row 4, key", "row 4, drums", "row 4, tove",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the table is empty"),
        ("\r\n\r\n", "the table is empty"),
        (HEADER, "0 songs"),
        ("name,key\r\nx,E\r\n", "row 1, column 1: 'name' is no column"),
        ("key,bass\r\nE,E1\r\n", "no column called title"),
        ("title,title\r\na,b\r\n", "two columns"),
        ('title\r\n"Low tide\r\n', "breaks off"),
        ("title\r\nLow tide,E minor\r\n", "row 2, column 2: 'E minor' stands under no name"),
        ("title,\r\nLow tide,x\r\n", "stands under no name"),
        (12, "is not text"),
        (HEADER + "Song,,,,,,\r\n" * 61, "61 songs"),
    ],
)
def test_a_table_that_is_none_is_refused_whole(text, words):
    assert words in faults_of(songs_from_csv, text, BAND)[0]


def test_tables_of_other_spreadsheets_are_read_alike():
    wanted = songs_from_csv("title,key,tove\r\nLow tide,E minor,drop-d\r\n", BAND)

    assert songs_from_csv("\ufefftitle;key;Tove\nLow tide;E minor;drop-d\n", BAND) == wanted
    assert songs_from_csv("Title\tKey\ttove\nLow tide\tE minor\tdrop-d\n", BAND) == wanted


def test_a_title_that_looks_like_a_formula_is_written_guarded_and_read_back():
    songs = read_songs([{"title": "=SUM(A1)", "notes": "'tis"}, {"title": "'-1"}], BAND)

    table = songs_to_csv(songs, ["tove"])

    assert table.splitlines()[1].startswith("'=SUM(A1),")
    assert songs_from_csv(table, BAND) == songs


def test_more_faults_than_a_line_holds_are_counted():
    with pytest.raises(SongsError, match="and 6 more"):
        read_songs([{"title": ""}] * 10, BAND)


@pytest.mark.parametrize("rows", [None, "x", {"title": "x"}, [], [{"title": "x"}] * 61, 4])
def test_what_is_no_list_of_songs_is_refused(rows):
    assert len(faults_of(read_songs, rows, BAND)) == 1


def test_sixty_songs_of_a_working_band_fit_one_request():
    rows = [
        {
            "title": f"Song about the harbour, part {n}",
            "key": "F# harmonic minor",
            "bass": ["F#1", "B1", "C#2", "D1"],
            "notes": "second verse without drums",
            "players": {"tove": "dadgad capo 2", "brannock": "drop-d"},
            "drums": {"floor tom": "F#2"},
        }
        for n in range(SONGS_MAX)
    ]
    songs = read_songs(rows, BAND)

    check_size(songs)

    csv = json.dumps({"by": "tove", "csv": songs_to_csv(songs, list(PLAYERS))})
    assert len(csv.encode()) < 16 * 1024


def test_more_than_one_request_holds_is_refused_with_both_sizes():
    songs = read_songs([{"title": f"Song {n}", "notes": "x" * 160} for n in range(60)] * 1, BAND)
    wide = [song for song in songs for _ in range(1)] + list(
        read_songs([{"title": "é" * 60, "notes": "é" * 160}] * 40, BAND)
    )

    with pytest.raises(SongsError, match="16000 fit"):
        check_size(wide[20:80])
    with pytest.raises(SongsError, match="100 songs: a running order takes 60"):
        check_size(wide)


def test_a_song_keeps_its_number_by_its_title():
    before = with_ids(read_songs([{"title": "A"}, {"title": "B"}, {"title": "A"}], BAND), (), 1)

    after = with_ids(read_songs([{"title": t} for t in ("C", "a", "A", "B", "A")], BAND), before, 4)

    assert [(song.title, song.id) for song in after] == [
        ("C", 4), ("a", 1), ("A", 3), ("B", 2), ("A", 5),
    ]  # fmt: skip


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["title", "key", "bass", "notes", "drums", "players", "tove", "id", "x"]
            ),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)


@given(row=JSON)
@settings(max_examples=150, deadline=None)
def test_no_json_breaks_the_reading_of_a_song(row):
    song, faults = read_song(row, BAND)

    assert song.title or faults


@given(text=st.text(alphabet="title,;\"\n\r\tE1='é\0", max_size=60))
@settings(max_examples=150, deadline=None)
def test_no_text_breaks_the_reading_of_a_table(text):
    try:
        songs_from_csv(text, BAND)
    except SongsError as error:
        assert error.faults
