"""Text that can be shown wherever it goes: names of files, signs an output lacks. Pure but for
``fit_output``."""

from __future__ import annotations

import codecs
import io
import os
import sys

PLAIN_SIGNS = {"±": "+-", "♯": "#", "♭": "b"}


def valid_text(name: str | os.PathLike[str]) -> str:
    """A file's name as Unicode any program takes: bytes that are no UTF-8 become ``\\xff``.

    Python keeps such bytes as lone surrogates (PEP 383), which no encoding can write.
    """
    return os.fspath(name).encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def path_text(name: str | os.PathLike[str]) -> str:
    """A file's name on one line: what would break or hide in the line is spelled out."""
    shown = "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode()
        for sign in valid_text(name)
    )
    return shown or '""'


def fit_output() -> None:
    """Have standard output and error spell out what their encoding lacks, and never fail for it."""
    codecs.register_error("plain", _plain)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="plain")


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    spelled = (
        PLAIN_SIGNS.get(sign) or sign.encode("ascii", "backslashreplace").decode()
        for sign in lacking
    )
    return "".join(spelled), error.end
