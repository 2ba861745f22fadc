"""What was tapped before a change of damping outlives the station, however it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from station.keeping import STORE_NAME
from station.measure.drums.damping import compare
from station.measure.drums.plain import tap_as_data, tap_from_data
from station.room.parts import WantedEar
from station.room.room import Room
from station.room.store import open_store
from station.room.taps import Taps
from tests.room import damping_writer
from tests.room.damping_writer import TOM_HZ, drummers_room
from tests.support.fake_drums import make_stroke

WRITER = Path(damping_writer.__file__)
ROOT = WRITER.parents[2]
EAR = WantedEar("strokes", 1)


def tapped(hz: float, first_s: float = 1.0) -> Taps:
    taps = Taps()
    for at in range(4):
        taps.hear(make_stroke(first_s + at, hz + 0.05 * at))
    return taps


def restored(state: object) -> tuple[Room, list[str]]:
    room = drummers_room()
    return room, room.restore(json.loads(json.dumps(state, allow_nan=False)))


def test_a_power_cut_leaves_what_was_remembered_before_damping(tmp_path: Path) -> None:
    command = [sys.executable, str(WRITER), str(tmp_path)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT, env=env) as writer:
        assert writer.stdout is not None
        said = writer.stdout.readline()
        writer.send_signal(signal.SIGKILL)

    opened = open_store(tmp_path / STORE_NAME, "now")
    room = drummers_room()
    refused = room.restore(opened.state)
    opened.store.close()

    assert said == b"kept\n"
    assert refused == []
    before = room.heads.context.roster.taps("ida").before
    assert before is not None
    assert before.fundamental_hz == pytest.approx(TOM_HZ)
    room.hear_ear(EAR, [make_stroke(1.0, TOM_HZ, line=1)], 1.0)
    told = room.heads.context.roster.taps("ida").as_json(440.0)["damping"]
    assert told["before_hz"] == pytest.approx(TOM_HZ)
    assert told["partials"] != []


def test_damping_compared_after_a_restart_says_what_it_would_have_said() -> None:
    before, after = tapped(TOM_HZ).tap, tapped(TOM_HZ + 1.0).tap
    assert before is not None
    assert after is not None

    kept = tap_from_data(json.loads(json.dumps(tap_as_data(before))), 5)

    then, now = compare(before, after), compare(kept, after)
    assert now.cents == pytest.approx(then.cents, abs=1e-5)
    assert len(now.changes) == len(then.changes)
    for one, other in zip(now.changes, then.changes, strict=True):
        assert one.level_db == pytest.approx(other.level_db, abs=1e-6)
        assert one.ring_ms == pytest.approx(other.ring_ms, abs=1e-3)


def test_what_was_forgotten_stays_forgotten() -> None:
    room = drummers_room()
    for at in range(3):
        room.hear_ear(EAR, [make_stroke(1.0 + at, TOM_HZ, line=1)], 1.0)
    room.heads.compare_damping("ida", True)
    room.heads.compare_damping("ida", False)

    again, refused = restored(room.state())

    assert refused == []
    assert again.heads.context.roster.taps("ida").before is None


@pytest.mark.parametrize(
    "spoilt",
    [
        7,
        {},
        {"drum": "open"},
        {"drum": "open", "strokes": []},
        {"drum": "open", "strokes": [{}] * 6},
        {"drum": "open", "strokes": [7]},
        {"drum": "open", "strokes": [{"at_s": 1.0, "fundamental": [1e9, 0, 0, None]}]},
    ],
)
def test_what_cannot_be_a_tap_is_left_out_in_a_line(spoilt: object) -> None:
    room = drummers_room()
    state = room.state()
    state["heads"]["damping"] = {"ida": spoilt}

    again, refused = restored(state)

    (line,) = refused
    assert "damping" in line
    assert "\n" not in line
    assert again.heads.context.roster.taps("ida").before is None
