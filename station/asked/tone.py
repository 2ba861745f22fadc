"""The reference tone, and quiet."""

from __future__ import annotations

import time

from station.asked.asking import Asking
from station.errors import NotNowError
from station.music.names import note_name, parse_note
from station.music.pitch import midi_to_hz, nearest_note
from station.room.model import Tone
from station.sound.tone import check_tone
from station.sound.tone_out import OutputState, Sounding


class AskedTone(Asking):
    """What people ask of the box's own sound."""

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
