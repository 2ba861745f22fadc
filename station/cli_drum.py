"""The `station drum` commands: names, options and help; the work is in `station.commands`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

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
@click.argument("files", nargs=-1, required=True, type=click.Path(readable=False))
@click.option("--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz.")
@click.option("--compare", type=click.Path(readable=False), help="The same drum, damped anew.")
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.pass_context
def tap(
    context: click.Context,
    files: tuple[str, ...],
    a4_hz: float,
    compare: str | None,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """A drum's pitch, its overtone, how long it rings and whether its heads beat, from taps.

    Tap the middle of the head five times and let it ring. What hit the rim, bounced, or is
    another drum is left out, and said. With --compare the same drum after a change of
    damping: mode by mode.

    \b
    Examples:
      station drum tap tom.wav
      station drum tap open.wav --compare muffled.wav --json
    """
    from station.commands.drum_tap import run_tap

    context.exit(run_tap(files, a4_hz, as_json, names, compare))


@drum.command()
@click.argument("file", type=click.Path(readable=False))
@click.option("--lugs", type=int, required=True, help="How many lugs: 4, 5, 6, 8, 10 or 12.")
@click.option(
    "--order",
    type=click.Choice(["clockwise", "cross"]),
    default="clockwise",
    show_default=True,
    help="In which order the lugs were tapped.",
)
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.pass_context
def head(
    context: click.Context,
    file: str,
    lugs: int,
    order: Literal["clockwise", "cross"],
    as_json: bool,
) -> None:
    """Lug by lug: what a recorded round of taps says of a drum head, and what to turn.

    Lay a finger lightly on the centre and tap an inch and a half to two inches from each lug, lug 1
    first, then clockwise; or several taps in a row at every lug, the same number at each.

    Opposite lugs share their modes: which of the two is off cannot be heard. The lug farthest
    out is named, with all those that may be the one instead.

    Take care: stop when a head wrinkles, creaks without end or the key goes hard; a dented or split
    head cannot be tuned even; protect your ears.

    \b
    Examples:
      station drum head tom.wav --lugs 6
      station drum head tom.wav --lugs 8 --order cross --json
    """
    from station.commands.drum_head import run_head

    context.exit(run_head(file, lugs, order, as_json))


@drum.command()
@click.argument("batter", type=click.Path(readable=False))
@click.argument("resonant", type=click.Path(readable=False))
@click.option("--snare-side", is_flag=True, help="The resonant head is a snare's thin one.")
@click.option("--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz.")
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.pass_context
def heads(
    context: click.Context,
    batter: str,
    resonant: str,
    snare_side: bool,
    a4_hz: float,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """Batter against resonant head: which is higher, how far apart, whether they fight.

    Tap each head five times in the middle with the other one damped, a file for each; a snare
    with its wires off. There is no rule: what you like is right.

    \b
    Examples:
      station drum heads top.wav bottom.wav
      station drum heads top.wav bottom.wav --snare-side --json
    """
    from station.commands.drum_heads import run_heads

    context.exit(run_heads(batter, resonant, snare_side, a4_hz, as_json, names))


@drum.command()
@click.option(
    "--kit",
    "file",
    type=click.Path(path_type=Path, readable=False),
    help="Kit and songs, TOML or JSON.",
)
@click.option(
    "--drum",
    "drums",
    multiple=True,
    help='"high tom:10x7:G3+12", inches or mm; ":snare", ":bass" or ":timbale" last.',
)
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
      station drum kit --kit drums.json
      station drum kit --drum "floor tom:16x14:A2" --song "Low tide:E minor:E1,A1" --json
    """
    from station.commands.drum_kit import run_kit
    from station.commands.drum_kit_file import KitToRead

    run_kit(KitToRead(file, drums, songs, a4_hz), as_json, names)
