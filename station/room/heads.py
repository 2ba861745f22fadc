"""A drummer's work on a head: the guided pass lug by lug, both heads, and what is kept. Pure.

A head pass is its drummer's: begun on their word, fed by the strokes of their line, and left on
their word; it outlives a restart half-way. What is kept of drums (`drum_book`) is the room's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from station.errors import DrumError, NotNowError, StationError, UsageError
from station.measure.drums.head_pass import HeadPass, Phase
from station.measure.drums.plain import tap_as_data, tap_from_data
from station.measure.drums.types import Stroke
from station.music.drums import tension_warning
from station.music.lugs import check_lug
from station.room.both_heads import BothHeads, OneHead
from station.room.drum_book import clean_name
from station.room.drum_keeping import DrumKeeping, Live, found_by
from station.room.head_words import pass_as_json
from station.room.kit_songs import read_songs, songs_as_data
from station.room.model import Event, clean_text
from station.room.parts import Context, WantedEar
from station.room.taps import WANTED

Data = dict[str, Any]


class Heads(DrumKeeping):
    """Every drummer's head pass, both heads, and the room's drums."""

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self._both: dict[str, BothHeads] = {}

    # -- the head pass ---------------------------------------------------------

    def begin(self, player_id: str, lugs: int, phase: Phase = "fine", drum: str = "") -> None:
        """Begin a pass; what earlier passes learned of a drum that is kept is used.

        Raises UnknownPlayerError, UsageError, DrumError, and NotNowError while one goes on.
        """
        self.context.roster.taps(player_id)
        name = clean_name(drum) if drum else ""
        if player_id in self._live:
            raise NotNowError("a head pass is under way: leave it first")
        kept = self.book.find(name) if name else None
        known = kept.rim if kept is not None and kept.rim is not None else None
        if known is not None:
            known = known.anew() if known.lugs == lugs else None
        self._live[player_id] = Live(HeadPass(lugs, phase, known), kept.name if kept else name)
        self._both.pop(player_id, None)
        self._changed()

    def choose_lug(self, player_id: str, lug: int) -> None:
        """The next tap is beside this lug; raises NotNowError and DrumError."""
        live = self._pass(player_id)
        live.beside = check_lug(lug, live.guide.lugs)
        self._changed()

    def tap_again(self, player_id: str, lug: int | None = None) -> None:
        """A lug, the last one unless named, is tapped anew; raises NotNowError, DrumError."""
        live = self._pass(player_id)
        live.guide.again(lug)
        live.beside = None
        self._changed()

    def turned(self, player_id: str, lug: int | None = None, turns: float | None = None) -> None:
        """One lug was turned, as advised unless said; without a lug all that is advised.

        Raises NotNowError and DrumError.
        """
        live = self._pass(player_id)
        if live.guide.head is None:
            raise NotNowError("nothing is advised yet: tap the round to its end first")
        if lug is None:
            live.guide.turned()
        else:
            live.guide.turned_one(lug, turns)
        self._changed()

    def restart(self, player_id: str) -> None:
        """The round is tapped anew; raises NotNowError."""
        live = self._pass(player_id)
        live.guide.restart()
        live.beside = None
        self._changed()

    def leave(self, player_id: str) -> None:
        """End the pass; what it found last may still be kept. Raises NotNowError."""
        live = self._pass(player_id)
        done = found_by(live)
        if done is not None:
            self._done[player_id] = done
        del self._live[player_id]
        self.context.roster.taps(player_id).start_over()  # lugs are no taps in the middle
        self._changed()

    # -- both heads --------------------------------------------------------------

    def compare_damping(self, player_id: str, begins: bool) -> None:
        """Hold what a drummer taps next against what was tapped, or against nothing any more.

        Raises UnknownPlayerError, UsageError for a player without drums, NotNowError where
        nothing was tapped.
        """
        taps = self.context.roster.taps(player_id)
        if begins:
            taps.remember()
        else:
            taps.forget()
        self.changes += 1

    def both_heads(self, player_id: str, step: str, snare: bool = False) -> None:
        """``begin``, ``next`` (the head asked for has been tapped), ``back`` or ``leave``.

        Raises UnknownPlayerError, UsageError, NotNowError.
        """
        taps = self.context.roster.taps(player_id)
        if player_id in self._live:
            raise NotNowError("a head pass is under way: leave it first")
        both = self._both.get(player_id)
        if step == "begin":
            self._both[player_id] = BothHeads(snare)
        elif both is None:
            raise NotNowError("nobody compares two heads here: begin first")
        elif step == "next":
            if taps.tap is None:
                raise NotNowError("no good tap on this head yet: tap it in the middle")
            both.take(OneHead(taps.tap.fundamental_hz, taps.tap.uncertainty_cents))
        elif step == "back":
            both.back()
        elif step == "leave":
            del self._both[player_id]
        else:
            raise UsageError(f"step {step!r:.40}: say begin, next, back or leave")
        taps.start_over()
        self._changed()

    # -- as a part of the room -------------------------------------------------------

    def hear_ear(self, wanted: WantedEar, told: Sequence[Any], now_s: float) -> list[Event] | None:  # noqa: ARG002
        """A stroke is a tap beside a lug for whoever on its line goes round a head."""
        if wanted.kind != "strokes":
            return None
        events = []
        for player_id, live in self._live.items():
            line = self.context.roster.seat(player_id).player.line
            if line != wanted.line:
                continue
            for stroke in told:
                self._hear_stroke(live, stroke)
            payload = {"player": player_id, "line": line, "head": self._pass_as_json(live)}
            events.append(Event("stroke", f"{player_id} head", payload))
        return events

    def _hear_stroke(self, live: Live, stroke: Stroke) -> None:
        self.told += 1
        before = live.guide.passes
        if live.guide.tapped(stroke, live.beside):
            live.beside = None
            self.changes += 1
        if live.guide.passes > before and live.guide.known is not None:
            self._learn(live.drum, live.guide.known)

    def wanted_ears(self) -> set[WantedEar]:
        """The strokes of whoever goes round a head with the phone here."""
        here = self.context.present()
        seats = [self.context.roster.seat(each) for each in self._live if each in here]
        return {WantedEar("strokes", seat.player.line) for seat in seats}

    def players_changed(self) -> None:
        """Whoever plays no drums any more goes round no head."""
        drummers = {seat.player.id for seat in self.context.roster if seat.taps is not None}
        self._live = {each: live for each, live in self._live.items() if each in drummers}
        self._done = {each: done for each, done in self._done.items() if each in drummers}
        self._both = {each: both for each, both in self._both.items() if each in drummers}
        self.told += 1

    def as_json(self, now_s: float) -> Data:  # noqa: ARG002
        """The passes and comparisons under way; what is kept has a list of its own."""
        a4_hz = self.context.a4_hz()
        return {
            "told": self.told,
            "drums": len(self.book),
            "passes": {each: self._pass_as_json(live) for each, live in self._live.items()},
            "both": {each: both.as_json(a4_hz) for each, both in self._both.items()},
        }

    def _pass_as_json(self, live: Live) -> Data:
        drum = self.book.find(live.drum) if live.drum else None
        warning = None
        known = live.guide.known
        if drum is not None and drum.diameter_in is not None and known is not None:
            warning = _warning(known.overtone_hz(), drum.diameter_in)
        return pass_as_json(live.guide, live.drum, live.beside, warning, self.told)

    def state(self) -> Data:
        return {
            "drums": self.book.state(),
            "songs": songs_as_data(self.songs),
            "passes": {
                each: {"drum": live.drum, "beside": live.beside, **live.guide.state()}
                for each, live in self._live.items()
            },
            "both": {each: both.state() for each, both in self._both.items()},
            "damping": {
                seat.player.id: tap_as_data(seat.taps.before)
                for seat in self.context.roster
                if seat.taps is not None and seat.taps.before is not None
            },
        }

    def restore(self, stored: Any) -> list[str]:
        """Take back what was stored; a line for each thing that fits no more."""
        if not isinstance(stored, dict):
            return ["the drums that were kept cannot be read"]
        refused = self.book.restore(stored.get("drums", []))
        try:
            self.songs = read_songs(stored.get("songs", []))
        except (StationError, TypeError, ValueError) as error:
            refused.append(f"the kit's songs are left out: {error!s:.120}")
        refused += self._restore_each(stored.get("passes"), "head pass", self._restore_pass)
        refused += self._restore_each(stored.get("both"), "two heads", self._restore_both)
        return refused + self._restore_each(stored.get("damping"), "damping", self._restore_damping)

    def _restore_each(self, rows: object, what: str, take: Callable[[str, Any], None]) -> list[str]:
        if rows is None:
            return []
        if not isinstance(rows, dict):
            return [f"the {what} that was kept cannot be read"]
        refused = []
        for player_id, row in rows.items():
            try:
                self.context.roster.taps(player_id)
                take(player_id, row)
            except (StationError, ArithmeticError, ValueError, TypeError) as error:
                refused.append(f"the {what} of {player_id!r:.40} is left out: {error!s:.120}")
        return refused

    def _restore_pass(self, player_id: str, row: Any) -> None:
        guide = HeadPass.from_state(row)
        drum = clean_text(row.get("drum", ""), "drum's name")
        beside = row.get("beside")
        if beside is not None and type(beside) is not int:
            raise DrumError("the lug that was chosen cannot be read")
        beside = None if beside is None else check_lug(beside, guide.lugs)
        live = Live(guide, drum, beside)
        self._pass_as_json(live)  # what cannot be shown is not taken back
        self._live[player_id] = live

    def _restore_both(self, player_id: str, row: Any) -> None:
        both = BothHeads.from_state(row)
        both.as_json(self.context.a4_hz())
        self._both[player_id] = both

    def _restore_damping(self, player_id: str, row: Any) -> None:
        self.context.roster.taps(player_id).held_against(tap_from_data(row, WANTED))


def _warning(overtone_hz: float, diameter_in: float) -> str | None:
    try:
        return tension_warning(overtone_hz, diameter_in)
    except UsageError:  # a size that no head has: nothing can be said of its pull
        return None
