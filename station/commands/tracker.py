"""Which coarse tracker a command listens with."""

from __future__ import annotations

import sys

from station.probe import probe_aubio


def choose_tracker(wanted: str) -> str:
    """ "aubio" or "numpy": `wanted`, or for "auto" what works here, a fallback said aloud."""
    if wanted != "auto":
        return wanted
    probe = probe_aubio()
    if probe.reason is not None:
        print(  # noqa: T201
            f"station: {probe.reason}; listening with the numpy tracker", file=sys.stderr
        )
    return probe.tracker
