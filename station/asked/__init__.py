"""What people ask of a station, on the page or with the box's buttons.

Each method is one change of the room, with what has to follow from it: the ears
that listen, the tone that sounds, the lamps, and what is kept. A module for each subject.
"""

from __future__ import annotations

from station.asked.asking import utc_now
from station.asked.bench import AskedBench
from station.asked.heads import AskedHeads
from station.asked.pegs import AskedPegs
from station.asked.players import AskedPlayers
from station.asked.quiet import AskedQuiet
from station.asked.reference import AskedReference
from station.asked.songs import AskedSongs
from station.asked.turns import AskedTurns

__all__ = ["Asked", "utc_now"]


class Asked(
    AskedReference,
    AskedQuiet,
    AskedPlayers,
    AskedHeads,
    AskedSongs,
    AskedPegs,
    AskedTurns,
    AskedBench,
):
    """The half of a station that answers people; `station.web.facade.Station` describes it."""
