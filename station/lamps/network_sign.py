"""The lamps' sign for a box that no phone can find: it is in no network. Pure.

A box without a screen that was just switched on has nothing else to say it with. A single
light climbs the column from the lowest lamp to the highest and is gone, dim, once in
`CLIMB_S`: it looks for a way out. It is seen while nobody sounds, for `SHOWN_S` after
the start or after the network went, and not again: a band that plays without a network
wants its column dark.

It is far slower than the three flashes a second of WCAG 2.3.1. Brightness is
from 0 to 1, columns are bottom to top.
"""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import urlsplit

from station.lamps.column import LAMPS

CLIMB_S = 4.0
SHOWN_S = 300.0
BRIGHTEST = 0.25
ITSELF = frozenset({"localhost", "127.0.0.1"})


def is_alone(addresses: Iterable[str]) -> bool:
    """Whether of the page's addresses (URLs) none leads here from elsewhere.

    Not so before any are known, nor where the settings serve the page on one address
    alone: ``localhost`` is among them only where every network is meant.
    """
    hosts = {urlsplit(address).hostname for address in addresses}
    return "localhost" in hosts and hosts <= ITSELF


def searching(alone_for_s: float) -> tuple[float, ...] | None:
    """The column so long after the box found itself alone; None when that is over."""
    if not 0.0 <= alone_for_s < SHOWN_S:
        return None
    # From one lamp below the column to one above it: it comes and goes gently.
    height = (LAMPS + 1) * (alone_for_s / CLIMB_S % 1.0) - 1.0
    return tuple(BRIGHTEST * max(0.0, 1.0 - abs(lamp - height)) for lamp in range(LAMPS))
