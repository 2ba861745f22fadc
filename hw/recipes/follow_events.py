"""Follow a station from another program, with nothing but Python's standard library.

    python3 follow_events.py http://192.0.2.7:8000

prints what each player plays. ``/api/v1/events`` is a stream of server-sent events: first
the whole ``room``, then a ``reading`` for what sounds now, a ``note`` when one has ended, and
the ``room`` again whenever something about it changed. The station's
``/api/v1/openapi.json`` says what is in each. Reading needs no room code.
"""

import contextlib
import json
import sys
import time
import urllib.error
import urllib.request

SILENCE_S = 30  # the station sends something every few seconds, if only a sign of life
AGAIN_S = 2


def events(station):
    """Kind and content of every event, until the station ends the stream."""
    address = station.rstrip("/") + "/api/v1/events"
    with urllib.request.urlopen(address, timeout=SILENCE_S) as stream:  # noqa: S310 - your own
        kind = ""
        for line in stream:
            name, _, value = line.decode().rstrip("\n").partition(": ")
            if name == "event":
                kind = value
            elif name == "data":
                yield kind, json.loads(value)


def follow(station):
    """The same for ever: a station that is away, or ends a stream, is asked again."""
    while True:
        try:
            yield from events(station)
        except urllib.error.HTTPError as refused:
            if refused.code != 503:  # with 503 there are too many streams at present
                raise
        except OSError as fault:
            print(f"The station is away: {fault}", file=sys.stderr)
        time.sleep(AGAIN_S)


if __name__ == "__main__":
    with contextlib.suppress(KeyboardInterrupt):
        for kind, said in follow(sys.argv[1]):
            if kind == "note" and said["player"]:
                print(said["player"], said["note"], f"{said['cents']:+.1f} cents", flush=True)
