"""`station hear` on recorded instruments: the right note, in its octave, once each.

The recordings come from a free sound font packaged by Debian; what each one
plays is known from the score it is rendered from. Programs whose recordings in
that font are more than half a semitone off their name are left out, as is
what is no single note (choruses, muted thuds).
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import pytest
import soundfile
from click.testing import CliRunner

from station.cli import cli
from station.music.names import note_name
from tests.support.soundfont import DEFAULT_FONT, Strike, render

FIRST_S, SOUND_S, EVERY_S = 0.4, 1.4, 2.2
STAND_IN_CENTS = 0.5  # what the station may lose where aubio cannot be used: our choice


@dataclass(frozen=True)
class Take:
    """One recording: General MIDI program (numbered from 0) and the notes played in turn."""

    name: str
    program: int
    notes: tuple[int, ...]


# Open strings and some more of each; the reeds have no strings but hold a note as a harmonica does.
TAKES = (
    Take("nylon guitar", 24, (40, 45, 50, 55, 59, 64, 76)),
    Take("steel guitar", 25, (40, 45, 50, 55, 59, 64, 81)),
    Take("jazz guitar", 26, (40, 45, 50, 55, 59, 64)),
    Take("clean guitar", 27, (40, 45, 50, 55, 59, 64)),
    Take("overdriven guitar", 29, (40, 45, 50, 55, 59, 64)),
    Take("distorted guitar", 30, (40, 45, 50, 55, 59, 64)),
    Take("double bass, plucked", 32, (28, 33, 38, 43)),
    Take("fingered bass", 33, (23, 28, 33, 38, 43)),
    Take("picked bass", 34, (28, 33, 38, 43)),
    Take("fretless bass", 35, (28, 33, 38, 43)),
    Take("slapped bass", 36, (28, 33, 38, 43)),
    Take("violin", 40, (55, 62, 69, 76)),
    Take("viola", 41, (48, 55, 62, 69)),
    Take("cello", 42, (36, 43, 50, 57)),
    Take("banjo", 105, (50, 55, 59, 62, 67)),
    Take("harmonica", 22, (60, 64, 67, 72, 76)),
    Take("reed organ", 20, (55, 60, 67, 72)),
    Take("piano", 0, (28, 33, 45, 52, 60, 69, 76)),
    Take("electric piano", 4, (40, 52, 60, 69)),
)


@lru_cache(maxsize=1)
def recordings(folder: Path) -> dict[str, Path]:
    """Every take rendered into `folder`, by name."""
    paths = {}
    for take in TAKES:
        strikes = [
            Strike(take.program, midi, FIRST_S + i * EVERY_S, SOUND_S)
            for i, midi in enumerate(take.notes)
        ]
        path = folder / f"{take.name.replace(' ', '-').replace(',', '')}.wav"
        samples, rate_hz = soundfile.read(render(path, strikes, gain=0.6))
        soundfile.write(path, samples[:, 0], rate_hz)
        paths[take.name] = path
    return paths


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    assert DEFAULT_FONT.exists(), f"{DEFAULT_FONT} is missing: tests/run.sh installs it"
    yield tmp_path_factory.mktemp("recordings")


@cache
def hear(path: Path, *options: str) -> list[dict[str, Any]]:
    """What is said of a recording; the same is asked by more than one test."""
    done = CliRunner().invoke(cli, ["hear", "--json", *options, str(path)])
    assert done.exit_code == 0, done.output
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_there_are_at_least_sixty_notes_to_be_heard() -> None:
    assert sum(len(take.notes) for take in TAKES) >= 60


@pytest.mark.parametrize("tracker", ["aubio", "numpy"])
@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_every_note_is_heard_once_in_its_octave(take: Take, folder: Path, tracker: str) -> None:
    said = hear(recordings(folder)[take.name], "--tracker", tracker)
    notes = [item for item in said if item["kind"] == "note"]
    assert [note["note"] for note in notes] == [note_name(midi) for midi in take.notes]
    for i, note in enumerate(notes):
        assert abs(note["onset_s"] - (FIRST_S + i * EVERY_S)) < 0.15
        assert note["end_s"] > note["onset_s"] + 0.4


def test_touched_harmonics_are_named_and_not_the_open_string_under_them(tmp_path: Path) -> None:
    # General MIDI program 31. These recordings' loudest partials are those of the key two octaves
    # above, their weaker ones every fifth part of it.
    keys = (40, 45, 50, 55, 59, 64, 67, 70)
    strikes = [Strike(31, key, FIRST_S + i * EVERY_S, SOUND_S) for i, key in enumerate(keys)]

    said = hear(render(tmp_path / "harmonics.wav", strikes, gain=0.6))

    notes = [item["note"] for item in said if item["kind"] == "note" and item["line"] == 1]
    assert notes == [note_name(key + 24) for key in keys]


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_the_stand_in_reads_every_note_as_with_aubio(take: Take, folder: Path) -> None:
    with_aubio, without = (
        [
            item["hz"]
            for item in hear(recordings(folder)[take.name], "--tracker", tracker)
            if item["kind"] == "note"
        ]
        for tracker in ("aubio", "numpy")
    )

    apart_cents = [
        abs(1200 * math.log2(own / aubios)) for own, aubios in zip(without, with_aubio, strict=True)
    ]
    assert max(apart_cents) <= STAND_IN_CENTS


@pytest.mark.parametrize("take", TAKES, ids=lambda take: take.name)
def test_readings_name_the_same_note_as_the_note_they_belong_to(take: Take, folder: Path) -> None:
    said = hear(recordings(folder)[take.name], "--tracker", "aubio")
    readings = [item for item in said if item["kind"] == "reading"]
    assert len(readings) > 20 * len(take.notes)
    for i, midi in enumerate(take.notes):
        begins = FIRST_S + i * EVERY_S
        own = [r for r in readings if begins + 0.3 < r["at_s"] < begins + SOUND_S]
        assert own
        assert {r["note"] for r in own} == {note_name(midi)}


# What is found on which string, from the notes of the takes and the tunings as players know them
# (common practice, no source); None where no open string lies within 2.5 semitones.
ON_STRINGS = {
    "guitar": (
        "nylon guitar",
        [(6, "E2"), (5, "A2"), (4, "D3"), (3, "G3"), (2, "B3"), (1, "E4"), None],
    ),
    "bass-5": ("fingered bass", [(5, "B0"), (4, "E1"), (3, "A1"), (2, "D2"), (1, "G2")]),
    "violin": ("violin", [(4, "G3"), (3, "D4"), (2, "A4"), (1, "E5")]),
    "viola": ("viola", [(4, "C3"), (3, "G3"), (2, "D4"), (1, "A4")]),
    "cello": ("cello", [(4, "C2"), (3, "G2"), (2, "D3"), (1, "A3")]),
    "banjo": ("banjo", [(4, "D3"), (3, "G3"), (2, "B3"), (1, "D4"), (5, "G4")]),
}


@pytest.mark.parametrize("tuning", ON_STRINGS)
def test_open_strings_are_found_on_their_tuning(tuning: str, folder: Path) -> None:
    name, expected = ON_STRINGS[tuning]
    said = hear(recordings(folder)[name], "--tuning", tuning)
    notes = [item for item in said if item["kind"] == "note"]
    found = [(note["string"], note["target"]) if note["string"] else None for note in notes]
    assert found == expected
    for note in notes:
        if note["string"] is None:
            assert note["verdict"] is None
        elif abs(note["string_cents"]) <= 2:
            assert note["verdict"] == "in"
        else:
            assert note["verdict"] == ("tighten" if note["string_cents"] < 0 else "slacken")


@pytest.mark.parametrize("labelled_hz", [46500, 47700, 48300])
def test_a_recording_played_faster_by_a_known_ratio_reads_shifted_by_as_much(
    labelled_hz: int, folder: Path, tmp_path: Path
) -> None:
    samples, rate_hz = soundfile.read(recordings(folder)["nylon guitar"])
    path = tmp_path / "faster.wav"
    soundfile.write(path, samples, labelled_hz)
    plain, shifted = (
        [item for item in hear(each) if item["kind"] == "note"]
        for each in (recordings(folder)["nylon guitar"], path)
    )
    assert len(plain) == len(shifted) == len(TAKES[0].notes)
    expected_cents = 1200 * math.log2(labelled_hz / rate_hz)
    for before, after in zip(plain, shifted, strict=True):
        assert abs(1200 * math.log2(after["hz"] / before["hz"]) - expected_cents) < 0.1
