"""What the page needs of a station, and how its calls are kept off the serving thread."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import gevent

from station.web.facade_bench import BenchAsks
from station.web.facade_heads import HeadAsks
from station.web.facade_pegs import PegAsks
from station.web.facade_songs import SongAsks, TurnAsks
from station.web.hub import Hub


class Station(BenchAsks, HeadAsks, SongAsks, PegAsks, TurnAsks, Protocol):
    """A station as the page sees it. Every method may block; each is called off the loop.

    What is wrong is raised as an error of `station.errors` and told to whoever
    asked, in one line. A method that changes the room publishes the new room to
    ``hub`` by itself. ``by`` is a player's id or, from somebody who is no
    player, a name; the station decides which.

    Who is present the station hears from ``hub.presence.listen(...)``, see there.
    """

    hub: Hub
    room_code: str

    def snapshot(self) -> dict[str, Any]: ...
    def change_player(self, player_id: str, changes: dict[str, Any]) -> object:
        """``changes``: name, instrument, tuning, capo, and ``offsets_cents``, which is
        {string number as text: cents}, "pure fifths" or "none"."""

    def instruments(self) -> dict[str, Any]: ...
    def addresses(self) -> list[str]: ...

    def set_reference(self, a4_hz: float, by: str, source: str) -> object:
        """Set it outright. Raises NotAllowedError while others present have to agree."""

    def propose(
        self,
        by: str,
        kind: str,
        a4_hz: float | None = None,
        instrument: str | None = None,
        rule: str | None = None,
    ) -> dict[str, Any]:
        """{"proposal": the proposal as in the room, None once it is adopted; "adopted": bool;
        "reference": as it now stands}. ``a4_hz`` comes with the kind "typed", ``instrument``
        (an id) with "measured", ``rule`` ("worst" or "mean") with "compromise"."""

    def answer(self, proposal_id: int, player_id: str, answer: str) -> dict[str, Any]:
        """A player says "yes" or "not yet"; tells what ``propose`` tells."""

    def withdraw(self, proposal_id: int, by: str) -> dict[str, Any]:
        """Tells what ``propose`` tells."""

    def undo(self, by: str) -> object: ...
    def references(self) -> list[dict[str, Any]]:
        """Every reference the room had, newest first."""

    def references_csv(self) -> str: ...

    def begin_measuring(
        self, player: str | None = None, line: int | None = None, name: str | None = None
    ) -> object:
        """Listen to that player's instrument, or to whatever is on a line."""

    def finish_measuring(self, by: str) -> object: ...
    def cancel_measuring(self, by: str) -> object: ...
    def forget_measured(self, instrument_id: str, by: str) -> object: ...

    def play_tone(self, note: str, voice: str, level_dbfs: float, seconds: float) -> object:
        """From the line output, in place of a tone that sounds already."""

    def stop_tone(self, by: str) -> object: ...
    def set_quiet(self, quiet: bool) -> object: ...
    def start_taps_again(self, player_id: str, by: str) -> object:
        """Forget what a drummer tapped; raises UsageError for a player who is none."""


def off_loop(call: Callable[..., Any], *args: Any) -> Any:
    """Run ``call`` in a worker thread; only the asking greenlet waits for it."""

    def attempt() -> tuple[Any, Exception | None]:
        # Carried over by hand: the pool prints what it sees raised.
        try:
            return call(*args), None
        except Exception as error:  # noqa: BLE001 -- raised again by the asker
            return None, error

    value, error = gevent.get_hub().threadpool.apply(attempt)
    if error is not None:
        raise error
    return value
