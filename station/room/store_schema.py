"""The layout of the room's database, and how an older one is brought up to it in place."""

from __future__ import annotations

import sqlite3
from contextlib import closing

SCHEMA_VERSION = 2

_LAYOUT_1 = (
    """CREATE TABLE reference (
        id INTEGER PRIMARY KEY CHECK (id = 1), serial INTEGER NOT NULL, a4_hz REAL NOT NULL,
        set_at TEXT NOT NULL, "by" TEXT NOT NULL, source TEXT NOT NULL)""",
    """CREATE TABLE strings (
        player TEXT NOT NULL, string INTEGER NOT NULL, serial INTEGER NOT NULL,
        midi INTEGER NOT NULL, roll TEXT NOT NULL, cents REAL, uncertainty_cents REAL,
        verdict TEXT, PRIMARY KEY (player, string))""",
    """CREATE TABLE players (
        id TEXT PRIMARY KEY, name TEXT NOT NULL, instrument TEXT NOT NULL, tuning TEXT NOT NULL,
        line INTEGER NOT NULL, capo INTEGER NOT NULL, configured TEXT NOT NULL)""",
)
# Layout 2: who agreed, offsets, the log, and `parts`: proposals and the like as JSON, each
# read and dropped by itself. The reference layout 1 held, if one was ever set, begins the log.
_TO_LAYOUT_2 = (
    "ALTER TABLE reference ADD COLUMN agreed TEXT NOT NULL DEFAULT '[]'",
    "ALTER TABLE strings ADD COLUMN offset_cents REAL NOT NULL DEFAULT 0",
    "ALTER TABLE players ADD COLUMN offsets_cents TEXT NOT NULL DEFAULT '{}'",
    "CREATE TABLE parts (name TEXT PRIMARY KEY, value TEXT NOT NULL)",
    """CREATE TABLE reference_log (
        serial INTEGER PRIMARY KEY, at TEXT NOT NULL, a4_hz REAL NOT NULL, kind TEXT NOT NULL,
        "by" TEXT NOT NULL, source TEXT NOT NULL, agreed TEXT NOT NULL, away TEXT NOT NULL,
        evidence TEXT)""",
    """INSERT INTO reference_log
        SELECT serial, set_at, a4_hz, 'set', "by", source, '[]', '[]', NULL
        FROM reference WHERE serial > 0""",
)
_STATEMENTS = {0: (), 1: _LAYOUT_1, 2: (*_LAYOUT_1, *_TO_LAYOUT_2)}
_STEPS = {0: (*_LAYOUT_1, *_TO_LAYOUT_2), 1: _TO_LAYOUT_2}


def layout_of(connection: sqlite3.Connection) -> int:
    """The layout's number; 0 for a database in which nothing was made yet."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    return int(version)


def misfit(connection: sqlite3.Connection, layout: int) -> str | None:
    """What is not as the layout of that number has it, in a few words; None where all is.

    Rows can be read and written by their columns' names alone, so only those count; a
    trigger or a view could do anything.
    """
    with closing(sqlite3.connect(":memory:")) as model:
        for statement in _STATEMENTS[layout]:
            model.execute(statement)
        wanted = _columns(model)
    found = _columns(connection)
    if layout == 0 and found:
        return "it has tables but no layout"
    for table, columns in wanted.items():
        if found.get(table) != columns:
            return f"the table {table} is missing or has other columns"
    foreign = connection.execute(
        "SELECT name FROM sqlite_schema WHERE type IN ('trigger', 'view')"
    ).fetchone()
    return None if foreign is None else f"it holds {foreign[0]!r:.40}, which is not the station's"


def _columns(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """The names of every table's columns, in their order."""
    rows = connection.execute(
        "SELECT m.name, c.name FROM sqlite_schema AS m, pragma_table_info(m.name) AS c"
        " WHERE m.type = 'table' ORDER BY m.name, c.cid"
    )
    columns: dict[str, list[str]] = {}
    for table, column in rows:
        columns.setdefault(table, []).append(column)
    return columns


def is_known(layout: int) -> bool:
    return layout == SCHEMA_VERSION or layout in _STEPS


def bring_up(connection: sqlite3.Connection) -> None:
    """Make the layout, or an older one into the present one, in one transaction.

    Killed half-way it leaves what was there before.
    """
    layout = layout_of(connection)
    if layout == SCHEMA_VERSION:
        return
    with connection:
        connection.execute("BEGIN IMMEDIATE")
        for statement in _STEPS[layout]:
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version={SCHEMA_VERSION}")
