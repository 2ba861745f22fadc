"""`station hear`: the live listeners over sound files, as fast as they can."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from station.commands.printed import complain, on_one_line, rounded
from station.errors import SoundFileError, StationError
from station.measure.listener import Listener
from station.measure.types import Heard, Level, Note, Reading
from station.music.names import NamingSystem, note_in
from station.music.pitch import check_a4
from station.music.tunings import find_tuning_by_name, load_instruments
from station.music.verdict import verdict
from station.plain_text import path_text, valid_text
from station.room.hearing import attribute, judge, pitch_payload
from station.room.mains import REMEDY, LineHum, hum_words, is_loud, mains_hz
from station.room.model import Player
from station.room.seats import Seat, take_seat
from station.sound.files import read_blocks

IN_CENTS = 2.0
LEAST_SHOWN_CENTS = 0.01  # nothing here is exact
NOT_IN_FILES = ("player", "target_hz")
NAME_WIDTHS: Mapping[NamingSystem, int] = {"english": 3, "german": 4, "solfege": 5}


@dataclass(frozen=True, slots=True)
class HearOptions:
    """What to listen for: the tuning's name or None, the reference, the coarse tracker."""

    tuning: str | None = None
    a4_hz: float = 440.0
    tracker: str = "aubio"


class FileRoom:
    """What the room would say of one line of a file: verdicts of pitches, and hum once."""

    def __init__(self, options: HearOptions) -> None:
        """Raises TuningError and ReferenceRangeError for what cannot be meant."""
        self._a4_hz = check_a4(options.a4_hz)
        self._hum = LineHum()
        self._seats: list[Seat] = []
        if options.tuning is not None:
            tuning = find_tuning_by_name(options.tuning)
            player = Player("file", "file", tuning.instrument, tuning.key)
            self._seats = [take_seat(player, load_instruments(), lines=1)]

    def say_hum(self, level: Level) -> dict[str, Any] | None:
        """The JSON of the line's hum when it is first found, and when it has moved since."""
        hz, dbfs = level.hum_hz, level.hum_dbfs
        if hz is None or dbfs is None or not self._hum.hear(hz, dbfs, level.at_s):
            return None
        mains = mains_hz(hz)
        return {"line": level.line, "at_s": level.at_s, "hz": hz, "dbfs": dbfs, "mains_hz": mains}

    def say(self, heard: Reading | Note) -> dict[str, Any]:
        """The JSON of a reading or note."""
        if not self._seats:
            said = pitch_payload(heard, None, None, self._a4_hz)
            said["verdict"] = verdict(said["cents"], IN_CENTS)
            return said
        found = attribute(heard.hz, self._seats, self._a4_hz)[0]
        # Each pitch is judged by itself: a file has no lamp that could flicker.
        return pitch_payload(heard, found, judge(heard, found, None, IN_CENTS), self._a4_hz)


def hear_file(path: str, options: HearOptions) -> Iterator[dict[str, Any]]:
    """Every reading and note of every line of the file at `path`, and hum, as they are heard.

    Raises SoundFileError; what was heard before a fault in the file comes first.
    """
    info, blocks = read_blocks(path)
    listeners = [
        Listener(info.rate_hz, line, options.tracker) for line in range(1, info.channels + 1)
    ]
    rooms = [FileRoom(options) for _ in listeners]
    fault: SoundFileError | None = None
    try:
        for block in blocks:
            for listener, room, samples in zip(listeners, rooms, block.T, strict=True):
                yield from _said(path, listener.push(samples), room)
    except SoundFileError as error:
        fault = error
    for listener, room in zip(listeners, rooms, strict=True):
        yield from _said(path, listener.finish(), room)
    if fault is not None:
        raise fault


def _said(path: str, heard: list[Heard], room: FileRoom) -> Iterator[dict[str, Any]]:
    for item in heard:
        if isinstance(item, Reading | Note):
            kind = "reading" if isinstance(item, Reading) else "note"
            yield _object(kind, path, room.say(item))
        elif isinstance(item, Level) and (hum := room.say_hum(item)) is not None:
            yield _object("hum", path, hum)


def _object(kind: str, path: str, said: dict[str, Any]) -> dict[str, Any]:
    told = {"kind": kind, "file": valid_text(path)}
    return told | {k: rounded(v) for k, v in said.items() if k not in NOT_IN_FILES}


def note_line(said: dict[str, Any], names: NamingSystem = "english") -> str:
    """One played note for people, named in their system."""
    name = note_in(said["note"], names).ljust(NAME_WIDTHS[names])
    unsure = max(said["uncertainty_cents"], LEAST_SHOWN_CENTS)
    text = (
        f"{path_text(said['file'])}  line {said['line']}"
        f"  {said['onset_s']:7.2f} - {said['end_s']:.2f} s"
        f"  {name} {said['cents']:+6.1f} cents ±{unsure:.2f}"
        f"  {said['hz']:9.3f} Hz  {_what_to_do(said, names)}"
    )
    return f"{text}  (the line clips)" if said["clipped"] else text


def hum_line(said: dict[str, Any]) -> str:
    """A line's hum for people; what helps only where it matters."""
    text = (
        f"{path_text(said['file'])}  line {said['line']}"
        f"  {said['at_s']:7.2f} s  {hum_words(said['hz'], said['dbfs'])}"
    )
    return f"{text}: {REMEDY}" if is_loud(said["dbfs"]) else text


def _what_to_do(said: dict[str, Any], names: NamingSystem) -> str:
    """The word, and for a string with another target than the nearest note the way to it."""
    if said["verdict"] is None:
        return "no open string"
    if not said["string"]:
        return str(said["verdict"])
    text = f"string {said['string']}: {said['verdict']}"
    if said["target"] == said["note"]:
        return text
    target = note_in(said["target"], names)
    return f"{text} ({said['string_cents']:+.1f} cents from {target})"


def run_hear(
    paths: tuple[str, ...], options: HearOptions, as_json: bool, names: NamingSystem = "english"
) -> int:
    """Print what is heard in each file; faults go to standard error, a line each.

    ``names`` is for people: with ``as_json`` notes are English whatever it is.
    """
    FileRoom(options)  # a wrong tuning or reference is said before any file is opened
    worst = 0
    for path in paths:
        notes = 0
        try:
            for said in hear_file(path, options):
                notes += said["kind"] == "note"
                if as_json:
                    print(on_one_line(said), flush=True)  # noqa: T201
                elif said["kind"] == "note":
                    print(note_line(said, names), flush=True)  # noqa: T201
                elif said["kind"] == "hum":
                    print(hum_line(said), flush=True)  # noqa: T201
        except StationError as error:
            worst = max(worst, complain(str(error), error.exit_code))
            continue
        if not notes and not as_json:
            print(f"{path_text(path)}  no note heard: silence, noise, or several at once")  # noqa: T201
    return worst
