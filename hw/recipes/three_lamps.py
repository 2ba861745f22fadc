"""Three LEDs on any board in the network: flat, in, sharp, for whoever sounds.

    python3 three_lamps.py http://192.0.2.7:8000

Wire GPIO 5 to an amber, GPIO 26 to a white, GPIO 16 to a blue LED: pin, resistor (330 ohms for
amber, 150 for the others), the LED's longer leg, its shorter leg to ground. The lamp pulses
once a second while the string is far off and stands still when it is nearly there.

On the station itself these three need no program: three_lamps.toml beside this is its [lamps].
"""

import contextlib
import signal
import sys

from follow_events import follow
from gpiozero import PWMLED

NEARLY_CENTS = 6
LAMP_OF = {"tighten": 0, "in": 1, "slacken": 2}


def light(lamps, place, steady):
    """One lamp alone; none for a place that is None."""
    for number, lamp in enumerate(lamps):
        if number != place:
            lamp.off()
        elif steady:
            lamp.on()
        else:
            lamp.pulse(fade_in_time=0.5, fade_out_time=0.5)


def run(heard, lamps):
    """Show every reading; a note that has ended puts the lamps out."""
    shown = (None, True)
    for kind, said in heard:
        if kind == "reading" and said["verdict"]:
            steady = said["verdict"] == "in" or abs(said["string_cents"]) < NEARLY_CENTS
            wanted = (LAMP_OF[said["verdict"]], steady)
        elif kind == "note":
            wanted = (None, True)
        else:
            continue
        if wanted != shown:
            light(lamps, *wanted)
        shown = wanted


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())
    lamps = [PWMLED(5), PWMLED(26), PWMLED(16)]
    with contextlib.suppress(KeyboardInterrupt):
        run(follow(sys.argv[1]), lamps)
