"""What a press of a button means. Pure: times are seconds of the caller's clock.

A short press counts when it is let go, a long one once while it is held. What is shorter
than any finger is a bounce of the contact. A button that was down before it was looked
at, or stays down, is stuck: it means nothing until it has been let go.
"""

from __future__ import annotations

from typing import Literal

Press = Literal["short", "long"]

BOUNCE_S = 0.03
LONG_S = 2.0
STUCK_S = 20.0


class PressJudge:
    """Judges one button; tell it every change, and ``held`` now and then while it is down."""

    def __init__(self) -> None:
        self.stuck = False
        self._down_s: float | None = None
        self._long = False

    def was_down(self) -> None:
        """It was down already when it was first looked at."""
        self._down_s, self.stuck = None, True

    def down(self, now_s: float) -> None:
        """The contact closed."""
        self._down_s, self._long, self.stuck = now_s, False, False

    def up(self, now_s: float) -> Press | None:
        """The contact opened; the press that this ends, if it has not been told already."""
        down_s, self._down_s = self._down_s, None
        self.stuck = False
        if down_s is None or self._long or now_s - down_s < BOUNCE_S:
            return None
        return "long" if now_s - down_s >= LONG_S else "short"

    def held(self, now_s: float) -> Press | None:
        """Still down: "long" once the press is."""
        if self._down_s is None or self._long or now_s - self._down_s < LONG_S:
            return None
        self._long = True
        return "long"

    def has_stuck(self, now_s: float) -> bool:
        """Whether it has just been down for too long to be a finger; True once a press."""
        if self._down_s is None or self.stuck or now_s - self._down_s < STUCK_S:
            return False
        self.stuck = True
        return True
