"""The `station` command: names, options and help; the work is in `station.commands`.

Whatever goes wrong on purpose is said in one line on standard error, with
exit code 1 (the job could not be done) or 2 (the request was wrong).
"""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click
from click.core import ParameterSource

from station import __version__
from station.cli_drum import drum
from station.cli_gauge import gauge
from station.cli_lamps import label, lamps
from station.cli_options import config_option, list_tunings, names_option
from station.cli_pairs import beats, intonation, tour
from station.cli_rehearsal import rehearsal
from station.cli_strings import strum
from station.errors import SettingsError, StationError, UsageError
from station.plain_text import fit_output, path_text

if TYPE_CHECKING:
    from station.music.names import NamingSystem

OUTPUT_FAULTS = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}
"""How a write to standard output fails: no space behind it, or the terminal is gone."""
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class OneLineGroup(click.Group):
    """A group whose commands end in one line and an exit code, never in a traceback."""

    def invoke(self, context: click.Context) -> Any:
        try:
            try:
                return super().invoke(context)
            finally:
                if sys.stdout is not None:
                    sys.stdout.flush()  # what fails should fail here, not when Python ends
        except StationError as error:
            faults = error.faults if isinstance(error, SettingsError) else [str(error)]
            for line in faults:
                click.echo(f"station: {line}", err=True)
            context.exit(error.exit_code)
        except BrokenPipeError:
            # The reader of our output has left (a `| head`): nothing is wrong, and what
            # Python still writes out at its end has nowhere to go.
            drop_output()
            context.exit(0)


def drop_output() -> None:
    """From now on standard output goes nowhere, as the documentation of signal.SIGPIPE advises."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


@click.group(cls=OneLineGroup, context_settings=CONTEXT)
@click.version_option(__version__, prog_name="station")
def cli() -> None:
    """One reference pitch for the whole band: listens, shows every player what to do.

    \b
    Try it without any hardware:
      station demo
    """


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
@click.argument("files", nargs=-1, required=True, type=click.Path(readable=False))
@click.option(
    "--tuning",
    is_eager=True,
    callback=list_tunings,
    help="A tuning such as guitar, bass-5 or guitar:drop-d; 'list' names all.",
)
@click.option("--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz.")
@click.option(
    "--tracker",
    type=click.Choice(["auto", "aubio", "numpy"]),
    default="auto",
    show_default=True,
    help="Who gives the first guess; auto takes aubio where it works.",
)
@names_option
@click.option(
    "--json", "as_json", is_flag=True, help="Readings, notes and hum, a JSON object a line."
)
@click.pass_context
def hear(
    context: click.Context,
    files: tuple[str, ...],
    tuning: str | None,
    a4_hz: float,
    tracker: str,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """Listen to sound files as to live lines: each channel is a line.

    \b
    Examples:
      station hear take.wav
      station hear --tuning guitar:drop-d --a4 441 --json take.wav
      station hear --tuning list
      station hear --names solfege take.wav
    """
    from station.commands.tracker import tracker_choice

    with tracker_choice(tracker) as chosen:
        # Loading what listens takes as long as finding out what to listen with.
        from station.commands.hear import HearOptions, run_hear

        options = HearOptions(tuning, a4_hz, chosen())
    context.exit(run_hear(files, options, as_json, names))


@cli.command()
@click.argument("files", nargs=-1, type=click.Path(readable=False))
@click.option(
    "--rule",
    type=click.Choice(["worst", "mean"]),
    default="worst",
    show_default=True,
    help="Of several instruments: make the worst error least, or the mean square of all.",
)
@names_option
@click.option("--history", is_flag=True, help="Instead: every reference the station had.")
@config_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.option("--csv", "as_csv", is_flag=True, help="With --history: a table.")
@click.pass_context
def reference(
    context: click.Context,
    files: tuple[str, ...],
    rule: Literal["worst", "mean"],
    names: NamingSystem,
    history: bool,
    config: Path | None,
    as_json: bool,
    as_csv: bool,
) -> None:
    """A4 of instruments that cannot be tuned, from a recording of each; and the compromise.

    Play single notes, or two or three at once, each held for a second or two.

    \b
    Examples:
      station reference harmonica.wav
      station reference --json harmonica.wav piano.wav
      station reference --history --config settings.toml
      station reference --history --csv > references.csv
    """
    if history:
        if files:
            raise UsageError(f"--history takes no files, not {path_text(files[0])}: leave one out")
        for given in ("rule", "names"):
            if context.get_parameter_source(given) is ParameterSource.COMMANDLINE:
                raise UsageError(f"--history takes no --{given}: leave one out")
        from station.commands.history import run_history

        run_history(config, as_json, as_csv)
        return
    if as_csv or config is not None:
        option = "--csv" if as_csv else "--config"
        raise UsageError(f"{option} goes with --history: add it, or leave {option} out")
    if not files:
        raise UsageError("no file: name a recording of each instrument, or ask for --history")
    from station.commands.reference import run_reference

    context.exit(run_reference(files, as_json, names, rule))


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
@click.option("--show-code", is_flag=True, help="Show the room code, which is masked otherwise.")
@click.pass_context
def check(context: click.Context, config: Path | None, as_json: bool, show_code: bool) -> None:
    """Look this box over: input, levels, lamps, storage, network. Exit code 1 on a fault.

    \b
    Example:
      station check --config settings.toml
    """
    from station.commands.check import run_check

    context.exit(run_check(config, as_json, show_code))


cli.add_command(drum)
cli.add_command(beats)
cli.add_command(tour)
cli.add_command(intonation)
cli.add_command(strum)
cli.add_command(gauge)
cli.add_command(lamps)
cli.add_command(label)
cli.add_command(rehearsal)


def main() -> None:
    """Entry point of the `station` command."""
    fit_output()
    try:
        cli(prog_name="station")
    except OSError as error:
        if error.errno not in OUTPUT_FAULTS or error.filename is not None:
            raise
        drop_output()
        click.echo(f"station: the output cannot be written: {error.strerror}", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
