"""Commands of the string bench: names, options and help; the work is in `station.commands`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from station.cli_options import list_tunings, names_option

if TYPE_CHECKING:
    from station.music.names import NamingSystem


@click.command()
@click.argument("file", type=click.Path(readable=False))
@click.option(
    "--tuning",
    required=True,
    is_eager=True,
    callback=list_tunings,
    help="A tuning such as guitar, bass-5 or guitar:drop-d; 'list' names all.",
)
@click.option("--capo", type=int, default=0, show_default=True, help="Fret of a capo.")
@click.option("--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz.")
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a string.")
@click.pass_context
def strum(
    context: click.Context,
    file: str,
    tuning: str,
    capo: int,
    a4_hz: float,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """All open strings of one strum: which to tighten, which to slacken, which are missing.

    Strike all open strings once, softly and evenly, and let them ring for two seconds. Of
    several strums in a file the one with most strings is told. Two strings of one course
    that cannot be told apart have one reading.

    \b
    Examples:
      station strum take.wav --tuning guitar
      station strum take.wav --tuning guitar:dadgad --capo 2 --a4 441 --json
    """
    from station.commands.strum import StrumOptions, run_strum

    context.exit(run_strum(file, StrumOptions(tuning, capo, a4_hz), as_json, names))
