"""What people ask of a station, on the page or with the box's buttons.

Each method is one change of the room, with what has to follow from it: the ears
that listen, the tone that sounds, the lamps, and what is kept.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any

from station.errors import NotNowError, StorageError
from station.keeping import Change, Keeping
from station.lamps.lamps import Lamps
from station.music.names import note_name, parse_note
from station.music.pitch import midi_to_hz, nearest_note
from station.music.tunings import Instrument
from station.room import history
from station.room.model import Tone
from station.room.room import Decision, Room
from station.sound.tone import check_tone
from station.sound.tone_out import OutputState, Sounding, ToneOutput


def utc_now() -> str:
    """The wall clock as ISO 8601 text, for people to read only."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


class Asked(ABC):
    """The half of a station that answers people; `station.web.facade.Station` describes it."""

    room: Room
    keeping: Keeping
    tone_out: ToneOutput
    lamps: Lamps | None
    _instruments: Mapping[str, Instrument]

    # -- what the other half does ----------------------------------------------

    @abstractmethod
    def _do(self, change: Change) -> None:
        """Make a change to the room and tell its events."""

    @abstractmethod
    def _change(self, change: Change, save: bool = False) -> None:
        """The same, with all that follows from it.

        What the band agrees on is durable before this returns; anything is with `save`.
        """

    @abstractmethod
    def _card_ppm(self) -> float:
        """How much faster than its name the tone's card runs, 0 where that is not known."""

    @abstractmethod
    def snapshot(self) -> dict[str, Any]:
        """The whole room as JSON data."""

    # -- the reference ---------------------------------------------------------

    def set_reference(self, a4_hz: float, by: str, source: str) -> None:
        """Set it outright, durably; raises ReferenceRangeError, UsageError, NotAllowedError."""
        self._change(
            lambda: self.room.set_reference(a4_hz, by, source, utc_now(), time.monotonic()),
            save=True,
        )

    def propose(
        self,
        by: str,
        kind: str,
        a4_hz: float | None = None,
        instrument: str | None = None,
        rule: str | None = None,
    ) -> dict[str, Any]:
        """Put a reference to the band; raises what `Room.propose` raises."""
        return self._decide(
            lambda: self.room.propose(
                by,
                kind,
                utc_now(),
                time.monotonic(),
                a4_hz=a4_hz,
                instrument=instrument,
                rule=rule or "worst",
            )
        )

    def answer(self, proposal_id: int, player_id: str, answer: str) -> dict[str, Any]:
        """A player's yes or not yet; raises what `Room.answer` raises."""
        return self._decide(
            lambda: self.room.answer(proposal_id, player_id, answer, utc_now(), time.monotonic())
        )

    def withdraw(self, proposal_id: int, by: str) -> dict[str, Any]:
        """Take a proposal back; raises what `Room.withdraw` raises."""
        return self._decide(lambda: self.room.withdraw(proposal_id, by, time.monotonic()))

    def undo(self, by: str) -> None:
        """Go back to the reference before; raises NotNowError and NotAllowedError."""
        self._change(lambda: self.room.undo(by, utc_now(), time.monotonic()))

    def references(self) -> list[dict[str, Any]]:
        """Every reference the room had, newest first."""
        return history.to_json(self._log())

    def references_csv(self) -> str:
        """The same as a table."""
        return history.to_csv(self._log())

    def on_presence(self, player_ids: list[str]) -> None:
        """These players' phones are here now, and no others."""
        self._change(lambda: self.room.set_present(player_ids, time.monotonic()))

    def _decide(self, ask: Callable[[], Decision]) -> dict[str, Any]:
        replies: list[dict[str, Any]] = []

        def change() -> Any:
            decision = ask()
            replies.append(decision.reply)
            return decision.events

        self._change(change)
        return replies[0]

    def _log(self) -> list[history.LogEntry]:
        """Of all runs where the log can be read, else of this one."""
        try:
            stored = self.keeping.store.log() if self.keeping.store is not None else []
        except StorageError:
            stored = []
        return history.merged(stored, self.room.log())

    # -- instruments of fixed pitch ----------------------------------------------

    def begin_measuring(
        self, player: str | None = None, line: int | None = None, name: str | None = None
    ) -> None:
        """Listen to an instrument; raises what `Room.begin_measuring` raises."""
        self._change(
            lambda: self.room.begin_measuring(
                utc_now(), time.monotonic(), player=player, line=line, name=name or ""
            )
        )

    def finish_measuring(self, by: str) -> None:
        """Keep what was measured; raises NotNowError."""
        self._change(lambda: self.room.finish_measuring(by, utc_now(), time.monotonic()))

    def cancel_measuring(self, by: str) -> None:
        """Keep nothing of it; raises NotNowError."""
        self._change(lambda: self.room.cancel_measuring(by, time.monotonic()))

    def forget_measured(self, instrument_id: str, by: str) -> None:  # noqa: ARG002 - the page's
        """Raises UnknownMeasurementError."""
        self._change(lambda: self.room.forget_measured(instrument_id, time.monotonic()))

    def _reference_button(self, long: bool) -> None:
        """The box's button: listen, adopt, or, held, cancel."""
        self._change(lambda: self._pressed(long))

    def _pressed(self, long: bool) -> Any:
        try:
            return self.room.press_reference_button(utc_now(), time.monotonic(), long)
        except NotNowError:  # a press that came too late has nothing to undo
            return []

    # -- tone and quiet ------------------------------------------------------------

    def play_tone(self, note: str, voice: str, level_dbfs: float, seconds: float) -> None:
        """Sound a note at the reference; raises NoteNameError, ToneRefusedError, ToneError."""
        hz = midi_to_hz(parse_note(note), self.room.reference.a4_hz)
        check_tone(hz, voice, level_dbfs, seconds, quiet=self.room.station.quiet)
        self.tone_out.play(hz, voice, level_dbfs, seconds, self._card_ppm())

    def stop_tone(self, by: str) -> None:  # noqa: ARG002 - whoever asks
        """Fade it out."""
        self.tone_out.stop()

    def set_quiet(self, quiet: bool) -> None:
        """No sound from the box and its lamps at a quarter of their light, or not."""
        if quiet:
            self.tone_out.stop()
        if self.lamps is not None:
            self.lamps.set_quiet(quiet)
        self._change(lambda: self.room.set_quiet(quiet, time.monotonic()))

    def _toggle_quiet(self) -> None:
        """The quiet button."""
        self.set_quiet(not self.room.station.quiet)

    def _tone_changed(self, sounding: Sounding | None) -> None:
        now_s = time.monotonic()
        if sounding is None:
            self._do(lambda: self.room.clear_tone(now_s))
            return
        ask = sounding.ask
        note = note_name(nearest_note(ask.hz, self.room.reference.a4_hz).midi)
        tone = Tone(note, ask.hz, ask.voice, ask.level_dbfs, sounding.ends_at_s)
        try:
            self._do(lambda: self.room.set_tone(tone, now_s))
        except NotNowError:  # quiet began while the output was being opened
            self.tone_out.stop()

    def _tone_out_changed(self, state: OutputState) -> None:
        self._do(lambda: self.room.set_tone_out(state.state, state.reason))

    # -- players ---------------------------------------------------------------------

    def change_player(self, player_id: str, changes: dict[str, Any]) -> None:
        """Change a player; raises UnknownPlayerError and UsageError."""
        self._change(
            lambda: self.room.change_player(player_id, now_s=time.monotonic(), **changes),
            save=True,
        )

    def start_taps_again(self, player_id: str, by: str) -> None:
        """Forget what a drummer tapped; raises UnknownPlayerError and UsageError."""
        self._change(lambda: self.room.start_taps_again(player_id, by, time.monotonic()))

    def instruments(self) -> dict[str, Any]:
        """Every instrument with its kind and the labels of its tunings."""
        return {
            key: {
                "label": instrument.label,
                "kind": instrument.kind,
                "tunings": {k: tuning.label for k, tuning in instrument.tunings.items()},
            }
            for key, instrument in self._instruments.items()
        }
