"""How the invented station hears drums: the room's own keeping of taps, struck by a test."""

from __future__ import annotations

from typing import Any

from station.errors import UsageError
from station.measure.drums.types import Mode, Stroke, StrokeVerdict
from station.music.pitch import shift_cents
from station.room.roster import Roster
from station.room.taps import Taps

OVERTONE_RATIO = 1.593
"""Of an ideal membrane: Abramowitz & Stegun, table 9.5."""


class FakeDrums:
    """Every drummer's taps, by player."""

    def __init__(self, roster: Roster) -> None:
        self._roster = roster
        self._taps: dict[str, Taps] = {}

    def of(self, player: dict[str, Any]) -> Taps:
        """Raises UsageError for a player without drums."""
        if player["kind"] != "drums":
            raise UsageError(f"{player['name']} plays no drums: only drums are tapped")
        if player["id"] in self._roster.ids():
            return self._roster.taps(player["id"])
        return self._taps.setdefault(player["id"], Taps())

    def strike(
        self, player: dict[str, Any], at_s: float, hz: float, reference: dict[str, Any], **how: Any
    ) -> dict[str, Any]:
        """The payload of the event that tells a stroke."""
        taps = self.of(player)
        taps.hear(make_stroke(at_s, hz, line=player["line"], **how))
        told = taps.as_json(reference["a4_hz"])
        return {"player": player["id"], "line": player["line"], "taps": told}

    def show(self, players: list[dict[str, Any]], a4_hz: float) -> list[dict[str, Any]]:
        """The players with what they have tapped, against the reference."""
        return [
            {**each, "taps": self.of(each).as_json(a4_hz) if each["kind"] == "drums" else None}
            for each in players
        ]


def make_stroke(
    at_s: float,
    hz: float,
    cents: float = 0.0,
    *,
    verdict: StrokeVerdict = "good",
    line: int = 4,
    ring_s: float = 0.9,
    overtone_ratio: float | None = OVERTONE_RATIO,
    overtone_db: float = -6.0,
    beat_hz: float | None = None,
    sure: bool = True,
) -> Stroke:
    """A stroke ``cents`` from ``hz``; one on the rim has no pitch at all."""
    if verdict == "rim":
        return Stroke(line, at_s, None, None, None, (), None, verdict, None, False)
    struck_hz = shift_cents(hz, cents)
    own = Mode(struck_hz, 1.0, 0.0, ring_s)
    over = (
        None
        if overtone_ratio is None
        else Mode(struck_hz * overtone_ratio, 2.0, overtone_db, ring_s / 2)
    )
    modes = (own,) if over is None else (own, over)
    return Stroke(
        line, at_s, own, over, None, modes, beat_hz, verdict, None, verdict == "clipped", sure=sure
    )
