"""The `station` command: names, options and help; the work is in `station.commands`.

Whatever goes wrong on purpose is said in one line on standard error, with
exit code 1 (the job could not be done) or 2 (the request was wrong).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from station import __version__
from station.errors import StationError

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class OneLineGroup(click.Group):
    """A group whose commands end in one line and an exit code, never in a traceback."""

    def invoke(self, context: click.Context) -> Any:
        try:
            try:
                return super().invoke(context)
            finally:
                sys.stdout.flush()  # what fails should fail here, not when Python ends
        except StationError as error:
            for line in str(error).splitlines():
                click.echo(f"station: {line}", err=True)
            context.exit(error.exit_code)
        except BrokenPipeError:
            # The reader of our output has left (a `| head`): nothing is wrong, and what
            # Python still writes out at its end has nowhere to go.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            context.exit(0)


@click.group(cls=OneLineGroup, context_settings=CONTEXT)
@click.version_option(__version__, prog_name="station")
def cli() -> None:
    """One reference pitch for the whole band: listens, shows every player what to do.

    \b
    Try it without any hardware:
      station demo
    """


def config_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """--config FILE, shared by every command that reads the settings."""
    return click.option(
        "--config",
        type=click.Path(path_type=Path),
        help="Settings file (TOML). Without it the defaults hold.",
    )(command)


@cli.command()
@config_option
def run(config: Path | None) -> None:
    """The daemon: listens on the line input, serves the page, lights the lamps.

    \b
    Example:
      station run --config /etc/rehearsal-room-station/settings.toml
    """
    from station.commands.serve import run_station

    run_station(config)


@cli.command()
@config_option
@click.option("--port", type=click.IntRange(0, 65535), help="Port of the page.")
@click.option("--a4", "a4_hz", type=float, help="Reference to begin with, in Hz.")
def demo(config: Path | None, port: int | None, a4_hz: float | None) -> None:
    """The daemon with a simulated band: no sound card, no GPIO, nothing kept.

    \b
    Example:
      station demo --port 8000
    """
    from station.commands.serve import run_demo

    run_demo(config, port, a4_hz)


@cli.command()
@click.argument("files", nargs=-1, required=True, type=click.Path())
@click.option(
    "--tuning", help="A tuning such as guitar, bass-5 or guitar:drop-d; 'list' names all."
)
@click.option("--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz.")
@click.option(
    "--tracker",
    type=click.Choice(["auto", "aubio", "numpy"]),
    default="auto",
    show_default=True,
    help="Who gives the first guess; auto takes aubio where it works.",
)
@click.option("--json", "as_json", is_flag=True, help="Readings and notes, a JSON object a line.")
@click.pass_context
def hear(
    context: click.Context,
    files: tuple[str, ...],
    tuning: str | None,
    a4_hz: float,
    tracker: str,
    as_json: bool,
) -> None:
    """Listen to sound files as to live lines: each channel is a line.

    \b
    Examples:
      station hear take.wav
      station hear --tuning guitar:drop-d --a4 441 --json take.wav
    """
    from station.commands.hear import HearOptions, run_hear
    from station.commands.tracker import choose_tracker

    options = HearOptions(tuning, a4_hz, choose_tracker(tracker))
    context.exit(run_hear(files, options, as_json))


@cli.command()
@config_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def settings(config: Path | None, as_json: bool) -> None:
    """Show the settings that hold, secrets masked; say every fault in the file.

    \b
    Example:
      station settings --config settings.toml
    """
    from station.commands.show_settings import run_settings

    run_settings(config, as_json)


@cli.command()
@config_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.pass_context
def check(context: click.Context, config: Path | None, as_json: bool) -> None:
    """Look this box over: input, levels, lamps, storage, network. Exit code 1 on a fault.

    \b
    Example:
      station check --config settings.toml
    """
    from station.commands.check import run_check

    context.exit(run_check(config, as_json))


def main() -> None:
    """Entry point of the `station` command."""
    cli(prog_name="station")


if __name__ == "__main__":
    main()
