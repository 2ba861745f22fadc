"""The `station gauge` command: names, options and help; the work is in `station.commands`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from station.cli_options import names_option

if TYPE_CHECKING:
    from station.music.names import NamingSystem


@click.command()
@click.option("--instrument", help="Whose strings: guitar, bass, mandolin ...")
@click.option("--tuning", help="Its tuning, such as drop-d; without it the usual one.")
@click.option("--scale", help="Scale length, 25.5in or 648mm; without it the usual one.")
@click.option(
    "--set", "gauges", help="Gauges from string 1 on: .010,.013,.017,.026w,.036w,.046w (w: wound)."
)
@click.option(
    "--string",
    "strings",
    multiple=True,
    help="Or one string: E4:.010:plain, E2:.046:round:nickel, A1:unit=9.1g/m:core=.028.",
)
@click.option("--material", help="Of plain strings: steel, nylon, fluorocarbon, gut.")
@click.option(
    "--wrap", help="Of wound ones: nickel-plated, nickel, stainless, phosphor-bronze, bronze."
)
@click.option(
    "--winding", type=click.Choice(["round", "ground", "flat"]), help="How strings are wound."
)
@click.option("--to", help="Gauges that keep the feel in this other tuning.")
@click.option("--bending", is_flag=True, help="With --to: keep how it bends as well as its pull.")
@click.option("--tension", help="Gauges for this pull on every string, 16lb or 72N.")
@click.option("--degrees", help="What so much warmer, or colder (-8), does to the pitch.")
@click.option("--measured", multiple=True, help="Measured inharmonicity of a string: 6=6e-5.")
@click.option(
    "--hear",
    type=click.Path(readable=False),
    help="Measure it in a sound file of the open strings.",
)
@click.option("--a4", "a4_hz", type=float, default=440.0, show_default=True, help="Reference, Hz.")
@names_option
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
def gauge(
    instrument: str | None,
    tuning: str | None,
    scale: str | None,
    gauges: str | None,
    strings: tuple[str, ...],
    material: str | None,
    wrap: str | None,
    winding: Literal["round", "ground", "flat"] | None,
    to: str | None,
    bending: bool,
    tension: str | None,
    degrees: str | None,
    measured: tuple[str, ...],
    hear: str | None,
    a4_hz: float,
    names: NamingSystem,
    as_json: bool,
) -> None:
    """Strings as wire: pull, margin before they break, gauges for another tuning, cold rooms.

    Take care: a string under tension whips when it breaks, mind your eyes; do not tune past the
    margin; neck relief belongs to a repairer when in doubt.

    \b
    Examples:
      station gauge --instrument guitar --set .010,.013,.017,.026w,.036w,.046w
      station gauge --instrument guitar --set 10,13,17,26,36,46 --to drop-d --degrees -8
      station gauge --scale 25.5in --string E4:.010:plain --string E2:.046w:core=.016
      station gauge --scale 34in --string E1:.105w --hear open-e.wav --json
    """
    from station.commands.gauge import GaugeRequest, run_gauge

    request = GaugeRequest(
        instrument, tuning, scale, gauges, strings, material, wrap, winding, to, bending, tension,
        degrees, measured, hear, a4_hz,
    )  # fmt: skip
    run_gauge(request, as_json, names)
