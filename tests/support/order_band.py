"""A room of invented players with songs, and what they play, for tests of the running order."""

from __future__ import annotations

from station.measure.types import Note, Reading
from station.music.pitch import midi_to_hz, shift_cents
from station.room.model import Event, Player, Reference
from station.room.room import Room

TOVE = Player("tove", "Tove", "guitar", "standard", line=1)
BRANNOCK = Player("brannock", "Brannock", "bass", "standard", line=2)
ILSE = Player("ilse", "Ilse", "keyboard", line=3)
YORICK = Player("yorick", "Yorick", "drum-kit", line=4)
GUITAR = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}
BASS = {4: 28, 3: 33, 2: 38, 1: 43}
SONGS = [
    {"title": "Low tide", "key": "E minor", "bass": ["E1", "A1"]},
    {
        "title": "Paper lantern",
        "key": "D",
        "players": {"tove": "drop-d"},
        "drums": {"floor tom": "G2"},
        "notes": "wait for the drums",
    },
    {"title": "Slow ferry", "players": {"tove": "capo 2", "brannock": "drop-d"}},
]


def band(*players: Player, songs: bool = True, lines: int = 4) -> Room:
    room = Room(players or (TOVE, BRANNOCK, ILSE, YORICK), Reference(440.0), lines)
    if songs:
        room.order.read(None, songs=SONGS)
    return room


def play(room: Room, line: int, midi: int, now_s: float, cents: float = 0.0) -> list[Event]:
    """A whole note, told once it has ended."""
    hz = shift_cents(midi_to_hz(midi, room.reference.a4_hz), cents)
    return room.hear(Note(line, now_s - 1.5, now_s, hz, 0.1, 1e-4, 12), now_s)


def sound(room: Room, line: int, midi: int, now_s: float, cents: float = 0.0) -> list[Event]:
    """One reading of a note that goes on."""
    hz = shift_cents(midi_to_hz(midi, room.reference.a4_hz), cents)
    return room.hear(Reading(line, now_s, hz, 0.1, 1e-4, 12, now_s - 0.5), now_s)


def bring_in(room: Room, line: int, midis: dict[int, int], now_s: float) -> None:
    for midi in midis.values():
        play(room, line, midi, now_s)


def told(room: Room, now_s: float = 0.0) -> dict:
    return room.snapshot(now_s)["order"]
