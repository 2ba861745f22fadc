"""`station demo` whose loops can be frozen from outside, to see what a watchdog does.

    python freezing_station.py FILE demo --port 8000

A loop whose name is written into FILE stands still from then on; FILE is emptied, so that
the next start runs.
"""

from __future__ import annotations

import sys
import threading
import time
import urllib.request
from pathlib import Path
from typing import Any

from station.cli import main
from station.listening import Listening
from station.room.room import Room
from station.sound.band import SimulatedBand
from station.web import guards

PLACES: dict[str, tuple[Any, str]] = {
    "capture": (SimulatedBand, "samples"),
    "listening": (Listening, "_hear"),
    "page": (guards, "check_host"),
    "room": (Room, "snapshot"),
}
"""Where each loop comes by: a function of it that never returns freezes it."""


def freeze(name: str) -> None:
    """Have the loop stop where it comes by next; a request brings page and room there."""
    owner, function = PLACES[name]
    for_ever = threading.Event()
    setattr(owner, function, lambda *_, **__: for_ever.wait())
    if name in ("page", "room"):
        port = sys.argv[sys.argv.index("--port") + 1]
        urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/room")


def look_for_orders(orders: Path) -> None:
    while True:
        time.sleep(0.05)
        name = orders.read_text().strip() if orders.exists() else ""
        if name:
            orders.write_text("")
            threading.Thread(target=freeze, args=(name,), daemon=True).start()


if __name__ == "__main__":
    file = Path(sys.argv.pop(1))
    threading.Thread(target=look_for_orders, args=(file,), daemon=True).start()
    main()
