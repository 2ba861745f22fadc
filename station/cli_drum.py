"""The `station drum` commands: names, options and help; the work is in `station.commands`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from station.cli_options import names_option

if TYPE_CHECKING:
    from station.music.names import NamingSystem


@click.group()
def drum() -> None:
    """Drums: taps, even heads, and a kit against the key. Drummers tune for feel first.

    Wear ear protection. Never tune a head past what it is made for: heads split, rods strip.

    \b
    Example:
      station drum kit --drum "high tom:10x7:G3+12" --song "Low tide:E minor:E1,A1,B1"
    """


@drum.command()
@click.option(
    "--kit", "file", type=click.Path(path_type=Path, readable=False), help="Kit and songs, TOML."
)
@click.option("--drum", "drums", multiple=True, help='"high tom:10x7:G3+12", inches or mm.')
@click.option(
    "--song", "songs", multiple=True, help='"Low tide:E minor:E1,A1,B1", bass notes last.'
)
@click.option("--a4", "a4_hz", type=float, default=None, help="Reference, Hz; 440 if not said.")
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
def kit(
    file: Path | None,
    drums: tuple[str, ...],
    songs: tuple[str, ...],
    a4_hz: float | None,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """What each drum is in each song, what clashes with the bass, where the kit could go.

    \b
    Examples:
      station drum kit --kit kit.toml
      station drum kit --drum "floor tom:16x14:A2" --song "Low tide:E minor:E1,A1" --json
    """
    from station.commands.drum_kit import run_kit
    from station.commands.drum_kit_file import KitToRead

    run_kit(KitToRead(file, drums, songs, a4_hz), as_json, names)
