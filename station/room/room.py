"""All that one station knows, and how it changes. No clock, no I/O, no threads.

Callers pass ``now_s``, seconds of one monotonic clock, and ``at``, wall-clock
time as ISO 8601 text for people to read, and must not call from two threads at
once. Every method that changes something returns the events its subscribers
should see; a ``room`` event carries the whole snapshot. Methods that act on a
proposal return a `Decision`, with the events in it.

The room puts its parts together: `board` is what the station says of itself,
`lines` hears, `roster` has the players, `agreement`, `offers` and `deciding`
the reference, `fixed_pitch` and `measured` the instruments of fixed pitch; whatever else a
band does is a part of its own (`parts`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any, Literal

from station.errors import NotAllowedError, UsageError
from station.measure.types import Gap, Heard, Level
from station.music.pitch import check_a4
from station.music.tunings import Instrument, load_instruments
from station.room.agreement import Adopted, Agreement, Decides, hz_text
from station.room.bench import Bench
from station.room.deciding import Deciding, Decision
from station.room.evening import Evening
from station.room.fixed_pitch import FixedPitch
from station.room.heads import Heads
from station.room.history import LogEntry
from station.room.lines import Lines
from station.room.measured import Measured
from station.room.members import Members
from station.room.model import STATE_PARTS, Event, Player, Reference, Station, StringState
from station.room.offers import make_offer
from station.room.parts import Context, Part, WantedEar
from station.room.pegs import Pegs
from station.room.proposal import Offer
from station.room.roster import Roster
from station.room.running_order import Order
from station.room.taps import stroke_events
from station.room.turns import Turns

__all__ = ["Decision", "Event", "Player", "Reference", "Room", "Station", "StringState"]

NOW_LASTS_S = 1.0


class Room(FixedPitch):
    """The reference, the players, their strings, the roll call and what is proposed.

    ``lines`` is how many channels the input has; ``in_cents`` how close to its
    target a string counts as in. ``instruments`` are those of the data files
    unless given (with custom tunings merged in). ``decides`` and ``leader`` (a
    player's id) say who adopts a proposal. Raises UsageError for players that
    cannot be seated and a leader who is none of them.
    """

    def __init__(
        self,
        players: Iterable[Player],
        reference: Reference,
        lines: int,
        in_cents: float = 2.0,
        *,
        station: Station | None = None,
        instruments: Mapping[str, Instrument] | None = None,
        decides: Decides = "everyone",
        leader: str | None = None,
    ) -> None:
        super().__init__(station or Station(), Lines(lines, in_cents), in_cents)
        known = load_instruments() if instruments is None else instruments
        self._roster = Roster(players, known, lines)
        self._deciding = Deciding(reference, self._roster)
        self._agreement = Agreement(self._roster.ids(), decides, leader)
        self._measured = Measured()
        self.context = Context(
            self._roster,
            lambda: self.reference.a4_hz,
            lambda: self._agreement.present(self._now_s),
            lambda: self.station.quiet,
        )
        self.heads = Heads(self.context)
        self.order, self.pegs = Order(self.context), Pegs(self.context)
        self.order.forecast, self.order.retuned.came_in = self.pegs.forecast, self.pegs.came_in
        self.turns = Turns(self.context)
        self.members = Members(self.context)
        self.bench = Bench(self.context, in_cents)
        self.bench.whose_turn, self.bench.is_bands_own = self.turns.holder, self._lines.is_bands_own
        self._lines.whose_turn = self.turns.holder
        self.evening = Evening(self.context)
        self.evening.proves = self._lines.proves
        self.order.doing = lambda: self.evening.doing
        self.parts: dict[str, Part] = {
            "heads": self.heads,
            "order": self.order,
            "pegs": self.pegs,
            "turns": self.turns,
            "members": self.members,
            "bench": self.bench,
            "evening": self.evening,
        }

    @property
    def reference(self) -> Reference:
        return self._deciding.reference

    @property
    def save_mark(self) -> int:
        """Another number whenever something changed that should be on storage at once."""
        kept = self._deciding.serial + self._agreement.changes + self._measured.changes
        return kept + sum(part.changes for part in self.parts.values())

    # -- what is heard -----------------------------------------------------

    def hear(self, heard: Heard, now_s: float) -> list[Event]:
        """Take in what a line's listener said.

        Readings and notes become events of their kind; a ``room`` event follows
        when the roll call moved, or a line's state or hum changed.
        """
        self._now_s = now_s
        events, moved = self._hear_line(heard, now_s)
        for part in self.parts.values():
            moved |= part.hear(heard, now_s)
        return events + self._room_event(moved)

    def _hear_line(self, heard: Heard, now_s: float) -> tuple[list[Event], bool]:
        if isinstance(heard, Level):
            return [], self._lines.hear_level(heard, now_s)
        if isinstance(heard, Gap):
            self._lines.forget(heard.line)  # readings either side of a gap prove nothing
            return [], False
        seats = self._roster.on_line(heard.line)
        return self._lines.hear_pitch(heard, seats, self.reference.a4_hz, now_s)

    def wanted_ears(self) -> set[WantedEar]:
        """What should be listened to beside the strings: a drummer's strokes, and more."""
        ears = {WantedEar("strokes", line) for line in self.drum_lines()}
        return ears.union(*(part.wanted_ears() for part in self.parts.values()))

    def hear_ear(self, wanted: WantedEar, told: Sequence[Any], now_s: float) -> list[Event]:
        """Take in what one of `wanted_ears` told: events of its own kind.

        A ``room`` event follows from each part's that began or ended something by it.
        """
        self._pass_time(now_s)
        events: list[Event] = []
        if wanted.kind == "strokes":
            drummers = self._roster.drummers(wanted.line)
            events += stroke_events(drummers, told, self.reference.a4_hz)
        for part in self.parts.values():
            events += part.hear_ear(wanted, told, now_s) or []
        return events

    def change_part(self, change: Callable[[], object], now_s: float) -> list[Event]:
        """Something asked of a part: ``change`` does it, and raises what it refuses."""
        self._pass_time(now_s)
        change()
        return self._room_event(True)

    def start_taps_again(self, player_id: str, by: str, now_s: float) -> list[Event]:
        """Forget a drummer's strokes; raises UnknownPlayerError, UsageError for no drummer."""
        self._roster.who(by)
        self._roster.taps(player_id).start_over()
        return self._room_event(True, now_s)

    # -- the reference -------------------------------------------------------

    def set_reference(
        self, a4_hz: float, by: str, source: str, set_at: str, now_s: float | None = None
    ) -> list[Event]:
        """Set a reference outright; a new frequency resets everyone's roll call.

        The same frequency again changes only who agreed and on what ground.
        ``by`` is a player's id or a name. Raises ReferenceRangeError, UsageError
        for unusable text, and NotAllowedError while phones of other players are
        here, unless the leader decides and it is the leader.
        """
        self._pass_time(now_s)
        player, name = self._roster.who(by)
        new = Reference(check_a4(a4_hz), set_at, name, source)
        others = set(self._agreement.present(self._now_s)) - {player}
        if others and not self._leads(player):
            names = ", ".join(self._roster.names(sorted(others)))
            raise NotAllowedError(f"others are here ({names}): propose the reference to them")
        self._take(new, "set")
        return self._room_event(True)

    def propose(
        self,
        by: str,
        kind: str,
        at: str,
        now_s: float,
        *,
        a4_hz: float | None = None,
        instrument: str | None = None,
        rule: str = "worst",
    ) -> Decision:
        """Put a reference to the band; ``by`` is a player's id, who says yes by this, or a name.

        ``kind`` and what goes with it: `offers.make_offer`, which raises; also
        raises NotNowError when too many are open.
        """
        self._pass_time(now_s)
        player, name = self._roster.who(by)
        offer = make_offer(kind, self._measured, a4_hz=a4_hz, instrument=instrument, rule=rule)
        number, adopted = self._agreement.propose(offer, player, name, at, now_s)
        return self._decided(number, adopted, at)

    def answer(self, number: int, player_id: str, answer: str, at: str, now_s: float) -> Decision:
        """A player answers a proposal, ``"yes"`` or ``"not yet"``.

        Raises UnknownPlayerError, UsageError, and ProposalGoneError with what
        became of a proposal that is not open.
        """
        self._pass_time(now_s)
        player = self._roster.seat(player_id).player.id
        if answer not in ("yes", "not yet"):
            raise UsageError(f"answer {answer!r:.40}: say 'yes' or 'not yet'")
        return self._decided(
            number, self._agreement.answer(number, player, answer == "yes", now_s), at
        )

    def withdraw(self, number: int, by: str, now_s: float) -> Decision:
        """Take a proposal back; raises ProposalGoneError, and NotAllowedError for another's."""
        self._pass_time(now_s)
        self._agreement.withdraw(number, *self._roster.who(by), now_s)
        return self._decided(number, None, "")

    def undo(self, by: str, at: str, now_s: float) -> list[Event]:
        """Go back to the reference before; the roll call, too, of strings not heard since.

        Raises NotNowError when there is none, and NotAllowedError where the
        leader decides and it is somebody else.
        """
        self._pass_time(now_s)
        player, name = self._roster.who(by)
        if self._agreement.decides == "leader" and not self._leads(player):
            leader = ", ".join(self._roster.names([self._agreement.leader or ""]))
            raise NotAllowedError(f"only {leader}, who leads, can undo the reference")
        self._deciding.undo(name, at)
        self._reference_changed()
        return self._room_event(True)

    def set_present(self, players: Iterable[str], now_s: float) -> list[Event]:
        """Say whose phones have a stream open now."""
        self._pass_time(now_s)
        self._agreement.set_present(players, now_s)
        return self._news()

    def tick(self, at: str, now_s: float) -> list[Event]:
        """Let time pass (once a second will do): what lapses, ends or is agreed on by that."""
        self._pass_time(now_s)
        adopted = self._agreement.tick(now_s)
        if adopted is not None:
            self._adopt(adopted, at)
        ended = self.tone is not None and now_s >= self.tone.ends_at_s and self._end_tone()
        lapsed = self._measured.lapse(at, now_s)
        for part in self.parts.values():
            lapsed |= part.tick(now_s)
        return self._room_event(True) if adopted or ended or lapsed else self._news()

    def _leads(self, player: str | None) -> bool:
        return self._agreement.decides == "leader" and player == self._agreement.leader

    def _decided(self, number: int, adopted: Adopted | None, at: str) -> Decision:
        if adopted is not None:
            self._adopt(adopted, at)
        told = self._agreement.as_json(self.reference.a4_hz, self._now_s)["proposals"]
        reply = {
            "proposal": next((each for each in told if each["id"] == number), None),
            "adopted": adopted is not None,
            "reference": self._reference(),
        }
        return Decision(self._room_event(True), reply)

    def _adopt(self, adopted: Adopted, at: str) -> None:
        proposal, names = adopted.proposal, self._roster.names
        offer = proposal.offer
        new = Reference(offer.a4_hz, at, proposal.by_name, offer.reason, names(proposal.yes))
        self._take(new, "adopted", offer, names(adopted.away))

    def _take(
        self,
        new: Reference,
        kind: Literal["adopted", "set"],
        offer: Offer | None = None,
        away: tuple[str, ...] = (),
    ) -> None:
        fate = f"{hz_text(new.a4_hz)} was {kind} by {new.by or 'somebody'}"
        self._agreement.close_all(fate, self._now_s)
        if self._deciding.change(new, kind, offer.evidence if offer else None, away):
            self._reference_changed()

    def _reference_changed(self) -> None:
        self._lines.forget()
        for part in self.parts.values():
            part.reference_changed()

    # -- what people change ------------------------------------------------

    def change_player(
        self, player_id: str, *, now_s: float | None = None, **changes: Any
    ) -> list[Event]:
        """Change a player's name, instrument, tuning, capo, offsets or line.

        A string whose target the change leaves alone keeps its place in the roll
        call. Raises UnknownPlayerError, and UsageError naming what is wrong;
        then nothing has changed.
        """
        before = self._roster.change(player_id, changes)
        if before is None:
            return []
        self._lines.forget(before.line)
        for part in self.parts.values():
            part.players_changed()
        return self._room_event(True, now_s)

    # -- what is shown and kept ----------------------------------------------

    def snapshot(self, now_s: float) -> dict[str, Any]:
        """The whole room as JSON data; nothing in it changes afterwards."""
        a4_hz = self.reference.a4_hz
        return {
            "station": self._board(),
            "reference": self._reference(),
            "agreement": self._agreement.as_json(a4_hz, now_s),
            "measuring": self._measured.measuring_as_json(a4_hz),
            "measured": self._measured.as_json(a4_hz),
            "compromise": self._measured.compromise(),
            "tone": None if self.tone is None else self.tone.as_json(now_s),
            "lines": [asdict(level) for level in self._lines.levels.values()],
            "players": [seat.snapshot(a4_hz, now_s, NOW_LASTS_S) for seat in self._roster],
            "roll_call": self.roll_call(),
            **{name: part.as_json(now_s) for name, part in self.parts.items()},
        }

    def _reference(self) -> dict[str, Any]:
        return {**self.reference.as_json(), "undo_hz": self._deciding.undo_hz}

    def roll_call(self) -> dict[str, Any]:
        """How many strings are in, out and not heard; complete when all of at least one are in."""
        return self._roster.roll_call()

    def pitched_lines(self) -> set[int]:
        """Lines with a player whose pitch is measured: all but drums."""
        return self._roster.pitched_lines()

    def drum_lines(self) -> set[int]:
        """Lines whose strokes are heard: of drummers whose phone is here to show them."""
        return self._roster.drum_lines(self._agreement.present(self._now_s))

    def log(self) -> list[LogEntry]:
        """Every change of the reference in this run, oldest first."""
        return self._deciding.log()

    def state(self) -> dict[str, Any]:
        """What outlives a restart, as plain data for the store."""
        return {
            "reference": self._deciding.state(),
            "strings": self._roster.string_states(),
            "players": self._roster.state(),
            "agreement": self._agreement.state(),
            "measured": self._measured.state(),
            "steps": self._deciding.steps_state(),
            "log": [entry.as_json() for entry in self._deciding.log()],
            **{name: part.state() for name, part in self.parts.items()},
        }

    def restore(self, state: Mapping[str, Any]) -> list[str]:
        """Take back a stored state; returns a line for each part that fits no more.

        Players the settings have no longer are left out, and an entry that was
        edited in the settings since counts more than what was stored for it.
        """
        self._deciding.restore(state["reference"])
        refused = self._roster.restore(state["players"], state["strings"])
        restores: dict[str, Callable[[Any], list[str]]] = {
            "agreement": self._agreement.restore,
            "measured": self._measured.restore,
            "steps": self._deciding.restore_steps,
            **{name: part.restore for name, part in self.parts.items()},
        }
        for name in STATE_PARTS:
            if state.get(name) is not None and name in restores:
                refused += restores[name](state[name])
        return refused

    def _news(self) -> list[Event]:
        return self._room_event(self._agreement.has_news(self._now_s))

    def _room_event(self, changed: bool, now_s: float | None = None) -> list[Event]:
        events = super()._room_event(changed, now_s)
        if events:
            self._agreement.has_news(self._now_s)  # it has been told by this
        return events
