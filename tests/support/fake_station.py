"""A station without sound for the page's tests: same facade as the daemon's, invented data.

It keeps a room of four invented players, does what the page asks of it and lets
a test play the part of the band (``pluck``) and of a measured instrument
(``measure``). References are agreed on by the room's own rules, and errors are
the station's own. A test lets time pass by ``let_time_pass``; nothing else waits.
"""

from __future__ import annotations

import copy
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from station.errors import NotNowError, StorageError, ToneError, UnknownPlayerError, UsageError
from station.music.names import note_name, parse_note
from station.music.pitch import midi_to_hz
from station.room.history import to_csv, to_json
from station.room.instrument import Source
from station.room.offers import make_offer
from station.sound.tone import check_tone
from station.web.hub import Hub
from tests.support.fake_bench import FakeBench
from tests.support.fake_drums import FakeDrums
from tests.support.fake_heads import FakeHeadRoom, FakeHeads
from tests.support.fake_measuring import FakeMeasuring
from tests.support.fake_order import FakeOrder
from tests.support.fake_players import (
    BAND,
    INSTRUMENTS,
    make_evening,
    make_line,
    make_player,
    make_station,
    roll_call,
)
from tests.support.fake_reference import FakeReference, iso_now
from tests.support.invented import invented_instrument


class FakeStation(FakeHeads, FakeOrder, FakeBench):
    """The facade the page is wired to; ``pluck``, ``measure`` and friends play the band."""

    def __init__(self, room_code: str = "oak-47", max_streams: int = 64) -> None:
        self.hub = Hub(max_streams)
        self.hub.presence.listen(self.on_presence)
        self.room_code = room_code
        self.page_addresses = ["http://192.0.2.17:8080/"]
        self.storage_fails = False
        self._lock = threading.RLock()
        self._station = make_station()
        self.reference = FakeReference(
            {name.lower(): name for name, _, _ in BAND}, self._forget_strings
        )
        self.measuring = FakeMeasuring()
        self.heads_room = FakeHeadRoom(lambda: self.reference.now)
        self.drums = FakeDrums(self.heads_room.roster)
        self._tone: dict[str, Any] | None = None
        self._tone_ends_s = 0.0
        self._skipped_s = 0.0
        self._here: list[str] = []
        self._evening = make_evening("not known")
        self._lines = [make_line(number) for number in (1, 2, 3, 4)]
        self._players = [
            make_player(name, instrument, tuning, line, self.reference.now["a4_hz"])
            for line, (name, instrument, tuning) in enumerate(BAND, start=1)
        ]

    # -- the facade ------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        with self._lock:
            now_s = self._now_s()
            self.reference.tick(now_s)
            return copy.deepcopy(
                {
                    "station": {**self._station, "addresses": self.page_addresses},
                    **self.reference.snapshot(now_s),
                    **self.measuring.snapshot(self.reference.now["a4_hz"]),
                    "tone": self._tone_now(now_s),
                    "lines": self._lines,
                    "players": self.drums.show(self._players, self.reference.now["a4_hz"]),
                    "roll_call": roll_call(self._players),
                    "heads": self.heads_room.heads.as_json(now_s),
                    **self.order_snapshot(),
                    "evening": self._evening,
                    **self.bench_snapshot(),
                }
            )

    def change_player(self, player_id: str, changes: dict[str, Any]) -> None:
        with self._lock:
            player = self.player(player_id)
            wanted = {**player, **changes}
            same = all(wanted[key] == player[key] for key in ("instrument", "tuning"))
            kept = player["offsets_cents"] if same else {}
            player.update(
                make_player(
                    wanted["name"],
                    wanted["instrument"],
                    wanted["tuning"],
                    player["line"],
                    self.reference.now["a4_hz"],
                    changes.get("offsets_cents", kept),
                ),
                id=player_id,
                capo=wanted["capo"],
            )
        self.tell_room()

    def instruments(self) -> dict[str, Any]:
        return INSTRUMENTS

    def addresses(self) -> list[str]:
        return self.page_addresses

    def on_presence(self, player_ids: list[str]) -> None:
        with self._lock:
            self._here = player_ids
            self.reference.agreement.set_present(player_ids, self._now_s())
        self.tell_room()

    def here(self) -> list[str]:
        """The players whose phones the station, not only its server, knows to be here."""
        with self._lock:
            return list(self._here)

    def set_reference(self, a4_hz: float, by: str, source: str) -> None:
        self._check_storage()
        with self._lock:
            self.reference.set(a4_hz, by, source, self._now_s())
        self.tell_room()

    def propose(
        self,
        by: str,
        kind: str,
        a4_hz: float | None = None,
        instrument: str | None = None,
        rule: str | None = None,
    ) -> dict[str, Any]:
        self._check_storage()
        with self._lock:
            offer = make_offer(
                kind, self.measuring, a4_hz=a4_hz, instrument=instrument, rule=rule or "worst"
            )
            told = self.reference.propose(offer, by, self._now_s())
        self.tell_room()
        return told

    def answer(self, proposal_id: int, player_id: str, answer: str) -> dict[str, Any]:
        self._check_storage()
        with self._lock:
            self.player(player_id)
            told = self.reference.answer(proposal_id, player_id, answer, self._now_s())
        self.tell_room()
        return told

    def withdraw(self, proposal_id: int, by: str) -> dict[str, Any]:
        with self._lock:
            told = self.reference.withdraw(proposal_id, by, self._now_s())
        self.tell_room()
        return told

    def undo(self, by: str) -> None:
        self._check_storage()
        with self._lock:
            self.reference.undo(by)
        self.tell_room()

    def references(self) -> list[dict[str, Any]]:
        with self._lock:
            return to_json(self.reference.history)

    def references_csv(self) -> str:
        with self._lock:
            return to_csv(self.reference.history)

    def begin_measuring(
        self, player: str | None = None, line: int | None = None, name: str | None = None
    ) -> None:
        with self._lock:
            if player is not None:
                known = self.player(player)
                told = f"{known['name']}'s {known['instrument_label'].lower()}"
                source = Source(player, told, known["line"], player)
            else:
                number = self._known_line(line)
                source = Source(f"line-{number}", name or f"line {number}", number)
            self.measuring.begin_at(source, self._now_s())
        self.tell_room()

    def finish_measuring(self, by: str) -> None:
        with self._lock:
            self.measuring.finish(iso_now())
        self.tell_room()

    def cancel_measuring(self, by: str) -> None:
        with self._lock:
            self.measuring.cancel()
        self.tell_room()

    def forget_measured(self, instrument_id: str, by: str) -> None:
        with self._lock:
            self.measuring.forget(instrument_id)
        self.tell_room()

    def play_tone(self, note: str, voice: str, level_dbfs: float, seconds: float) -> None:
        with self._lock:
            hz = midi_to_hz(parse_note(note), self.reference.now["a4_hz"])
            check_tone(hz, voice, level_dbfs, seconds)
            if self._station["quiet"]:
                raise NotNowError("the station is in quiet: it makes no sound until that is ended")
            out = self._station["tone_out"]
            if out["state"] != "ready":
                raise ToneError(f"no tone: the output is {out['reason'] or out['state']}")
            self._tone = {"note": note, "hz": hz, "voice": voice, "level_dbfs": level_dbfs}
            self._tone_ends_s = self._now_s() + seconds
        self.tell_room()

    def stop_tone(self, by: str) -> None:
        with self._lock:
            self._tone = None
        self.tell_room()

    def set_quiet(self, quiet: bool) -> None:
        with self._lock:
            self._tone = None if quiet else self._tone
        self.set_station(quiet=quiet)

    def start_taps_again(self, player_id: str, by: str) -> None:
        with self._lock:
            self.drums.of(self.player(player_id)).start_over()
        self.tell_room()

    # -- what a test does to it ------------------------------------------

    def player(self, player_id: str) -> dict[str, Any]:
        for player in self._players:
            if player["id"] == player_id:
                return player
        raise UnknownPlayerError(f"no player {player_id!r:.40}")

    def tell_room(self) -> None:
        self.hub.publish("room", "", self.snapshot())

    def set_station(self, **changes: Any) -> None:
        """Change what the station says of itself (input, lamps, clock, tone_out, banners)."""
        with self._lock:
            self._station.update(changes)
        self.tell_room()

    def set_line(self, number: int, **changes: Any) -> None:
        with self._lock:
            self._lines[number - 1].update(changes)
        self.tell_room()

    def measure(self, instrument: str | dict[str, Any], sounding: bool = True) -> None:
        """Let the instrument being measured be heard: "equal keyboard", "just harp",
        "tremolo accordion", or a changed one from ``invented_instrument``.
        """
        with self._lock:
            self.measuring.hear_instrument(instrument, sounding)
        self.tell_room()

    def measure_whole(self, player_id: str, instrument: str, **changes: Any) -> None:
        """Measure a ready-made instrument of that player's from beginning to end."""
        self.begin_measuring(player_id)
        self.measure(invented_instrument(instrument, **changes))
        self.finish_measuring(player_id)

    def agree_on(self, a4_hz: float, by: str, source: str = "agreed") -> None:
        """As if everyone had just agreed on it, whoever is present."""
        with self._lock:
            self.reference.take(a4_hz, by, source, self._now_s())
        self.tell_room()

    def decide_by(self, leader: str | None) -> None:
        """That player decides, everyone with None; proposals are dropped, phones stay here."""
        with self._lock:
            self.reference.decide_by(leader)
            self.reference.agreement.set_present(self._here, self._now_s())
        self.tell_room()

    def let_time_pass(self, seconds: float) -> None:
        """As if so many seconds had gone by: who is away counts no more, tones end."""
        self._skipped_s += seconds
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

    def pause(self, **told: Any) -> None:
        """A gap after a song; ``told`` as the evening's part of the room has it."""
        with self._lock:
            self._evening = make_evening("gap", songs=1, **told)
        self.tell_room()

    def go_on(self) -> None:
        """The next song has begun."""
        with self._lock:
            self._evening = make_evening("playing", songs=2)
        self.tell_room()

    def play_fixed(self, player_id: str, midi: int, cents: float) -> dict[str, Any]:
        """One reading of an instrument that cannot be tuned here, such as a keyboard."""
        target_hz = midi_to_hz(midi, self.reference.now["a4_hz"])
        reading = {
            "player": player_id,
            "line": self.player(player_id)["line"],
            "at_s": 1.0,
            "hz": target_hz * 2 ** (cents / 1200),
            "uncertainty_cents": 0.2,
            "note": note_name(midi),
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

    def strike(self, player_id: str, at_s: float, hz: float, **how: Any) -> None:
        """One stroke on a drum; ``how`` as in ``make_stroke``."""
        with self._lock:
            told = self.drums.strike(self.player(player_id), at_s, hz, self.reference.now, **how)
        self.hub.publish("stroke", player_id, told)

    def bring_everyone_in(self) -> None:
        with self._lock:
            for player in self._players:
                for state in player["strings"]:
                    state.update(
                        cents=0.4, uncertainty_cents=0.2, verdict="in", roll="in", age_s=1.0
                    )
        self.tell_room()

    # -- the room's parts ------------------------------------------------

    def _now_s(self) -> float:
        return time.monotonic() + self._skipped_s

    def _check_storage(self) -> None:
        if self.storage_fails:
            raise StorageError("the room cannot be saved: the card is read-only")

    def _forget_strings(self) -> None:
        for player in self._players:
            told = [player[key] for key in ("name", "instrument", "tuning", "line")]
            a4_hz = self.reference.now["a4_hz"]
            player["strings"] = make_player(*told, a4_hz, player["offsets_cents"])["strings"]

    def _known_line(self, line: int | None) -> int:
        if line is None or not 1 <= line <= len(self._lines):
            raise UsageError(f"line {line}: the input has lines 1 to {len(self._lines)}")
        return line

    def _tone_now(self, now_s: float) -> dict[str, Any] | None:
        if self._tone is None or now_s >= self._tone_ends_s:
            return None
        return {**self._tone, "ends_in_s": round(self._tone_ends_s - now_s, 2)}


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
