"""How long from a stroke on a drum to the page: real ear, real room, hub, server and stream.

    .venv/bin/python -m tests.bench.bench_taps [TAPS]

Blocks come at the pace of a sound card. The time is from the sample of the stroke until a
client of the event stream has the first telling of it, in a head pass and as a tap; the last
telling, when the ring is over, is told beside.
"""

from __future__ import annotations

import sys
import threading
import time

import numpy as np

from station.daemon import TunerStation
from station.probe import Probe
from station.room.model import Player
from station.settings import LampSettings, PageSettings, Settings, StationSettings
from station.settings_model import InputSettings
from station.sound.blocks import Block
from station.sound.tone_muted import MutedToneOut
from tests.support.drum_strokes import tom
from tests.support.hand_input import HandInput
from tests.support.page_client import event_stream, wait_until

RATE_HZ = 48_000
BLOCK = 1024
APART_S = 1.5


def percentile(values: list[float], share: float) -> str:
    return f"{1000 * float(np.percentile(values, share)):.0f} ms" if values else "none"


def main(taps: int = 20) -> None:
    settings = Settings(
        station=StationSettings("Bench", "bench-1"),
        input=InputSettings("by hand", channels=1, rate_hz=RATE_HZ),
        page=PageSettings("127.0.0.1", 0),
        lamps=LampSettings("off"),
        players=(Player("ida", "Ida", "drum-kit", line=1),),
    )
    hand = HandInput()
    station = TunerStation(
        settings,
        hand,
        Probe("numpy"),
        make_tone_out=lambda _, on_tone: MutedToneOut(on_tone),
        keep=False,
    )
    sound = 1e-4 * np.random.default_rng(1).normal(size=round((taps * APART_S + 1.0) * RATE_HZ))
    struck = [round((0.5 + APART_S * number) * RATE_HZ) for number in range(taps)]
    for number, first in enumerate(struck):
        part = 0.5 * tom(110.0, 0.9, seed=number).sound(APART_S - 0.05, RATE_HZ)
        sound[first : first + part.size] += part
    heard: list[tuple[float, str]] = []
    with station, event_stream(station.page.port, player="ida") as stream:
        wait_until(lambda: station.listening._ears)
        station.begin_head("ida", 10, "fine", "")
        listener = threading.Thread(target=_listen, args=(stream, heard), daemon=True)
        listener.start()
        began_s = time.monotonic()
        for at in range(0, sound.size - BLOCK, BLOCK):
            # A card hands a block over when its last sample has been played.
            wait_s = began_s + (at + BLOCK) / RATE_HZ - time.monotonic()
            if wait_s > 0:
                time.sleep(wait_s)
            samples = sound[at : at + BLOCK, None].astype(np.float32)
            station._take_block(Block(samples, at, 0, time.monotonic(), 0))
        time.sleep(1.0)
    for what in ("tap", "lug"):
        first_s, last_s = [], []
        for sample in struck:
            at_s = began_s + sample / RATE_HZ
            told = [t - at_s for t, kind in heard if kind == what and 0.0 <= t - at_s < APART_S]
            if told:
                first_s.append(told[0])
                last_s.append(told[-1])
        print(
            f"{what}: {len(first_s)} of {taps} strokes told; first telling median"
            f" {percentile(first_s, 50)}, 95 % {percentile(first_s, 95)}, worst"
            f" {percentile(first_s, 100)}; last telling median {percentile(last_s, 50)}"
        )


def _listen(stream, heard) -> None:
    try:
        for kind, payload in stream:
            if kind == "stroke":
                heard.append((time.monotonic(), "lug" if "head" in payload else "tap"))
    except (OSError, ValueError):  # the bench has closed the stream
        return


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
