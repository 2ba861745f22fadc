"""A drummer's heads: the guided pass, both heads, the drums that are kept, the kit and the key."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeVar, cast

from station.asked.asking import Asking, utc_now
from station.measure.drums.head_pass import Phase
from station.music.drums import CAUTIONS, DrumKind
from station.music.kit import MM_PER_INCH, pitch_hz
from station.room.drum_book import KeptDrum, clean_name
from station.room.heads import Heads
from station.room.heads_json import back_as_json, drum_as_json, drum_for_file
from station.room.kit_songs import SONGS_MAX, against, kit_of, read_song, songs_as_data
from station.room.model import Event

T = TypeVar("T")

FROM_TAPS = "taps"
"""In place of a drum's pitch: what the drummer has tapped last."""


class AskedHeads(Asking):
    """What people ask of drums and their heads."""

    @property
    def _heads(self) -> Heads:
        return self.room.heads

    def _read_heads(self, read: Callable[[], T]) -> T:
        """What is read while nothing changes."""
        told: list[T] = []

        def change() -> list[Event]:
            told.append(read())
            return []

        self._do(change)
        return told[0]

    def _ask_heads(self, change: Callable[[], object]) -> None:
        self._change(lambda: self.room.change_part(change, time.monotonic()))

    # -- a head pass, both heads -----------------------------------------------------

    def begin_head(self, player_id: str, lugs: int, phase: str, drum: str) -> None:
        """Raises what `Heads.begin` raises."""
        self._ask_heads(lambda: self._heads.begin(player_id, lugs, cast(Phase, phase), drum))

    def choose_lug(self, player_id: str, lug: int) -> None:
        """Raises NotNowError and DrumError."""
        self._ask_heads(lambda: self._heads.choose_lug(player_id, lug))

    def tap_lug_again(self, player_id: str, lug: int | None) -> None:
        """Raises NotNowError and DrumError."""
        self._ask_heads(lambda: self._heads.tap_again(player_id, lug))

    def turned(self, player_id: str, lug: int | None, turns: float | None) -> None:
        """Raises NotNowError and DrumError."""
        self._ask_heads(lambda: self._heads.turned(player_id, lug, turns))

    def turned_back(self, player_id: str, name: str) -> None:
        """Raises what `Heads.turned_back` raises."""
        self._ask_heads(lambda: self._heads.turned_back(player_id, name))

    def restart_round(self, player_id: str) -> None:
        """Raises NotNowError."""
        self._ask_heads(lambda: self._heads.restart(player_id))

    def leave_head(self, player_id: str) -> None:
        """Raises NotNowError."""
        self._ask_heads(lambda: self._heads.leave(player_id))

    def both_heads(self, player_id: str, step: str, snare_side: bool) -> None:
        """Raises what `Heads.both_heads` raises."""
        self._ask_heads(lambda: self._heads.both_heads(player_id, step, snare_side))

    def compare_damping(self, player_id: str, begins: bool) -> None:
        """Raises what `Heads.compare_damping` raises."""
        self._ask_heads(lambda: self._heads.compare_damping(player_id, begins))

    # -- drums that are kept -----------------------------------------------------------

    def kept_drums(self) -> dict[str, Any]:
        """Every drum that is kept, the kit's songs, and what to take care of."""
        a4_hz = self.room.reference.a4_hz
        return self._read_heads(
            lambda: {
                "drums": [drum_as_json(each, a4_hz) for each in self._heads.book],
                "songs": songs_as_data(self._heads.songs),
                "cautions": list(CAUTIONS),
            }
        )

    def kept_drums_file(self) -> dict[str, Any]:
        """The same for a file, in the words of `station drum kit`; its songs are those of `kit`."""
        return self._read_heads(
            lambda: {
                "a4_hz": self.room.reference.a4_hz,
                "drums": [drum_for_file(each) for each in self._heads.book],
                "songs": self._ordered_songs() or songs_as_data(self._heads.songs),
            }
        )

    def keep_drum(self, player_id: str, name: str, place: str) -> None:
        """The drum as it is now is its good state; raises what `Heads.keep` raises."""
        source = self.room.reference.source
        self._ask_heads(lambda: self._heads.keep(player_id, name, utc_now(), source, place))

    def put_drum(self, name: str, player_id: str | None, changes: dict[str, Any]) -> None:
        """Size, kind and pitch of a drum, which need not be known yet.

        ``changes``: kind, diameter_in, depth_in, keep, and pitch as written, or "taps" for what
        `player_id` has tapped. Raises UsageError, DrumError, NoteNameError, NotNowError.
        """

        def put() -> None:
            drum = self._heads.book.find(clean_name(name)) or KeptDrum(clean_name(name))
            self._heads.put(self._changed_drum(drum, player_id, changes))

        self._ask_heads(put)

    def _changed_drum(
        self, drum: KeptDrum, player_id: str | None, changes: dict[str, Any]
    ) -> KeptDrum:
        if "kind" in changes:
            drum = replace(drum, kind=cast(DrumKind, changes["kind"]))
        if "diameter_in" in changes:
            drum = replace(drum, diameter_mm=_millimetres(changes["diameter_in"]))
        if "depth_in" in changes:
            drum = replace(drum, depth_mm=_millimetres(changes["depth_in"]))
        if "keep" in changes:
            drum = replace(drum, keep=changes["keep"])
        written = changes.get("pitch")
        if written == FROM_TAPS:
            tapped_hz, overtone_hz = self._heads.tapped_pitch(player_id or "")
            return replace(drum, hz=tapped_hz, overtone_hz=overtone_hz)
        if written is not None:
            hz = pitch_hz(written, self.room.reference.a4_hz)
            return replace(drum, hz=hz, overtone_hz=None)
        return drum

    def forget_drum(self, name: str, by: str) -> None:  # noqa: ARG002 - the page's
        """Raises UsageError."""
        self._ask_heads(lambda: self._heads.forget(name))

    def way_back(self, player_id: str, name: str) -> dict[str, Any]:
        """What must be turned; raises what `Heads.way_back` raises."""
        return self._read_heads(lambda: back_as_json(name, self._heads.way_back(player_id, name)))

    # -- the kit against the key ---------------------------------------------------------

    def set_kit_songs(self, songs: list[Any]) -> None:
        """Raises UsageError."""
        self._ask_heads(lambda: self._heads.set_songs(songs))

    def kit(self) -> dict[str, Any]:
        """Drums of known size and pitch against the songs; ``view`` is None without either.

        The songs are the running order's where it has keys, else those typed for the kit.
        """
        heads, a4_hz = self._heads, self.room.reference.a4_hz
        kit, missing = self._read_heads(lambda: kit_of(heads.book))
        ordered = self._read_heads(self._ordered_songs)
        songs = tuple(read_song(each) for each in ordered) or heads.songs
        return {
            "view": against(kit, songs, a4_hz),
            "missing": missing,
            "songs": songs_as_data(songs),
            "from_order": bool(ordered),
        }

    def _ordered_songs(self) -> list[dict[str, Any]]:
        """The running order's songs that have a key."""
        songs = getattr(self.room.parts.get("order"), "songs", ())
        found = [
            {"name": each.title[:40], "key": each.key, "bass": list(each.bass)[:12]}
            for each in songs
            if each.key
        ]
        return found[:SONGS_MAX]


def _millimetres(inches: float | None) -> float | None:
    return None if inches is None else inches * MM_PER_INCH
