"""The running order as a table (RFC 4180), for any spreadsheet and back. Pure.

The first row names the columns: ``title, key, bass, notes, drums``, in any order, then one for
each player by id. Semicolons or tabs between cells are taken as well, as some spreadsheets write.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

from station.errors import SongsError
from station.room.songs import COLUMNS, SONGS_MAX, Band, Song, read_song, with_ids

_FORMULA_SIGNS = ("=", "+", "-", "@")
_DELIMITERS = (",", ";", "\t")


def songs_to_csv(songs: Iterable[Song], player_ids: Sequence[str]) -> str:
    """The songs as a table with a header.

    A cell that a spreadsheet would take for a formula begins with an apostrophe, which
    `songs_from_csv` takes off again.
    """
    table = io.StringIO()
    writer = csv.writer(table)
    writer.writerow([*COLUMNS, *player_ids])
    for song in songs:
        setups = {player: setup.text for player, setup in song.players}
        drums = "; ".join(f"{name} {note}" for name, note in song.drums)
        cells = [song.title, song.key, " ".join(song.bass), song.notes, drums]
        cells += [setups.get(player, "") for player in player_ids]
        writer.writerow([_guarded(cell) for cell in cells])
    return table.getvalue()


def songs_from_csv(text: object, band: Band) -> tuple[Song, ...]:
    """Songs of a table, numbered from 1; raises SongsError with every fault's row and column.

    Rows are counted as a spreadsheet does, the header's being row 1; empty ones are left out.
    """
    rows = _rows(text)
    header = next((number for number, row in rows if any(row)), None)
    if header is None:
        raise SongsError(["the table is empty: its first row names the columns"])
    names = next(row for number, row in rows if number == header)
    columns = _columns(names, header, band)
    faults: list[str] = []
    songs = []
    for number, row in rows:
        if number <= header or not any(row):
            continue
        told, wrong = _row(row, columns, band)
        faults += [f"row {number}, {fault}" for fault in wrong]
        songs.append(told)
    if not 0 < len(songs) <= SONGS_MAX:
        faults.insert(0, f"{len(songs)} songs: a running order takes 1 to {SONGS_MAX}")
    if faults:
        raise SongsError(faults)
    return with_ids(songs, (), 1)


def _rows(text: object) -> list[tuple[int, list[str]]]:
    if not isinstance(text, str):
        raise SongsError([f"csv {text!r:.40} is not text"])
    text = text.removeprefix("\ufeff")
    first = text.lstrip().partition("\n")[0]
    delimiter = max(_DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            rows.append((len(rows) + 1, [_unguarded(cell.strip()) for cell in row]))
    except csv.Error as error:
        raise SongsError([f"row {len(rows) + 1}: the table breaks off: {error}"]) from error
    return rows


def _columns(names: list[str], number: int, band: Band) -> list[str]:
    """The column names as songs have them; raises SongsError."""
    columns = [name if name in band.players else name.lower() for name in names]
    by_name = {player.name.casefold(): key for key, player in band.players.items()}
    columns = [by_name.get(each.casefold(), each) for each in columns]
    known = (*COLUMNS, *band.players)
    faults = [
        f"row {number}, column {place}: {name!r:.40} is no column; there are {', '.join(known)}"
        for place, name in enumerate(columns, start=1)
        if name not in known and name
    ]
    doubled = sorted({name for name in columns if name and columns.count(name) > 1})
    faults += [f"row {number}, {name}: two columns have this name" for name in doubled]
    if "title" not in columns:
        faults.append(f"row {number}: there is no column called title")
    if faults:
        raise SongsError(faults)
    return columns


def _row(row: list[str], columns: list[str], band: Band) -> tuple[Song, list[str]]:
    beyond = [cell for cell in row[len(columns) :] if cell]
    faults = (
        [f"column {len(columns) + 1}: {beyond[0]!r:.40} stands under no name"] if beyond else []
    )
    song: dict[str, Any] = {"players": {}}
    for name, cell in zip(columns, row, strict=False):
        if name in COLUMNS:
            song[name] = cell
        elif name:
            song["players"][name] = cell
        elif cell:
            faults.append(f"{cell!r:.40} stands under no name")
    told, wrong = read_song(song, band)
    return told, faults + wrong


def _guarded(cell: str) -> str:
    return f"'{cell}" if cell.lstrip("'").startswith(_FORMULA_SIGNS) else cell


def _unguarded(cell: str) -> str:
    return cell[1:] if cell[:1] == "'" and cell.lstrip("'").startswith(_FORMULA_SIGNS) else cell
