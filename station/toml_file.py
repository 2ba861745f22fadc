"""TOML files as people write them: read within limits, and every fault one line with its place.

A file is refused that could keep the parser busy for minutes: `tomllib` takes time
and memory by the square of a key's dotted parts and of open brackets.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from station.errors import SettingsError
from station.plain_text import path_text

MAX_BYTES = 128 * 1024
"""Many times what any band needs; a larger file is another one, given by mistake."""
MAX_DOTS = 200
"""In one line. No key here has more than four parts, and no text so many characters."""
MAX_SEARCHED = 500_000
"""Characters parsed at most in search of an unfinished line: well under a second."""
NOTHING_AFTER = "(nothing after this line could be checked)"


def read_text(path: Path) -> str:
    """What stands in a TOML file; raises SettingsError with one fault for what cannot be read."""
    name = path_text(path)
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise SettingsError([f"{name}: there is no such file: is the path right?"]) from None
    except OSError as error:
        raise SettingsError([f"{name}: cannot be read: {error.strerror}"]) from error
    if len(raw) > MAX_BYTES:
        limit = f"{MAX_BYTES // 1024} KB"
        raise SettingsError([f"{name}: is larger than {limit}: is it the right file?"])
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise SettingsError([f"{name}:{line}: not UTF-8 text: save the file as UTF-8"]) from error


def parse_toml(path: Path, text: str) -> dict[str, Any]:
    """`text` as data; raises SettingsError with the one fault past which nothing can be read."""
    name = path_text(path)
    for line, row in enumerate(text.split("\n"), start=1):
        if row.count(".") > MAX_DOTS and not row.lstrip().startswith("#"):
            what = f"{row.count('.')} dots in one line: at most {MAX_DOTS} are taken"
            raise SettingsError([f"{name}:{line}: {what}"])
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line, what = _place(text, error)
    except RecursionError:
        line, what = _deepest_line(text), "brackets within brackets too deep to be read"
    except ValueError as error:  # a number too long for Python to read
        line, what = 1, str(error).partition(";")[0]
    raise SettingsError([f"{name}:{line}: not TOML: {' '.join(what.split())} {NOTHING_AFTER}"])


def _place(text: str, error: tomllib.TOMLDecodeError) -> tuple[int, str]:
    what, _, place = str(error).rpartition(" (at ")
    found = re.match(r"line (\d+), column", place)
    return int(found[1]) if found else _unfinished_line(text), what


def _deepest_line(text: str) -> int:
    """The line with the most opening brackets."""
    rows = text.split("\n")
    return 1 + max(range(len(rows)), key=lambda row: rows[row].count("[") + rows[row].count("{"))


def _unfinished_line(text: str) -> int:
    """Where the thing begins whose end is missing: the parser knows only that the text ended.

    It is the line after the longest beginning of the text that can be parsed; the
    first line where that takes too long to find.
    """
    rows = text.splitlines(keepends=True)
    searched = 0
    for count in range(len(rows) - 1, 0, -1):
        beginning = "".join(rows[:count])
        searched += len(beginning)
        if searched > MAX_SEARCHED:
            break
        try:
            tomllib.loads(beginning)
        except (ValueError, RecursionError):
            continue
        return count + 1
    return 1
