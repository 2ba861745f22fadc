"""The station's own lamp programme on pins of your choice, with three, five or seven lamps.

    .venv/bin/python hw/recipes/own_lamp_map.py http://192.0.2.7:8000 [--mock]

for a column that hangs elsewhere than the station stands. The pins are those of
own_lamp_map.toml beside this, settings like the station's own: the same [lamps] in the
station's settings has the box itself light them.
"""

import contextlib
import signal
import sys
from pathlib import Path

from follow_events import follow

from station.lamps.lamps import Lamps
from station.lamps.wiring import remarks
from station.settings import load_settings

MAP = load_settings(Path(__file__).with_name("own_lamp_map.toml")).lamps.wiring()


def run(heard, lamps):
    """Show the room and every reading, dimmed while the room is quiet."""
    for kind, said in heard:
        if kind == "room":
            lamps.set_quiet(said["station"]["quiet"])
        if kind in ("room", "reading"):
            lamps.show(said)


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())
    for line in remarks(MAP):
        print(line)
    pins = "mock" if "--mock" in sys.argv else "gpio"
    with contextlib.suppress(KeyboardInterrupt), Lamps(pins, wiring=MAP) as lamps:
        run(follow(sys.argv[1]), lamps)
