"""The settings that last served, kept so that a fault in the file costs no rehearsal.

Once a station has started with a settings file, the file's text is kept, word for
word, in the folder of the room's state. Where a later start finds a fault in the
file, the kept text serves in its place, and every page says so, with file, line and key.

That folder is a setting itself. For a file at fault it is sought where its data_dir
points, if that much can be read, and where the service manager or the home folder
has it. The kept text begins with the file's own path: for another file, such as one
misspelt on the command line, it does not serve.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from station.errors import SettingsError, StorageError
from station.plain_text import path_text
from station.settings import Settings, default_settings, parse_settings
from station.toml_file import read_text

NAME = "settings-last-good.toml"
_HEAD = "# As they last served, kept by the station: {}\n"
_DATA_DIR = re.compile(r"""^[ \t]*data_dir[ \t]*=[ \t]*["']([^"'\n]+)["']""", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Given:
    """Settings to start with, and the text they were read from; None where nothing is to keep."""

    settings: Settings
    config: Path | None = None
    text: str | None = None


@dataclass(frozen=True, slots=True)
class LastGood:
    """Settings that have served before; ``since`` is the day they were kept, ISO 8601, UTC."""

    settings: Settings
    since: str


def settings_to_serve(config: Path | None) -> Given:
    """The file's settings; where it is at fault those that last served, and why.

    Raises SettingsError, with every fault of the file, where none served before.
    """
    if config is None:
        return Given(default_settings())
    try:
        text = read_text(config)
        return Given(parse_settings(config, text), config, text)
    except SettingsError as error:
        found = last_good(config)
        if found is None:
            raise
        return Given(replace(found.settings, remarks=(_remark(error.faults, found.since),)))


def last_good(config: Path) -> LastGood | None:
    """The settings with which a station last started from this file; None without any."""
    head = _head(config)
    for folder in _folders(config):
        kept = folder / NAME
        with contextlib.suppress(SettingsError, OSError):
            text = read_text(kept)
            if text.startswith(head):
                since = datetime.fromtimestamp(kept.stat().st_mtime, UTC).date().isoformat()
                return LastGood(parse_settings(config, text), since)
    return None


def keep(given: Given) -> None:
    """Remember settings that have served; writes only what is not kept already.

    Raises StorageError where that cannot be written.
    """
    if given.config is None or given.text is None:
        return
    path = given.settings.data_dir() / NAME
    text = _head(given.config) + given.text
    try:
        if not path.exists() or path.read_bytes() != text.encode():
            _replace(path, text.encode())
    except OSError as error:
        raise StorageError(f"{path}: cannot be kept: {error.strerror}") from error


def _head(config: Path) -> str:
    return _HEAD.format(path_text(config.absolute()))


def _remark(faults: list[str], since: str) -> str:
    more = f" ({len(faults) - 1} more: station check)" if len(faults) > 1 else ""
    return (
        f"The settings file is at fault, so those of {since} serve, which last held:"
        f" {faults[0]}{more}. Mend it and start the station anew."
    )


def _folders(config: Path) -> Iterator[Path]:
    """Where the station may have kept its state."""
    with contextlib.suppress(SettingsError):
        for written in _DATA_DIR.findall(read_text(config)):
            with contextlib.suppress(RuntimeError):
                yield config.absolute().parent / Path(written).expanduser()
    with contextlib.suppress(StorageError):
        yield default_settings().data_dir()


def _replace(path: Path, content: bytes) -> None:
    """Write aside and rename, flushed: after a power cut it is the old text or the new.

    For its owner alone to read: it holds the room code.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = path.with_name(f".{NAME}.new")
    handle = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    aside.replace(path)
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
