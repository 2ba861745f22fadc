"""`station drum kit`: a kit against the keys and the bass of its songs, and where it could move.

Drummers tune for feel first, so nothing here calls a drum wrong: it says what a drum is in each
song, where it clashes with the bass, and which notes would suit all songs with least turning.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from station.commands.drum_kit_file import KitToRead, read_kit
from station.commands.printed import json_line
from station.music.keys import parse_key
from station.music.kit_targets import LEAST_APART
from station.music.kit_view import kit_view
from station.music.names import NamingSystem, note_in

Data = Mapping[str, Any]
GAP = "  "


def run_kit(wanted: KitToRead, as_json: bool, names: NamingSystem = "english") -> None:
    """Print a kit against its songs; raises SettingsError with a line for every fault.

    ``names`` is for people: with ``as_json`` notes are English whatever it is.
    """
    left_out: list[str] = []
    drums, songs, a4_hz = read_kit(wanted, left_out)
    for line in left_out:
        print(line, file=sys.stderr)  # noqa: T201
    view = kit_view(drums, songs, a4_hz)
    lines = json_lines(view) if as_json else text_lines(view, names)
    for line in lines:
        print(line)  # noqa: T201


def json_lines(view: Data) -> Iterator[str]:
    """An object for each drum, clash and target, then one for the kit."""
    for kind in ("drum", "clash", "target"):
        for said in view["clashes" if kind == "clash" else f"{kind}s"]:
            yield json_line({"kind": kind, **said})
    yield json_line({"kind": "kit", **{key: view[key] for key in ("a4_hz", "spacing", "cost")}})


def text_lines(view: Data, names: NamingSystem = "english") -> Iterator[str]:
    """What the kit is in each song, its clashes and its targets, for people."""
    yield from _columns(_as_it_is(view, names))
    yield ""
    yield from _clashes(view, names)
    yield from _out_of_range(view)
    yield ""
    count = len(view["songs"])
    yield f"Could move, to suit {f'all {count} songs' if count > 1 else 'the song'}:"
    yield from _columns([_target_row(target, names) for target in view["targets"]])
    yield from _spacing(view["spacing"])
    yield "How a drum feels comes first; of both heads' move each takes its share."


def _as_it_is(view: Data, names: NamingSystem) -> list[list[str]]:
    """Drums across, songs down."""
    drums = view["drums"]
    rows = [
        ["", f"A4 {view['a4_hz']:g} Hz", *(drum["drum"] for drum in drums)],
        ["", "", *(_size(drum) for drum in drums)],
        ["", "", *(f"{note_in(d['note'], names)} {d['cents']:+.0f}" for d in drums)],
        ["", "", *(f"{drum['hz']:.1f} Hz" for drum in drums)],
    ]
    for number, song in enumerate(view["songs"]):
        roles = [_role(drum["songs"][number], names) for drum in drums]
        rows.append([song["song"], parse_key(song["key"]).label(names), *roles])
    return rows


def _role(in_song: Data, names: NamingSystem) -> str:
    """What a drum is, and how far up (+) or down the nearest tone is that would be more."""
    role = str(in_song["role"])
    nearest = {"outside": "scale", "scale tone": "chord"}.get(role)
    if nearest is None:
        return role
    note, cents = in_song[f"{nearest}_note"], in_song[f"{nearest}_cents"]
    return f"{role}, {cents:+.0f} to {note_in(note, names)}"


def _size(drum: Data) -> str:
    depth = "" if drum["depth_in"] is None else f" x {_short(drum['depth_in'])}"
    return f"{_short(drum['diameter_in'])}{depth} in"


def _short(inches: float) -> str:
    return f"{round(inches, 1):g}"


def _clashes(view: Data, names: NamingSystem) -> Iterator[str]:
    if not view["clashes"]:
        yield "No drum clashes with the bass."
    songs: dict[tuple[str, str], list[str]] = {}
    for clash in view["clashes"]:
        songs.setdefault((clash["drum"], clash["bass"]), []).append(clash["song"])
    told = {(clash["drum"], clash["bass"]): clash for clash in view["clashes"]}
    for which, clash in told.items():
        overtone = "" if clash["drum_partial"] == 1 else ", in its overtone,"
        yield (
            f"{clash['drum']}{overtone} clashes with the bass's {note_in(clash['bass'], names)}:"
            f" {clash['beat_hz']:.1f} beats a second ({clash['drum_hz']:.1f} Hz by partial"
            f" {clash['bass_partial']}, {clash['bass_hz']:.1f} Hz) in {', '.join(songs[which])}"
        )


def _out_of_range(view: Data) -> Iterator[str]:
    for drum in view["drums"]:
        if not drum["in_range"]:
            side = "below" if drum["hz"] < drum["low_hz"] else "above"
            yield (
                f"{drum['drum']} is {side} what its size is usually tuned to,"
                f" {drum['low_hz']:.0f} to {drum['high_hz']:.0f} Hz"
            )


def _target_row(target: Data, names: NamingSystem) -> list[str]:
    left = target["clashes"]
    after = f"{left} clash{'es' if left != 1 else ''} left" if left else "no clash"
    roles = ", ".join(song["role"] for song in target["songs"])
    note = note_in(target["note"], names)
    if target["keep"]:
        return [target["drum"], note, "kept as it is", "", "", after, roles]
    cents, percent = target["move_cents"], target["tension_percent"]
    word = "in: may stay" if target["verdict"] == "in" else target["verdict"]
    move = f"{abs(cents):.0f} cents"
    return [target["drum"], note, word, move, f"tension {percent:+.1f} %", after, roles]


def _spacing(spacing: Data) -> Iterator[str]:
    if spacing["intervals"]:
        yield f"Toms from the highest down: {', '.join(spacing['intervals'])} apart."
    least = spacing["least_semitones"]
    if least is None:
        yield "The kept toms leave no room to have the larger ones lower."
    elif least < LEAST_APART:
        yield f"There is room for no more than {least} semitones between some of them."


def _columns(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Rows with their columns one below the other."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        padded = (text.ljust(width) for text, width in zip(row, widths, strict=True))
        yield GAP.join(padded).rstrip()
