"""On which line of a TOML text each key stands; the parser itself does not say.

The text must already have been parsed without an error, so the scan trusts its
shape: it only steps over values (four kinds of string, nested arrays and
inline tables, comments) to find where the next key begins. Keys inside inline
tables and inline arrays are not told apart from the key that holds them;
``line_of`` then answers with that key's line.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

Path = tuple[str | int, ...]

_KEY_PART = re.compile(r"""[ \t]*(?:"((?:[^"\\]|\\.)*)"|'([^']*)'|([A-Za-z0-9_-]+))[ \t]*(\.?)""")
# What may stand in a value: strings, longest quotes first; comments; brackets.
_VALUE_PART = re.compile(
    r'''"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?'{3,5}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|#[^\n]*|[\[{]|[\]}]|\n''',
    re.DOTALL,
)
_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")


def key_lines(text: str) -> dict[Path, int]:
    """The line, counted from 1, of every table header and every key outside inline values.

    A path is the keys from the outermost table on; in an array of tables the
    number of the table, from 0, follows the array's key.
    """
    return _Scan(text).lines


def line_of(lines: Mapping[Path, int], path: Path) -> int:
    """The line of ``path``, or of the nearest key around it; line 1 when there is none."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return 1


class _Scan:
    """One pass over the text; ``lines`` holds the result."""

    def __init__(self, text: str) -> None:
        self.lines: dict[Path, int] = {}
        self._text = text
        self._at = 0
        self._table: Path = ()
        self._counts: dict[Path, int] = {}
        while self._skip_blank():
            self._statement()

    def _skip_blank(self) -> bool:
        found = _BLANK.match(self._text, self._at)
        self._at = found.end() if found else self._at
        return self._at < len(self._text)

    def _statement(self) -> None:
        line = self._text.count("\n", 0, self._at) + 1
        if self._text[self._at] == "[":
            self._header(line)
            return
        self._remember(self._table, self._key(), line)
        self._skip_value()

    def _header(self, line: int) -> None:
        repeated = self._text.startswith("[[", self._at)
        self._at += 2 if repeated else 1
        keys = self._key()
        self._at = self._text.index("]", self._at) + (2 if repeated else 1)
        path: Path = ()
        for key in keys[:-1]:
            path = self._inside((*path, key))
        path = (*path, keys[-1])
        if repeated:
            self.lines.setdefault(path, line)
            self._counts[path] = self._counts.get(path, 0) + 1
            path = self._inside(path)
        self.lines[path] = line
        self._table = path

    def _inside(self, path: Path) -> Path:
        """The path itself, or that of its last table where it is an array of tables."""
        count = self._counts.get(path)
        return path if count is None else (*path, count - 1)

    def _key(self) -> list[str]:
        """A key and its dotted parts, from here on."""
        keys = []
        while found := _KEY_PART.match(self._text, self._at):
            self._at = found.end()
            keys.append(next(part for part in found.groups()[:3] if part is not None))
            if not found[4]:
                break
        return keys

    def _remember(self, table: Path, keys: list[str], line: int) -> None:
        for length in range(1, len(keys) + 1):
            self.lines.setdefault((*table, *keys[:length]), line)

    def _skip_value(self) -> None:
        """To the end of the line on which the value, with all its brackets, ends."""
        depth = 0
        while found := _VALUE_PART.search(self._text, self._at):
            self._at = found.end()
            part = found[0]
            depth += (part in "[{") - (part in "]}")
            if part == "\n" and depth == 0:
                return
        self._at = len(self._text)
