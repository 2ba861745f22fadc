"""Quiet that comes and goes by itself while the band plays. Pure.

It acts only where playing begins or ends, so that whoever presses the button in between has the
last word; and it never ends a quiet that somebody began by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, get_args

from station.errors import UsageError

Automatic = Literal["off", "playing", "not tuning"]
"""When: never, while the band plays, or at all times but while it tunes (talk, too)."""

_STATES: Mapping[Automatic, frozenset[str]] = {
    "off": frozenset(),
    "playing": frozenset({"playing"}),
    "not tuning": frozenset({"playing", "gap"}),
}


class AutoQuiet:
    """Decides; raises UsageError for a setting that is none of `Automatic`."""

    def __init__(self, automatic: Automatic = "off") -> None:
        if automatic not in _STATES:
            known = ", ".join(get_args(Automatic))
            raise UsageError(f"automatic quiet {automatic!r:.40}: choose one of {known}")
        self._states = _STATES[automatic]
        self._wanted = False
        self._mine = False

    def step(self, evening: str | None, quiet: bool) -> bool | None:
        """What quiet shall be now, None to leave it.

        ``evening`` is what the band does: "playing", "gap" or "tuning", None where nobody knows.
        """
        if not quiet:
            self._mine = False
        wanted = evening in self._states
        if wanted == self._wanted:
            return None
        self._wanted = wanted
        if wanted:
            self._mine = not quiet
            return True if self._mine else None
        ends, self._mine = self._mine, False
        return False if ends else None
