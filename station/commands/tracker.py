"""Which coarse tracker a command listens with."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from station.probe import Probe, aubio_on_trial


@contextmanager
def tracker_choice(wanted: str) -> Iterator[Callable[[], str]]:
    """What is given tells `wanted`, or for "auto" what works here, a fallback said aloud.

    Whether aubio does is found out meanwhile.
    """
    if wanted != "auto":
        yield lambda: wanted
        return
    with aubio_on_trial() as answer:
        yield lambda: _judged(answer())


def choose_tracker(wanted: str) -> str:
    """ "aubio" or "numpy", as `tracker_choice` tells."""
    with tracker_choice(wanted) as choice:
        return choice()


def _judged(probe: Probe) -> str:
    if probe.reason is not None:
        print(  # noqa: T201
            f"station: {probe.reason}; listening with the numpy tracker", file=sys.stderr
        )
    return probe.tracker
