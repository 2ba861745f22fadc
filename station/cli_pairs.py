"""`station beats`, `station tour` and `station intonation`: names, options and help; the work
is in `station.commands`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from station.cli_options import list_tunings, names_option

if TYPE_CHECKING:
    from station.music.names import NamingSystem

a4_option = click.option(
    "--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz."
)


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(readable=False))
@click.option("--pair", help="Two strings: E2-A2, or by number in a tuning: 6-5.")
@click.option(
    "--tuning",
    is_eager=True,
    callback=list_tunings,
    help="A tuning such as guitar or guitar:drop-d; 'list' names all.",
)
@click.option(
    "--way",
    type=click.Choice(["open", "harmonics", "fretted"]),
    help="How they are sounded; without it, as it sounds.",
)
@click.option("--hold", help="The string that is in its place: its note or number.")
@a4_option
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.pass_context
def beats(
    context: click.Context,
    files: tuple[str, ...],
    pair: str | None,
    tuning: str | None,
    way: Literal["open", "harmonics", "fretted"] | None,
    hold: str | None,
    a4_hz: float,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """How fast two strings beat, how fast they should, and which one to move.

    Sound both at once and let them ring for three seconds: the harmonics over frets 5 and 7, a
    unison at a fret, an octave, two open strings, a bowed fifth, a course. In equal temperament
    most of them rightly beat slowly: what to leave is said.

    Keep your eyes away from strings under tension.

    \b
    Examples:
      station beats take.wav --pair E2-A2
      station beats take.wav --tuning guitar:drop-d --pair 6-5 --way harmonics --json
      station beats take.wav --tuning bass
    """
    from station.commands.beats import BeatOptions, run_beats

    options = BeatOptions(pair, tuning, way, hold, a4_hz)
    context.exit(run_beats(files, options, as_json, names))


@click.command()
@click.argument("tuning", is_eager=True, callback=list_tunings)
@a4_option
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
def tour(tuning: str, a4_hz: float, names: NamingSystem, as_json: bool) -> None:
    """The whole round of an instrument's pairs: which fret on which string, what beat to leave.

    With what adds up if every pair is left beatless instead.

    \b
    Examples:
      station tour guitar
      station tour bass-5 --a4 442 --json
    """
    from station.commands.tour import run_tour

    run_tour(tuning, a4_hz, as_json, names)


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(readable=False))
@click.option("--scale", help="Scale length: 648, 648mm or 25.5in.")
@click.option("--tuning", help="Instead of --scale: an instrument, for its usual scale length.")
@click.option("--map", "whole_neck", is_flag=True, help="Every fretted note, not the 12th alone.")
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.pass_context
def intonation(
    context: click.Context,
    files: tuple[str, ...],
    scale: str | None,
    tuning: str | None,
    whole_neck: bool,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """Whether a string's saddle sits right: the fretted 12th against the open string.

    One string a call. Play it open (or its harmonic at the 12th fret), then pressed at the 12th,
    and the same again three times or more, each note by itself; with --map every fret you like.

    Before a saddle is moved: slacken the string, keep your eyes away from it, follow the maker's
    advice; where neck or bridge are in doubt a repairer decides.

    \b
    Examples:
      station intonation string6.wav --scale 648
      station intonation string6.wav --tuning guitar --map --json
    """
    from station.commands.intonation import run_intonation

    context.exit(run_intonation(files, scale, tuning, whole_neck, as_json, names))
