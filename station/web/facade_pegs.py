"""What the page needs of a station for turns of pegs."""

from __future__ import annotations

from typing import Any, Protocol


class PegAsks(Protocol):
    """How far players turned their pegs; raised are UnknownPlayerError and NotNowError."""

    def pegs(self, player_id: str) -> dict[str, Any]:
        """{"asks": bool, "strings": [...]}"""

    def tell_peg(self, player_id: str, string: int, quarters: int) -> object:
        """In quarters of a turn; 0 that the player does not say."""

    def ask_pegs(self, player_id: str, wanted: bool) -> object: ...
    def forget_pegs(self, player_id: str, string: int | None = None) -> object:
        """Of the instrument in hand; all its strings without one."""
