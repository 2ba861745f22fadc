"""An invented evening as a station's snapshots would tell it, second by second."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

PLAYERS = {"tove": "Tove", "brannock": "Brannock"}
STRINGS = {"tove": (6, 5, 4, 3, 2, 1), "brannock": (4, 3, 2, 1)}
Snapshot = dict[str, Any]


def snapshot(
    a4_hz: float = 440.0,
    *,
    sounding: tuple[str, int] | None = None,
    cents: float = 0.0,
    rolls: dict[tuple[str, int], str] | None = None,
    evening: dict[str, Any] | None = None,
) -> Snapshot:
    """A room in which at most one string sounds."""
    rolls = rolls or {}
    return {
        "station": {"name": "Cellar room"},
        "reference": {"a4_hz": a4_hz, "by": "Tove", "source": "the harmonica"},
        "players": [
            {
                "id": player,
                "name": name,
                "strings": [
                    {
                        "string": string,
                        "age_s": 0.1 if sounding == (player, string) else None,
                        "cents": cents if sounding == (player, string) else None,
                        "uncertainty_cents": 0.2 if sounding == (player, string) else None,
                        "roll": rolls.get((player, string), "not heard"),
                    }
                    for string in STRINGS[player]
                ],
            }
            for player, name in PLAYERS.items()
        ],
        "evening": evening,
    }


def evening(minutes: int = 60) -> Iterator[tuple[float, Snapshot]]:
    """Soundcheck, then a song and a gap of half a minute every four; string 6 sinks slowly."""
    rolls: dict[tuple[str, int], str] = {}
    for second in range(60 * minutes):
        in_song = second % 240 < 210
        told: dict[str, Any] = {"state": "playing" if in_song else "gap"}
        if not in_song and second > 600:
            drift = {"player": "tove", "string": 6, "cents": -second / 300.0}
            told["drifted"] = [{**drift, "uncertainty_cents": 0.8}]
            told["common"] = {"cents": -1.0, "uncertainty_cents": 0.3}
        sounding = None
        if not in_song:
            player = "tove" if second % 2 else "brannock"
            sounding = (player, STRINGS[player][second // 2 % len(STRINGS[player])])
            rolls = {**rolls, sounding: "out" if sounding == ("tove", 6) else "in"}
        a4_hz = 440.0 if second < 1000 else 441.3
        yield (
            float(second),
            snapshot(a4_hz, sounding=sounding, cents=-second / 300.0, rolls=rolls, evening=told),
        )
