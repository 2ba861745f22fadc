"""What the lamps should show at a moment, from the last things the room said.

Seven column lamps and the band lamp, brightness 0 to 1. No pins and no clock:
``now_s`` is seconds of the caller's monotonic clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from station.lamps import column, network_sign, signs

QUIET_SHARE = 0.25
READING_LASTS_S = 1.0
LUG_LASTS_S = 4.0  # a lug is told with a stroke, and nothing until the next one


class Animation:
    """The lamps' state between two frames.

    The column shows one player: ``player`` where given, else whoever sounded
    first, until they have been silent for a second; where a shared line is in
    turns it is who has the turn, on the line of ``player`` where that is given.
    While an instrument is
    measured for the reference it shows that instead, and for three seconds
    after a reference was taken that the band has agreed. While nobody sounds it says
    for a few minutes that the box is in no network.
    """

    def __init__(self, player: str = "", in_cents: float = column.IN_CENTS) -> None:
        self.quiet = False
        self._follow = player
        self._in_cents = in_cents
        self._player: str | None = None
        self._turns: frozenset[str] = frozenset()
        self._cents: float | None = None
        self._verdict: str | None = None
        self._beats_hz = 0.0
        self._heard_at_s = float("-inf")
        self._lasts_s = READING_LASTS_S
        self._in, self._total = 0, 0
        self._alone_since_s: float | None = None
        self._phase = 0.0
        self._measuring: Mapping[str, Any] | None = None
        self._span = signs.FARTHEST
        self._waited_s = 0.0
        self._taken_at: str | None = None  # when the reference was: None before the first snapshot
        self._bloom_from_s = float("-inf")
        self._frame_at_s: float | None = None
        self._column: tuple[float, ...] = column.DARK
        self._band: tuple[float, ...] = (0.0,)

    def show(self, payload: Mapping[str, Any], now_s: float) -> None:
        """Take in a room snapshot or a reading's payload; anything else is not for lamps."""
        if "roll_call" in payload:
            self._show_room(payload)
            self._show_network(payload.get("station", {}).get("addresses", ()), now_s)
            self._show_reference(payload, now_s)
        elif "string_cents" in payload and "at_s" in payload:
            self._show_reading(payload, now_s)
        elif "head" in payload:
            self._show_lug(payload["player"], payload["head"], now_s)

    def frame(self, now_s: float) -> tuple[tuple[float, ...], float]:
        """The column, bottom to top, and the band lamp, now."""
        passed_s = 0.0 if self._frame_at_s is None else now_s - self._frame_at_s
        self._frame_at_s = now_s
        self._phase = column.next_phase(self._phase, self._beats_hz, passed_s)
        if now_s - self._heard_at_s > self._lasts_s:
            self._cents = None
        wanted, band = self._wanted(now_s, passed_s)
        share = QUIET_SHARE if self.quiet else 1.0  # settled as well: no button makes it flash
        self._column = column.settled(self._column, [share * light for light in wanted], passed_s)
        self._band = column.settled(self._band, [share * band], passed_s)
        return self._column, self._band[0]

    def _wanted(self, now_s: float, passed_s: float) -> tuple[tuple[float, ...], float]:
        bloom = signs.bloom(now_s - self._bloom_from_s)
        if bloom is not None:
            return bloom
        band = column.band_light(self._in, self._total, now_s)
        if self._measuring is None:
            if self._cents is None and self._alone_since_s is not None:
                searching = network_sign.searching(now_s - self._alone_since_s)
                if searching is not None:
                    return searching, band
            shown = column.column_at(self._cents, self._phase, self._verdict, self._in_cents)
            return shown, band
        wanted = signs.span(self._measuring["instrument"])
        self._span = signs.next_span(self._span, wanted, passed_s)
        self._waited_s = 0.0 if self._measuring["sounding"] else self._waited_s + passed_s
        return signs.brackets(self._span, self._waited_s), band

    def _show_room(self, room: Mapping[str, Any]) -> None:
        self._in, self._total = room["roll_call"]["in"], room["roll_call"]["total"]
        before, self._turns = self._turns, self._turns_of_interest(room.get("turns", ()))
        if self._turns - before and self._player not in self._turns:
            self._cents = None  # a new turn begins with a dark column
        if self._lasts_s == LUG_LASTS_S:
            if self._player not in room.get("heads", {}).get("passes", {}):
                self._cents = None  # the drummer has left the head
        elif any(p["id"] == self._player and p["now"] is None for p in room["players"]):
            self._cents = None  # a reading against an older reference says nothing any more

    def _show_network(self, addresses: Iterable[str], now_s: float) -> None:
        """Since when no phone can find the box."""
        if not network_sign.is_alone(addresses):
            self._alone_since_s = None
        elif self._alone_since_s is None:
            self._alone_since_s = now_s

    def _show_reference(self, room: Mapping[str, Any], now_s: float) -> None:
        """What is measured for the reference, and whether there is a new one."""
        before, self._measuring = self._measuring, room.get("measuring")
        if before is None:
            self._span, self._waited_s = signs.FARTHEST, 0.0
        if "reference" not in room:
            return
        # An undo goes back to a reference that was taken earlier: nobody agreed on anything.
        known, self._taken_at = self._taken_at, room["reference"]["set_at"]
        if (
            known is not None
            and self._taken_at > known
            and signs.bloom(now_s - self._bloom_from_s) is None
        ):
            self._bloom_from_s = now_s

    def _show_reading(self, reading: Mapping[str, Any], now_s: float) -> None:
        player = reading["player"]
        if reading["string_cents"] is None or not self._may_follow(player, now_s):
            return
        self._player, self._lasts_s = player, READING_LASTS_S
        self._cents = reading["string_cents"]
        self._verdict = reading["verdict"]
        self._beats_hz = reading["beats_hz"]
        self._heard_at_s = now_s

    def _turns_of_interest(self, lines: Iterable[Mapping[str, Any]]) -> frozenset[str]:
        """Who has the turn, on any line or on the followed player's."""
        return frozenset(
            line["turn"]
            for line in lines
            if line["turn"] is not None and (not self._follow or self._follow in line["players"])
        )

    def _show_lug(self, player: str, head: Mapping[str, Any], now_s: float) -> None:
        """The lug tapped last, or the one to turn, against the mean of its head."""
        turn = head["turn_next"]
        lug = head["last"] if turn is None else turn["lug"]
        heard = next((each for each in head["heard"] if each["lug"] == lug), None)
        if heard is None or not self._may_follow(player, now_s):
            return
        self._player, self._lasts_s = player, LUG_LASTS_S
        self._cents = heard["offset_cents"]
        self._verdict = heard["verdict"]
        self._beats_hz = heard["hz"] * abs(1.0 - 2.0 ** (-heard["offset_cents"] / 1200.0))
        self._heard_at_s = now_s

    def _may_follow(self, player: str | None, now_s: float) -> bool:
        if self._turns:
            return player in self._turns
        if self._follow:
            return player == self._follow
        silent = now_s - self._heard_at_s > self._lasts_s
        return silent or player == self._player
