"""What `station check` says of the line input: the device, each line's level and hum."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any, NamedTuple

import numpy as np

from station.commands.check_item import Item, LineItem, State, fault, ok, remark
from station.errors import LineInputError, LineInputRefusedError, ToneError
from station.measure.decimate import Decimator
from station.measure.hum import PAUSES_S, find_hum
from station.measure.levels import dbfs, level_of
from station.room.mains import REMEDY, hum_words, is_loud
from station.room.model import Player
from station.settings import InputSettings
from station.sound.blocks import Samples
from station.sound.devices import capture_names
from station.sound.line_input import LineFormat, LineInput
from station.sound.tone_out import OFF, OFF_REASON, list_outputs

LISTEN_S = 1.0
LISTEN_LIMIT_S = 4.0
"""A device slower than a quarter of its rate is not waited for any longer."""
ANY_OUTPUT = "default"
NO_TONE = 'set device in [tone] to an output that is there, or to "off"; phones can sound it, too'
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
        yield line_item(heard | hum_of(samples, wanted.rate_hz), _who(line, players))


def look_at_cards() -> Item:
    """Every input the kernel knows, by the name that stays: what `device` in [input] may be."""
    names = capture_names()
    return ok("cards", ", ".join(names) or "the kernel knows no sound card with an input")


def look_at_tone(device: str) -> Item:
    """Whether the reference tone has a card to come out of, by name; nothing is played."""
    if device == OFF:
        return ok("tone", OFF_REASON)
    try:
        names = [name for name, _ in list_outputs()]
    except ToneError as error:
        return remark("tone", str(error), NO_TONE)
    if device in names or (device == ANY_OUTPUT and names):
        return ok("tone", f"comes out of {device}; phones can sound it, too")
    listed = ", ".join(names) or "none at all"
    return remark("tone", f"no output {device}: there is {listed}", NO_TONE)


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


def hum_of(samples: Samples, rate_hz: int) -> dict[str, float]:
    """The mains hum in about a second of one line, by the names a Level has for it."""
    decimator = Decimator(rate_hz)
    lowered = decimator.push(samples)
    if lowered.size < PAUSES_S[0] * decimator.rate_hz:
        return {}
    hum = find_hum(lowered, decimator.rate_hz, 0)
    return {} if hum is None else {"hum_hz": hum.hz, "hum_dbfs": dbfs(hum.rms)}


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


def line_item(level: dict[str, Any], player: str) -> LineItem:
    """A line's level and hum, as LevelMeter or the page's JSON gives them, in words.

    `player` names who plays on the line, empty when nobody does. Without a
    level, or with null for one, too little of the line was heard to tell.
    """
    name = f"line {level['line']}"
    if level.get("rms_dbfs") is None:
        found = f"{player or 'nobody'}: not heard yet"
        return LineItem(name, "remark", found, "check again in a moment")
    found = (
        f"{player or 'nobody'}: {level['state']}, {level['rms_dbfs']:.1f} dBFS,"
        f" peak {level['peak_dbfs']:.1f} dBFS"
    )
    hum_hz, hum_dbfs = level.get("hum_hz"), level.get("hum_dbfs")
    if hum_hz is not None and hum_dbfs is not None:
        found = f"{found}, {hum_words(hum_hz, hum_dbfs)}"
        hum_hz, hum_dbfs = round(hum_hz, 3), round(hum_dbfs, 2)  # no more is known of it
    troubles = list(_troubles(level, player))
    whole = ", ".join([found, *(what for what, _ in troubles)])
    remedies = "; ".join(remedy for _, remedy in troubles)
    state: State = "remark" if troubles else "ok"
    return LineItem(name, state, whole, remedies or None, hum_hz, hum_dbfs)


def _troubles(level: dict[str, Any], player: str) -> Iterator[tuple[str, str]]:
    """What is wrong with a line, each with its remedy."""
    if level["clipped"]:
        yield "clipping", "turn the gain of this line down"
    if abs(level["dc"]) >= DC_LIMIT:
        share = f"{100 * level['dc']:+.1f} %"
        yield f"DC of {share} of full scale", "try another cable or input: strings give no DC"
    if level["state"] == "no signal" and player:
        yield "not even noise", f"plug {player} in and see that the line is not muted"
    if is_loud(level.get("hum_dbfs")):
        yield "the hum is loud", REMEDY
