"""What `station check` says of the line input: the device, and each line's level."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any, NamedTuple

import numpy as np

from station.commands.check_item import Item, fault, ok, remark
from station.errors import LineInputError, LineInputRefusedError
from station.measure.levels import level_of
from station.room.model import Player
from station.settings import InputSettings
from station.sound.blocks import Samples
from station.sound.line_input import LineFormat, LineInput

LISTEN_S = 1.0
LISTEN_LIMIT_S = 4.0
"""A device slower than a quarter of its rate is not waited for any longer."""
DC_LIMIT = 0.01
"""Part of full scale; a mean further from zero takes headroom (common practice, no source)."""


class Sound(NamedTuple):
    """What came in: samples of shape (frames, channels), overruns meanwhile."""

    samples: Samples
    overruns: int


def look_at_input(wanted: InputSettings, players: Sequence[Player]) -> Iterator[Item]:
    """The device, then every line, from about a second of listening."""
    try:
        sound = _listen(wanted)
    except LineInputError as error:
        yield broken_input(str(error), isinstance(error, LineInputRefusedError))
        return
    yield input_item(
        f"{wanted.device}: {wanted.channels} at {wanted.rate_hz} Hz, {wanted.sample_format}",
        sound.overruns,
    )
    for line in range(1, wanted.channels + 1):
        samples = sound.samples[:, line - 1]
        heard = asdict(level_of(samples, line, 0.0)) if samples.size else {"line": line}
        yield line_item(heard, _who(line, players))


def _listen(wanted: InputSettings) -> Sound:
    """About a second of the input; raises LineInputError."""
    pieces: list[Samples] = []
    frames = overruns = 0
    with LineInput(LineFormat(**asdict(wanted))) as line:
        limit_s = time.monotonic() + LISTEN_LIMIT_S
        for block in line:
            pieces.append(block.samples)
            frames += len(block.samples)
            overruns = block.overruns
            if frames >= LISTEN_S * wanted.rate_hz or time.monotonic() > limit_s:
                break
    return Sound(np.concatenate(pieces), overruns)


def _who(line: int, players: Sequence[Player]) -> str:
    return " and ".join(player.name for player in players if player.line == line)


def input_item(found: str, overruns: int) -> Item:
    """An input that gives samples."""
    if not overruns:
        return ok("input", found)
    return remark(
        "input",
        f"{found}, {overruns} overrun{'' if overruns == 1 else 's'}",
        "end other programs, or set frames_per_block in [input] higher",
    )


def broken_input(reason: str, refused: bool = False) -> Item:
    """An input that gives none; `refused` when waiting for it cures nothing."""
    if refused:
        return fault("input", reason, "correct [input] in the settings")
    return fault(
        "input",
        reason,
        "plug it in, or set device in [input] to one that is there; if a station uses it, give"
        " check that station's --config",
    )


def line_item(level: dict[str, Any], player: str) -> Item:
    """A line's level, as LevelMeter or the page's JSON gives it, in words.

    `player` names who plays on the line, empty when nobody does. Without a
    level, or with null for one, too little of the line was heard to tell.
    """
    name = f"line {level['line']}"
    if level.get("rms_dbfs") is None:
        return remark(name, f"{player or 'nobody'}: not heard yet", "check again in a moment")
    found = (
        f"{player or 'nobody'}: {level['state']}, {level['rms_dbfs']:.1f} dBFS,"
        f" peak {level['peak_dbfs']:.1f} dBFS"
    )
    troubles = list(_troubles(level, player))
    if not troubles:
        return ok(name, found)
    whats, remedies = zip(*troubles, strict=True)
    return remark(name, ", ".join([found, *whats]), "; ".join(remedies))


def _troubles(level: dict[str, Any], player: str) -> Iterator[tuple[str, str]]:
    """What is wrong with a line, each with its remedy."""
    if level["clipped"]:
        yield "clipping", "turn the gain of this line down"
    if abs(level["dc"]) >= DC_LIMIT:
        share = f"{100 * level['dc']:+.1f} %"
        yield f"DC of {share} of full scale", "try another cable or input: strings give no DC"
    if level["state"] == "no signal" and player:
        yield "not even noise", f"plug {player} in and see that the line is not muted"
