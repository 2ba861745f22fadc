"""Drums that are kept by name, what they are now, and the way back to what they were. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace

from station.errors import NotNowError
from station.measure.drums.going_back import WayBack, by_head, by_taps
from station.measure.drums.head_pass import HeadPass
from station.measure.drums.turning import RimState, Turn
from station.measure.drums.types import Head
from station.music.kit import Song
from station.room.drum_book import (
    PLACE_LIMIT,
    DrumBook,
    Good,
    KeptDrum,
    clean_name,
    kept_head,
    taps_as_data,
    with_good,
)
from station.room.kit_songs import read_songs
from station.room.model import clean_text
from station.room.parts import Context, Part

NOTHING_TO_KEEP = "nothing to keep yet: tap the drum in the middle, or go round its lugs"


@dataclass
class Live:
    """A head pass under way. ``beside`` is the lug the drummer means to tap next, if said."""

    guide: HeadPass
    drum: str = ""
    beside: int | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """The last pass a drummer left: its drum's name, head and what is known of its rim."""

    drum: str
    head: Head
    known: RimState


class DrumKeeping(Part):
    """The room's drums and the kit's songs, and what drummers have found of them by now.

    ``told`` grows with everything that changes here: of two tellings the one with more is newer.
    """

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self.book = DrumBook()
        self.songs: tuple[Song, ...] = ()
        self.told = 0
        self._live: dict[str, Live] = {}
        self._done: dict[str, Done] = {}

    def keep(self, player_id: str, name: str, at: str, reference: str, place: str = "") -> KeptDrum:
        """The drum as it is now becomes its good state.

        Raises UnknownPlayerError, UsageError, and NotNowError when nothing was heard of it.
        """
        name, place = clean_name(name), clean_text(place, "place", PLACE_LIMIT)
        tap = self.context.roster.taps(player_id).tap
        live = self._live.get(player_id)
        done = self._done.get(player_id) if live is None else found_by(live)
        if live is None and done is not None and done.drum.casefold() != name.casefold():
            done = None
        if live is not None:
            tap = None  # lugs are no taps in the middle
            live.drum = name if done is not None else live.drum
        if tap is None and done is None:
            raise NotNowError(NOTHING_TO_KEEP)
        good = Good(
            at,
            self.context.a4_hz(),
            reference,
            place,
            None if tap is None else taps_as_data(tap),
            None if done is None else kept_head(done.head, at),
        )
        drum = with_good(self.book.find(name) or KeptDrum(name), good)
        self.book.put(drum)
        if done is not None:
            self._learn(name, done.known)
        self._changed()
        return self.book.drum(name)

    def tapped_pitch(self, player_id: str) -> tuple[float, float | None]:
        """Fundamental and overtone of what a drummer has tapped.

        Raises UnknownPlayerError, UsageError, NotNowError.
        """
        tap = self.context.roster.taps(player_id).tap
        if tap is None or player_id in self._live:
            raise NotNowError("nothing tapped yet: tap the drum five times in the middle")
        return tap.fundamental_hz, tap.overtone_hz

    def put(self, drum: KeptDrum) -> None:
        """Keep a drum's size and pitch; raises UsageError, DrumError."""
        drum.in_kit()
        self.book.put(drum)
        self._changed()

    def forget(self, name: str) -> None:
        """Raises UsageError."""
        self.book.forget(name)
        self._changed()

    def set_songs(self, rows: object) -> None:
        """The songs the kit is held against; raises UsageError."""
        self.songs = read_songs(rows)
        self._changed()

    def way_back(self, player_id: str, name: str) -> WayBack:
        """What must be turned to bring a drum back to its good state.

        By the last head pass where one was made of it, else by the taps in the middle. Raises
        UsageError, and NotNowError when there is no good state or nothing was heard now.
        """
        drum = self.book.drum(name)
        tap = self.context.roster.taps(player_id).tap
        good = drum.good
        if good is None:
            raise NotNowError(f"no good state of {drum.name} is kept: keep one when it is right")
        live = self._live.get(player_id)
        done = self._done.get(player_id) if live is None else found_by(live)
        if done is not None and good.head is not None and _is_of(done, drum, good):
            return by_head(good.head.lug_hz, done.known)
        if tap is None or live is not None:
            raise NotNowError(f"nothing heard of {drum.name} yet: tap it five times in the middle")
        if good.taps is not None:
            then_hz = float(good.taps["fundamental_hz"])
        elif good.head is not None:
            then_hz = good.head.fundamental_hz
        else:
            raise NotNowError(f"what is kept of {drum.name} has no pitch")
        overtone_hz = None if good.head is None else good.head.overtone_hz
        return by_taps(then_hz, tap.fundamental_hz, drum.rim, overtone_hz)

    def turned_back(self, player_id: str, name: str) -> None:
        """Every lug was turned as `way_back` says; the next round begins.

        Raises what `way_back` raises, and NotNowError where it does not say how far.
        """
        live = self._pass(player_id)
        back = self.way_back(player_id, name)
        made = [
            Turn(each.lug, each.turns if each.verdict == "tighten" else -each.turns)
            for each in back.lugs
            if each.turns is not None
        ]
        if not made:
            raise NotNowError("how far to turn is not known: turn a little and tap again")
        live.guide.turned(made)
        self._changed()

    def _learn(self, name: str, known: RimState) -> None:
        """What the key does to a drum that is kept."""
        drum = self.book.find(name) if name else None
        if drum is None or not known.learned:
            return
        self.book.put(replace(drum, rim=known))

    def _pass(self, player_id: str) -> Live:
        """Raises UnknownPlayerError and NotNowError."""
        self.context.roster.seat(player_id)
        live = self._live.get(player_id)
        if live is None:
            raise NotNowError("no head pass is under way: begin one")
        return live

    def _changed(self) -> None:
        """People asked for it: the page is told, and it is to be on storage."""
        self.told += 1
        self.changes += 1


def found_by(live: Live) -> Done | None:
    """What a pass has found by now, None before its first whole round."""
    guide = live.guide
    if guide.head is None or guide.known is None:
        return None
    return Done(live.drum, guide.head, guide.known)


def _is_of(done: Done, drum: KeptDrum, good: Good) -> bool:
    """Whether a pass may be of this drum: named so or not at all, with as many lugs."""
    named = done.drum.casefold() in ("", drum.name.casefold())
    return named and good.head is not None and len(good.head.lug_hz) == done.known.lugs
