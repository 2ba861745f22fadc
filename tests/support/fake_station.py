"""A station without sound for the page's tests: same facade as the daemon's, invented data.

It keeps a room of four invented players, does what the page asks of it and lets
a test play the part of the band (``pluck``). Errors are the station's own.
"""

from __future__ import annotations

import copy
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from station.errors import ReferenceRangeError, StorageError, TuningError, UnknownPlayerError
from station.web.hub import Hub

INSTRUMENTS: dict[str, Any] = {
    "guitar": {
        "label": "Guitar",
        "kind": "strings",
        "tunings": {"standard": "Standard", "drop-d": "Drop D", "dadgad": "DADGAD"},
    },
    "guitar-12": {
        "label": "12-string guitar",
        "kind": "strings",
        "tunings": {"half-step-down": "Half step down"},
    },
    "bass": {
        "label": "Bass guitar",
        "kind": "strings",
        "tunings": {"standard": "Standard", "drop-d": "Drop D"},
    },
    "keyboard": {"label": "Keyboard", "kind": "fixed", "tunings": {}},
    "drum-kit": {"label": "Drum kit", "kind": "drums", "tunings": {}},
}
# Open strings as MIDI numbers, string 1 first (equal temperament; ISO 16 at A4 = 440 Hz).
STRINGS = {
    ("guitar", "standard"): (64, 59, 55, 50, 45, 40),
    ("guitar", "drop-d"): (64, 59, 55, 50, 45, 38),
    ("guitar", "dadgad"): (62, 57, 55, 50, 45, 38),
    ("guitar-12", "half-step-down"): (63, 63, 58, 58, 66, 54, 61, 49, 56, 44, 51, 39),
    ("bass", "standard"): (43, 38, 33, 28),
    ("bass", "drop-d"): (43, 38, 33, 26),
}
NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def note(midi: int) -> str:
    return f"{NAMES[midi % 12]}{midi // 12 - 1}"


class FakeStation:
    """The facade the page is wired to; ``pluck`` and friends play the band."""

    def __init__(self, room_code: str = "oak-47", max_streams: int = 64) -> None:
        self.hub = Hub(max_streams)
        self.room_code = room_code
        self.page_addresses = ["http://192.0.2.17:8080/"]
        self.storage_fails = False
        self._lock = threading.RLock()
        self._station: dict[str, Any] = {
            "name": "Cellar room",
            "version": "0.0.0",
            "simulated": False,
            "in_cents": 2.0,
            "tracker": "aubio",
            "tracker_reason": None,
            "note_names": "english",
            "quiet": False,
            "input": {
                "state": "listening",
                "device": "hw:CARD=Line4,DEV=0",
                "reason": None,
                "overruns": 0,
                "restarts": 0,
            },
            "lamps": {"state": "lit", "reason": None},
            "banners": [],
        }
        self._reference: dict[str, Any] = {
            "a4_hz": 440.0,
            "set_at": "2031-03-04T18:42:00Z",
            "by": "Ilse",
            "source": "settings",
        }
        self._lines = [self._line(number) for number in (1, 2, 3, 4)]
        self._players: list[dict[str, Any]] = []
        for number, (name, instrument, tuning) in enumerate(
            [
                ("Tove", "guitar", "drop-d"),
                ("Brannock", "bass", "standard"),
                ("Ilse", "keyboard", ""),
                ("Yorick", "drum-kit", ""),
            ],
            start=1,
        ):
            self._players.append(self._player(name, instrument, tuning, number))

    # -- the facade ------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        with self._lock:
            strings = [each for player in self._players for each in player["strings"]]
            counts = {
                roll: sum(each["roll"] == roll for each in strings)
                for roll in ("in", "out", "not heard")
            }
            return copy.deepcopy(
                {
                    "station": {**self._station, "addresses": self.page_addresses},
                    "reference": self._reference,
                    "lines": self._lines,
                    "players": self._players,
                    "roll_call": {
                        "in": counts["in"],
                        "out": counts["out"],
                        "not_heard": counts["not heard"],
                        "total": len(strings),
                        "complete": counts["in"] == len(strings),
                    },
                }
            )

    def set_reference(self, a4_hz: float, by: str, source: str) -> None:
        if self.storage_fails:
            raise StorageError("the room cannot be saved: the card is read-only")
        if not 390 <= a4_hz <= 470:
            raise ReferenceRangeError(f"A4 = {a4_hz:g} Hz is outside 390 to 470 Hz")
        with self._lock:
            set_at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
            self._reference = {"a4_hz": a4_hz, "set_at": set_at, "by": by, "source": source}
            for player in self._players:
                player["strings"] = self._strings(player["instrument"], player["tuning"])
        self.tell_room()

    def change_player(self, player_id: str, changes: dict[str, Any]) -> None:
        with self._lock:
            player = self.player(player_id)
            wanted = {**player, **changes}
            tunings = INSTRUMENTS.get(wanted["instrument"], {"tunings": {}})["tunings"]
            if tunings and wanted["tuning"] not in tunings:
                raise TuningError(f"no tuning {wanted['tuning']!r} for {wanted['instrument']!r}")
            player.update(
                self._player(
                    wanted["name"], wanted["instrument"], wanted["tuning"], player["line"]
                ),
                id=player_id,
                capo=wanted["capo"],
            )
        self.tell_room()

    def instruments(self) -> dict[str, Any]:
        return INSTRUMENTS

    def addresses(self) -> list[str]:
        return self.page_addresses

    # -- what a test does to it ------------------------------------------

    def player(self, player_id: str) -> dict[str, Any]:
        for player in self._players:
            if player["id"] == player_id:
                return player
        raise UnknownPlayerError(f"no player {player_id!r}")

    def tell_room(self) -> None:
        self.hub.publish("room", "", self.snapshot())

    def set_station(self, **changes: Any) -> None:
        """Change what the station says of itself (input, lamps, tracker, banners)."""
        with self._lock:
            self._station.update(changes)
        self.tell_room()

    def set_line(self, number: int, **changes: Any) -> None:
        with self._lock:
            self._lines[number - 1].update(changes)
        self.tell_room()

    def pluck(
        self,
        player_id: str,
        string: int,
        cents: float,
        uncertainty_cents: float = 0.3,
        tell_room: bool = True,
    ) -> dict[str, Any]:
        """One reading of one string, ``cents`` from its target; the roll call follows."""
        with self._lock:
            player = self.player(player_id)
            state = next(each for each in player["strings"] if each["string"] == string)
            verdict = "in" if abs(cents) <= 2 else "tighten" if cents < 0 else "slacken"
            state.update(
                cents=cents,
                uncertainty_cents=uncertainty_cents,
                verdict=verdict,
                roll="in" if verdict == "in" else "out",
                age_s=0.0,
            )
            hz = state["target_hz"] * 2 ** (cents / 1200)
            reading = {
                "player": player_id,
                "line": player["line"],
                "at_s": 1.0,
                "hz": hz,
                "uncertainty_cents": uncertainty_cents,
                "note": state["note"],
                "cents": cents,
                "string": string,
                "target": state["note"],
                "target_hz": state["target_hz"],
                "string_cents": cents,
                "beats_hz": abs(hz - state["target_hz"]),
                "clipped": False,
                "verdict": verdict,
            }
        self.hub.publish("reading", player_id, reading)
        if tell_room:
            self.tell_room()
        return reading

    def play_fixed(self, player_id: str, midi: int, cents: float) -> dict[str, Any]:
        """One reading of an instrument that cannot be tuned here, such as a keyboard."""
        target_hz = self._reference["a4_hz"] * 2 ** ((midi - 69) / 12)
        reading = {
            "player": player_id,
            "line": self.player(player_id)["line"],
            "at_s": 1.0,
            "hz": target_hz * 2 ** (cents / 1200),
            "uncertainty_cents": 0.2,
            "note": note(midi),
            "cents": cents,
            "string": None,
            "target": None,
            "target_hz": None,
            "string_cents": None,
            "beats_hz": abs(target_hz * (2 ** (cents / 1200) - 1)),
            "clipped": False,
            "verdict": None,
        }
        self.hub.publish("reading", player_id, reading)
        return reading

    def bring_everyone_in(self) -> None:
        with self._lock:
            for player in self._players:
                for state in player["strings"]:
                    state.update(
                        cents=0.4, uncertainty_cents=0.2, verdict="in", roll="in", age_s=1.0
                    )
        self.tell_room()

    # -- building the room -----------------------------------------------

    def _strings(self, instrument: str, tuning: str) -> list[dict[str, Any]]:
        return [
            {
                "string": number,
                "note": note(midi),
                "target_hz": self._reference["a4_hz"] * 2 ** ((midi - 69) / 12),
                "roll": "not heard",
                "cents": None,
                "uncertainty_cents": None,
                "verdict": None,
                "age_s": None,
            }
            for number, midi in reversed(
                tuple(enumerate(STRINGS.get((instrument, tuning), ()), start=1))
            )
        ]

    def _player(self, name: str, instrument: str, tuning: str, line: int) -> dict[str, Any]:
        told = INSTRUMENTS[instrument]
        return {
            "id": name.lower(),
            "name": name,
            "instrument": instrument,
            "instrument_label": told["label"],
            "kind": told["kind"],
            "tuning": tuning,
            "tuning_label": told["tunings"].get(tuning, ""),
            "line": line,
            "capo": 0,
            "strings": self._strings(instrument, tuning),
            "now": None,
        }

    def _line(self, number: int) -> dict[str, Any]:
        return {
            "line": number,
            "rms_dbfs": -42.0,
            "peak_dbfs": -30.0,
            "dc": 0.0,
            "clipped": False,
            "state": "quiet",
            "hum_hz": None,
            "hum_dbfs": None,
        }


@contextmanager
def sounding(station: FakeStation, player: str, string: int, cents: float) -> Iterator[dict]:
    """The string goes on sounding inside the block."""
    silent = threading.Event()
    reading = station.pluck(player, string, cents)

    def sound() -> None:
        while not silent.wait(0.1):
            station.pluck(player, string, cents)

    thread = threading.Thread(target=sound)
    thread.start()
    try:
        yield reading
    finally:
        silent.set()
        thread.join()
