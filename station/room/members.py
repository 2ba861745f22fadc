"""What each player played last: instruments with their tunings, capos and offsets. Pure.

Whoever takes up an instrument again finds it as they left it. The newest setups count,
`SETUPS_MAX` to a player; the same instrument in the same tuning is one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from station.errors import StationError
from station.music.offsets import offsets_as_json
from station.room.model import Player
from station.room.parts import Context, Part
from station.room.seats import Seat, take_seat
from station.room.setups import setup_of

SETUPS_MAX = 8


class Members(Part):
    """The setups each player had, the newest first."""

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self._setups: dict[str, list[dict[str, Any]]] = {}
        self._revision = 0
        self._look()

    def setups(self, player_id: str) -> list[dict[str, Any]]:
        """A player's setups, the present one first, each as `roster.change` takes it and with
        its labels; what the settings know no longer is left out. Raises UnknownPlayerError."""
        player = self.context.roster.seat(player_id).player
        found = []
        for setup in self._setups.get(player_id, ()):
            seat = self._seat(player, setup)
            if seat is not None:
                label = seat.tuning.label if seat.tuning else ""
                told = {"instrument_label": seat.instrument.label, "tuning_label": label}
                found.append({**setup, **told})
        return found

    def players_changed(self) -> None:
        self._look()

    def as_json(self, now_s: float) -> int:  # noqa: ARG002 - a part's
        """A number that grows: `setups` has a route of its own."""
        return self._revision

    def _look(self) -> None:
        for seat in self.context.roster:
            self._note(seat.player)

    def _note(self, player: Player) -> None:
        now = _as_setup(player)
        known = self._setups.get(player.id, [])
        if known and known[0] == now:
            return
        others = [each for each in known if _which(each) != _which(now)]
        self._setups[player.id] = [now, *others][:SETUPS_MAX]
        self._revision += 1

    def _seat(self, player: Player, setup: Mapping[str, Any]) -> Seat | None:
        try:
            offsets = tuple((int(n), float(c)) for n, c in setup["offsets_cents"].items())
            wanted = Player(
                player.id,
                player.name,
                setup["instrument"],
                setup["tuning"],
                capo=setup["capo"],
                offsets_cents=offsets,
            )
            return take_seat(wanted, self.context.roster.instruments, 1)
        except (StationError, KeyError, TypeError, ValueError, AttributeError, OverflowError):
            return None

    def state(self) -> dict[str, Any]:
        return {player: list(setups) for player, setups in self._setups.items()}

    def restore(self, stored: Any) -> list[str]:
        """Setups come back, but for those that are possible no more."""
        self._look()
        if not isinstance(stored, Mapping):
            return ["what players played before could not be read back"]
        for seat in self.context.roster:
            rows = stored.get(seat.player.id)
            now = self._setups[seat.player.id][0]
            kept = [now]
            for row in rows if isinstance(rows, list) else ():
                told = self._seat(seat.player, row) if isinstance(row, Mapping) else None
                setup = None if told is None else _as_setup(told.player)
                if setup is not None and all(_which(each) != _which(setup) for each in kept):
                    kept.append(setup)
            self._setups[seat.player.id] = kept[:SETUPS_MAX]
        return []


def _as_setup(player: Player) -> dict[str, Any]:
    return {**setup_of(player).changes(), "offsets_cents": offsets_as_json(player.offsets_cents)}


def _which(setup: Mapping[str, Any]) -> tuple[Any, Any]:
    return setup["instrument"], setup["tuning"]
