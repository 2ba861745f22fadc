"""Crooked input for as long as there is time: what is taken, what refused, what breaks.

    nice .venv/bin/python -m tests.bench.bench_fuzz [MINUTES]

Sound files, settings, song tables, the capture child's pipe, databases and what is
stored in them (`tests.support.fuzz`), each for a share of the time with ever new examples.
Prints for each how many examples, how many were taken as they were, the slowest, and
every failure, made as small as it can be. Ends with 1 if there was one.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from station.sound import wire
from tests.support import fuzz

MINUTES = 10.0
ROUND = 400  # examples between two looks at the clock
FORMATS = (
    ("wav", "PCM_16"), ("wav", "PCM_24"), ("wav", "FLOAT"), ("wav", "ULAW"), ("aiff", "PCM_16"),
    ("flac", "PCM_16"), ("w64", "PCM_16"), ("rf64", "PCM_16"), ("ogg", "VORBIS"), ("au", "PCM_16"),
    ("caf", "PCM_16"), ("mp3", "MPEG_LAYER_III"),
)  # fmt: skip


class Told:
    """What one kind of input came to."""

    def __init__(self) -> None:
        self.examples = self.taken = 0
        self.slowest_s = 0.0
        self.faults: list[str] = []


def sound_files(folder: Path) -> list[bytes]:
    """A short one of every format that can be written here."""
    rng = np.random.default_rng(3)
    made = []
    for suffix, subtype in FORMATS:
        path = folder / f"whole.{suffix}"
        try:
            soundfile.write(path, 0.1 * rng.standard_normal((1200, 2)), 48_000, subtype=subtype)
        except (soundfile.LibsndfileError, ValueError):
            print(f"not written here: {suffix} {subtype}")
            continue
        made.append(path.read_bytes())
        path.unlink()
    return made


def pipes() -> SearchStrategy[bytes]:
    records = [
        wire.pack(wire.Record(kind, payload, 7, 2**40, 3, 1.5, 0.25, 3))
        for kind in (wire.OPENED, wire.BLOCK, wire.MISSING, b"?")
        for payload in (b"", b"hw:CARD=Box,DEV=0", bytes(range(240)))
    ]
    bits = st.sampled_from([*records, wire.MAGIC, b"\xff" * 8, b"\x00" * 8])
    return st.lists(bits, max_size=5).map(b"".join).flatmap(lambda raw: fuzz.changed(raw, bits))


def tables() -> SearchStrategy[str]:
    whole = (
        "title,key,bass,notes,drums,tove\n"
        'Low tide,E minor,E1 A1,"quiet, at first",high tom G3,drop-d capo 2\nPaper lantern,,,,,\n'
    )
    bits = st.sampled_from([
        b",", b";", b"\t", b'"', b'""', b"\n", b"\r", b"\x00", b"'=", b"=1+1", "\ufeff".encode(),
        b"title", b"tove", b"Tove", b"capo 99", b"E minor", b"a" * 3000, b",,,,,,,,,,,,\n" * 40,
    ])  # fmt: skip
    raw = fuzz.changed(whole.encode(), bits) | st.lists(bits, max_size=20).map(b"".join)
    return raw.map(lambda each: each.decode("utf-8", "replace"))


def row_check(whole: bytes, folder: Path) -> Callable[[Any], bool]:
    """Checks a database in which statements have been executed."""

    def check(edits: list[str]) -> bool:
        path = folder / "room.sqlite"
        path.write_bytes(whole)
        fuzz.spoil_rows(path, edits)
        return fuzz.check_database(path)

    return check


def byte_check(whole: bytes, folder: Path) -> Callable[[Any], bool]:
    """Checks a database overwritten in spots and cut off."""

    def check(example: tuple[list[tuple[int, bytes]], int]) -> bool:
        path = folder / "room.sqlite"
        path.write_bytes(fuzz.spoil_bytes(whole, *example))
        return fuzz.check_database(path)

    return check


def kinds(folder: Path) -> dict[str, tuple[SearchStrategy[Any], Callable[[Any], Any]]]:
    """Every kind of input: what to draw, and what must hold of it."""
    sounds = sound_files(folder)
    database = fuzz.stored_room(folder / "room.sqlite")
    fuzz.clear(folder)
    bits = st.sampled_from([b"data", b"fmt ", b"ds64", b"COMM", b"\xff\xff\xff\xff", b"\x00" * 4])
    return {
        "settings": (fuzz.settings_files, lambda raw: fuzz.check_settings(raw, folder)),
        "sound files": (
            st.sampled_from(sounds).flatmap(lambda raw: fuzz.changed(raw, bits)),
            lambda raw: fuzz.check_sound(raw, folder / "take.wav"),
        ),
        "pipe": (pipes(), fuzz.check_wire),
        "song tables": (tables(), fuzz.check_songs),
        "database rows": (fuzz.statements, row_check(database, folder)),
        "database bytes": (
            st.tuples(fuzz.spots, st.integers(0, 2 * len(database))),
            byte_check(database, folder),
        ),
        "stored parts": (fuzz.parts(), lambda spoilt: not fuzz.check_restore(spoilt)),
    }


def run_for(
    limit_s: float, strategy: SearchStrategy[Any], check: Callable[[Any], Any], folder: Path
) -> Told:
    """Round after round until the time is up or something broke."""
    told, began_s = Told(), time.monotonic()

    def one(example: Any) -> None:
        fuzz.clear(folder)
        at_s = time.process_time()
        told.taken += bool(check(example))
        told.examples += 1
        told.slowest_s = max(told.slowest_s, time.process_time() - at_s)

    while time.monotonic() - began_s < limit_s and not told.faults:
        limits = settings(
            max_examples=ROUND,
            deadline=None,
            database=None,
            phases=[Phase.generate, Phase.shrink],
            suppress_health_check=list(HealthCheck),
            print_blob=False,
        )
        attempt = seed(random.getrandbits(32))(limits(given(strategy)(one)))
        try:
            attempt()
        except BaseException as fault:
            if isinstance(fault, KeyboardInterrupt):
                raise
            told.faults.append("".join(traceback.format_exception(fault, limit=-6)))
            told.faults += getattr(fault, "__notes__", [])
    return told


def main() -> int:
    """Print a line for each kind."""
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else MINUTES
    only = os.environ.get("ONLY")
    broke = False
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        chosen = {k: v for k, v in kinds(folder).items() if only in (None, k)}
        print("input            examples    taken   slowest, s of processor")
        for kind, (strategy, check) in chosen.items():
            told = run_for(60 * minutes / len(chosen), strategy, check, folder)
            line = f"{kind:<15}{told.examples:10}{told.taken:9}{told.slowest_s:10.2f}"
            print(line, flush=True)
            for fault in told.faults:
                broke = True
                print(fault[-3000:], flush=True)
    return broke


if __name__ == "__main__":
    sys.exit(main())
