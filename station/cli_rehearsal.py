"""The `station rehearsal` commands: names, options and help; the work is in `station.commands`."""

from __future__ import annotations

from pathlib import Path

import click

from station.cli_options import config_option

NUMBER = click.argument("number", type=click.IntRange(1), required=False)


@click.group()
def rehearsal() -> None:
    """Past rehearsals: the reference, the roll call, gaps and who drifted.

    \b
    Example:
      station rehearsal export 12 --out evening.html
    """


@rehearsal.command(name="list")
@config_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
def list_all(config: Path | None, as_json: bool) -> None:
    """A line for each rehearsal that is kept, newest first.

    \b
    Example:
      station rehearsal list --config settings.toml
    """
    from station.commands.rehearsal import run_list

    run_list(config, as_json)


@rehearsal.command()
@NUMBER
@config_option
@click.option("--json", "as_json", is_flag=True, help="Everything noted, a JSON object a line.")
def show(number: int | None, config: Path | None, as_json: bool) -> None:
    """What was noted in a rehearsal, the last one unless its number is given.

    \b
    Example:
      station rehearsal show 12
    """
    from station.commands.rehearsal import run_show

    run_show(config, number, as_json)


@rehearsal.command()
@NUMBER
@config_option
@click.option("--out", type=click.Path(path_type=Path), help="The file; else standard output.")
@click.option("--csv", "as_csv", is_flag=True, help="A table in place of the report.")
def export(number: int | None, config: Path | None, out: Path | None, as_csv: bool) -> None:
    """A report with plots as one HTML page that prints to A4, or a table.

    \b
    Examples:
      station rehearsal export --out evening.html
      station rehearsal export 12 --csv --out evening.csv
    """
    from station.commands.rehearsal import run_export

    run_export(config, number, out, as_csv)
