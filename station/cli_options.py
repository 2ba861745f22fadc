"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

Command = Callable[..., Any]


def config_option(command: Command) -> Command:
    """--config FILE, shared by every command that reads the settings."""
    return click.option(
        "--config",
        type=click.Path(path_type=Path, readable=False),  # its fault is told as any other
        help="Settings file (TOML). Without it the defaults hold.",
    )(command)


def names_option(command: Command) -> Command:
    """--names, shared by every command that names notes to people."""
    return click.option(
        "--names",
        type=click.Choice(["english", "german", "solfege"]),
        default="english",
        show_default=True,
        help="How notes are named for people; --json is always English.",
    )(command)


def list_tunings(context: click.Context, _: click.Parameter, wanted: str | None) -> str | None:
    """Answer `--tuning list`, with which no file is asked for; any other name passes."""
    from station.music.tunings import LIST_ALL, tuning_names

    if wanted is None or wanted.strip().lower() != LIST_ALL:
        return wanted
    click.echo("\n".join(tuning_names()))
    return context.exit(0)
