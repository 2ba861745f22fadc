"""The instruments of fixed pitch measured so far, and the one being measured. Pure.

One is measured at a time, on the lines it may be heard on. Where that is more
than one (the box's button names nobody), the first line on which a note is
heard has it. What is measured is worked out anew with every note, and kept
under its player's id, or its line's, once somebody says it is done.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, get_args

from station.errors import NotNowError, UnknownMeasurementError, UsageError
from station.measure.fixed.types import FixedNote
from station.music.compromise import Rule, compromise
from station.music.pitch import A4_MAX_HZ, A4_MIN_HZ, cents_between
from station.room.instrument import (
    HZ_DECIMALS,
    Data,
    Source,
    against,
    instrument_data,
    stored_instrument,
)

KEPT_MAX = 6
NOTES_HEARD_MAX = 400
SAME_NOTE_CENTS = 30.0  # told again and surer, not another note of a chord
IDLE_S = 600.0
BOX_ID = "box"
BOX_NAME = "the reference instrument"


@dataclass(slots=True)
class Measuring:
    """The instrument being measured; ``sources`` has one entry once it is known which."""

    sources: tuple[Source, ...]
    began_at: str
    heard_at_s: float
    notes: list[FixedNote] = field(default_factory=list)
    instrument: Data | None = None
    sounding: set[int] = field(default_factory=set)

    @property
    def id(self) -> str:
        return self.sources[0].id if len(self.sources) == 1 else BOX_ID

    @property
    def name(self) -> str:
        return self.sources[0].name if len(self.sources) == 1 else BOX_NAME

    @property
    def lines(self) -> list[int]:
        return sorted({source.line for source in self.sources})

    def narrow(self, line: int) -> None:
        """The instrument is the one on this line."""
        self.sources = tuple(s for s in self.sources if s.line == line)[:1]
        self.sounding &= {line}

    def enter(self, note: FixedNote) -> None:
        """Add a note; one told again takes the place of what was told before."""
        for index in range(len(self.notes) - 1, -1, -1):
            if _is_same(self.notes[index], note):
                self.notes[index] = note
                return
        self.notes.append(note)
        del self.notes[:-NOTES_HEARD_MAX]


class Measured:
    """What was measured, newest first, at most ``KEPT_MAX`` instruments.

    ``changes`` counts what has to be on storage. The JSON it gives is made once
    and never altered, so a snapshot may hold it.
    """

    def __init__(self) -> None:
        self.measuring: Measuring | None = None
        self.changes = 0
        self._kept: list[Data] = []
        self._shown: tuple[float, list[Data]] | None = None
        self._compromise: tuple[int, Data | None] | None = None

    # -- the one being measured --------------------------------------------------

    def begin(self, sources: Sequence[Source], at: str, now_s: float) -> bool:
        """Listen for an instrument that is one of ``sources``; False if it already does.

        Raises NotNowError while another is being measured.
        """
        new = Measuring(tuple(sources), at, now_s)
        if self.measuring is None:
            self.measuring = new
            return True
        if self.measuring.id == new.id:
            return False
        raise NotNowError(f"{self.measuring.name} is being measured: finish or cancel that first")

    def lines(self) -> frozenset[int]:
        """The lines on which an instrument is being measured."""
        return frozenset(self.measuring.lines if self.measuring else ())

    def hear(self, line: int, notes: Iterable[FixedNote], sounding: bool, now_s: float) -> bool:
        """Take in what was heard on a line; whether anything the page shows has changed."""
        measuring = self.measuring
        if measuring is None or line not in measuring.lines:
            return False
        changed = sounding != (line in measuring.sounding)
        (measuring.sounding.add if sounding else measuring.sounding.discard)(line)
        heard = False
        for note in notes:
            measuring.enter(note)
            heard = True
        if not heard:
            return changed
        if len(measuring.sources) > 1:
            measuring.narrow(line)
        measuring.heard_at_s = now_s
        measuring.instrument = _pitch_of(measuring)
        return True

    def finish(self, at: str) -> Data:
        """Keep what was measured; the instrument.

        Raises NotNowError when nothing is being measured, and when no note has
        been heard yet: then it goes on listening.
        """
        measuring = self._need_measuring()
        if measuring.instrument is None:
            raise NotNowError(f"no note of {measuring.name} has been heard yet: play some")
        instrument = {**measuring.instrument, "measured_at": at}
        self.measuring = None
        self._keep([instrument, *(i for i in self._kept if i["id"] != instrument["id"])])
        return instrument

    def cancel(self) -> None:
        """Listen no longer and keep nothing of it; raises NotNowError."""
        self._need_measuring()
        self.measuring = None

    def lapse(self, at: str, now_s: float) -> bool:
        """End a measurement nobody has played for in ``IDLE_S``; whether that was so.

        What had been heard by then is kept.
        """
        measuring = self.measuring
        if measuring is None or now_s - measuring.heard_at_s < IDLE_S:
            return False
        if measuring.instrument is None:
            self.cancel()
        else:
            self.finish(at)
        return True

    def _need_measuring(self) -> Measuring:
        if self.measuring is None:
            raise NotNowError("no instrument is being measured: begin with that")
        return self.measuring

    # -- those measured ----------------------------------------------------------

    def get(self, instrument_id: str) -> Data:
        """A measured instrument; raises UnknownMeasurementError."""
        for instrument in self._kept:
            if instrument["id"] == instrument_id:
                return instrument
        known = ", ".join(each["id"] for each in self._kept) or "none"
        raise UnknownMeasurementError(
            f"nothing was measured under {instrument_id!r:.40}: measured are {known}"
        )

    def forget(self, instrument_id: str) -> None:
        """Raises UnknownMeasurementError."""
        gone = self.get(instrument_id)
        self._keep([each for each in self._kept if each is not gone])

    def kept(self) -> list[Data]:
        """All of them, newest first, without a word of the reference."""
        return list(self._kept)

    def _keep(self, instruments: list[Data]) -> None:
        self._kept = instruments[:KEPT_MAX]
        self._shown = None
        self.changes += 1

    # -- what is shown and kept ----------------------------------------------------

    def as_json(self, reference_hz: float) -> list[Data]:
        """The instruments against a reference; worked out once for each."""
        if self._shown is None or self._shown[0] != reference_hz:
            self._shown = reference_hz, [against(each, reference_hz) for each in self._kept]
        return list(self._shown[1])

    def measuring_as_json(self, reference_hz: float) -> Data | None:
        measuring = self.measuring
        if measuring is None:
            return None
        instrument = measuring.instrument
        return {
            "id": measuring.id,
            "name": measuring.name,
            "lines": measuring.lines,
            "player": measuring.sources[0].player if len(measuring.sources) == 1 else None,
            "sounding": bool(measuring.sounding),
            "instrument": None if instrument is None else against(instrument, reference_hz),
        }

    def compromise(self) -> Data | None:
        """The references that suit all of them best; None for fewer than two."""
        if self._compromise is None or self._compromise[0] != self.changes:
            self._compromise = self.changes, _compromise_of(self._kept)
        return self._compromise[1]

    def state(self) -> list[Data]:
        """What outlives a restart."""
        return list(self._kept)

    def restore(self, stored: Any) -> list[str]:
        """Take back what `state` gave; one line for each instrument that cannot be used."""
        if not isinstance(stored, list):
            return [f"the measured instruments are lost: {stored!r:.40} are none"]
        kept: list[Data] = []
        dropped = []
        for row in stored:
            try:
                instrument = stored_instrument(row)
                if any(each["id"] == instrument["id"] for each in kept):
                    raise UsageError(f"{instrument['id']!r:.40} was measured twice")
            except UsageError as error:
                dropped.append(f"what was measured of an instrument is lost: {error}")
            else:
                kept.append(instrument)
        self._keep(kept)
        return dropped


def _is_same(known: FixedNote, note: FixedNote) -> bool:
    return (known.line, known.onset_s) == (note.line, note.onset_s) and abs(
        cents_between(note.hz, known.hz)
    ) <= SAME_NOTE_CENTS


def _pitch_of(measuring: Measuring) -> Data | None:
    # Here, so that settings and commands that only know of a room do without numpy.
    from station.measure.fixed.a4 import instrument_pitch

    pitch = instrument_pitch(measuring.notes)
    if pitch is None:
        return None
    return instrument_data(measuring.sources[0], pitch, measuring.began_at)


def _compromise_of(instruments: Sequence[Data]) -> Data | None:
    """Both rules over those a band could tune to; every instrument counts alike.

    How sure each was measured says nothing of how much it matters to the band.
    """
    fit = [each for each in instruments if A4_MIN_HZ <= each["a4_hz"] <= A4_MAX_HZ]
    if len(fit) < 2:
        return None
    return {rule: _by_rule(rule, fit) for rule in get_args(Rule)}


def _by_rule(rule: Rule, instruments: Sequence[Data]) -> Data:
    found = compromise([each["a4_hz"] for each in instruments], rule)
    return {
        "a4_hz": round(found.a4_hz, HZ_DECIMALS),
        "worst_cents": found.worst_cents,
        "instruments": [
            {
                "id": each["id"],
                "name": each["name"],
                "cents": share.cents,
                "beats_hz": share.beats_hz,
            }
            for each, share in zip(instruments, found.shares, strict=True)
        ],
    }
