"""Run by a test and killed: a drummer taps, has it remembered, and the station keeps the room.

Says on standard output ``kept`` once it is stored as the station stores what people asked for.
"""

from __future__ import annotations

import sys
import threading
from contextlib import nullcontext
from pathlib import Path

from station.keeping import Keeping
from station.room.model import Player, Reference
from station.room.parts import WantedEar
from station.room.room import Room
from tests.support.fake_drums import make_stroke

IDA = Player("ida", "Ida", "drum-kit", line=1)
TOM_HZ = 110.0


def drummers_room() -> Room:
    return Room((IDA,), Reference(440.0), lines=1)


def main(folder: Path) -> None:
    room = drummers_room()
    keeping = Keeping(folder, "now", room, nullcontext(), lambda change: change())
    saved = room.save_mark
    for at in range(3):
        room.hear_ear(WantedEar("strokes", 1), [make_stroke(1.0 + at, TOM_HZ, line=1)], 1.0)
    room.change_part(lambda: room.heads.compare_damping("ida", True), 2.0)
    if room.save_mark != saved:  # what is to be on storage at once
        keeping.save()
        print("kept", flush=True)
    threading.Event().wait()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
