"""The `station lamps` commands and `station label`; the work is in `station.commands`."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from station.cli_options import config_option

if TYPE_CHECKING:
    from station.lamps.lights import PinsName

Command = Callable[..., Any]


def pins_option(command: Command) -> Command:
    """--pins, shared by both."""
    return click.option(
        "--pins",
        type=click.Choice(["gpio", "mock"]),
        help="The header's pins, or mock ones that only pretend. Without it as the settings say.",
    )(command)


def a_time(_: click.Context, __: click.Parameter, seconds: float) -> float:
    """Seconds that are a number: no limit keeps NaN out."""
    if math.isnan(seconds):
        raise click.BadParameter("nan is not a number of seconds.")
    return seconds


def json_option(command: Command) -> Command:
    """--json, a line each."""
    return click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")(command)


@click.group()
def lamps() -> None:
    """Try the lamps and buttons. The station itself must not run meanwhile: it holds the pins.

    \b
    Example:
      station lamps test
    """


@lamps.command()
@config_option
@pins_option
@click.option(
    "--seconds",
    callback=a_time,
    type=click.FloatRange(0.02, 10.0),
    default=1.0,
    show_default=True,
    help="How long each lamp is lit; a sign takes three times as long.",
)
@json_option
@click.pass_context
def test(
    context: click.Context,
    config: Path | None,
    pins: PinsName | None,
    seconds: float,
    as_json: bool,
) -> None:
    """Light every lamp in turn with its name and pin, then show what the signs look like.

    \b
    Example:
      station lamps test --seconds 2
    """
    from station.commands.lamps import run_lamps_test

    context.exit(run_lamps_test(config, pins, seconds, as_json))


@lamps.command()
@config_option
@pins_option
@click.option(
    "--seconds",
    callback=a_time,
    type=click.FloatRange(0.1, 600.0),
    default=20.0,
    show_default=True,
    help="How long to wait for presses.",
)
@json_option
@click.pass_context
def buttons(
    context: click.Context,
    config: Path | None,
    pins: PinsName | None,
    seconds: float,
    as_json: bool,
) -> None:
    """Say every press of the buttons, short or long. Exit code 1 when one is stuck.

    \b
    Example:
      station lamps buttons --seconds 30
    """
    from station.commands.lamps import run_buttons

    context.exit(run_buttons(config, pins, seconds, as_json))


@click.command()
@config_option
@click.option("--address", help="The page's address, where the box's own is not to be printed.")
@click.option("--no-code", is_flag=True, help="Leave out the room code.")
@click.option(
    "--format",
    "kind",
    type=click.Choice(["svg", "html"]),
    help="A picture, or a sheet of A4 to print and cut. Without it by the file's ending.",
)
@click.option(
    "--output", type=click.Path(path_type=Path, dir_okay=False), help="A file; else it is printed."
)
@click.pass_context
def label(
    context: click.Context,
    config: Path | None,
    address: str | None,
    no_code: bool,
    kind: Literal["svg", "html"] | None,
    output: Path | None,
) -> None:
    """A label to print for the box: its name, the page's address and QR code, the room code.

    \b
    Example:
      station label --config settings.toml --output label.html
    """
    from station.commands.label import run_label

    context.exit(run_label(config, address, not no_code, kind, output))
