"""What the whole station costs with eight lines: memory, processor, time to the first page.

    .venv/bin/python -m tests.bench.bench_station [SECONDS]

A real `station run` listens on eight lines of a PulseAudio null sink into which a
recording of eight players is played without a rest. Figures are printed, none
is asserted: they belong to the machine and to what else it does.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

import psutil

from tests.support.eight_lines import EIGHT_PLAYERS, LINES, memory_mb, record_eight_lines
from tests.support.page_client import ask, wait_until
from tests.support.pulse import PulseAudio, environment_set
from tests.support.station_process import (
    StationProcess,
    free_port,
    station_process,
    write_settings,
)

LISTEN_S = 40.0
STARTS = 5
TAKE_S = 20.0
SAMPLE_S = 0.5


def cpu_s(process: psutil.Process) -> float:
    """Processor time used so far, seconds."""
    return sum(process.cpu_times()[:2])


def first_page_s(config: Path, port: int) -> float:
    """From starting the process until the page itself has arrived, seconds."""
    with station_process("run", "--config", str(config)) as station:
        while True:
            try:
                if ask(port, "/").status == 200:
                    return time.monotonic() - station.begun_s
            except ConnectionRefusedError:
                time.sleep(0.005)


def measure(station: StationProcess, pulse: PulseAudio, take: Path | None, length_s: float) -> None:
    """Print the load of `length_s` seconds of silence or of the take, over and over."""
    daemon, capture = station.family()
    began_s, used = time.monotonic(), (cpu_s(daemon), cpu_s(capture))
    samples: list[tuple[float, dict[str, float]]] = []
    player = None
    while (passed_s := time.monotonic() - began_s) < length_s:
        if take is not None and (player is None or player.poll() is not None):
            player = pulse.play(take)
        samples.append((passed_s, memory_mb([daemon, capture])))
        time.sleep(SAMPLE_S)
    passed_s = time.monotonic() - began_s
    shares = [
        100 * (now - before) / passed_s
        for now, before in zip((cpu_s(daemon), cpu_s(capture)), used, strict=True)
    ]
    told = ask(station.port, "/api/v1/room").json
    what = "eight lines playing" if take else "eight silent lines"
    print(f"\n{what}, {passed_s:.0f} s, overruns {told['station']['input']['overruns']}:")
    print(f"  processor: daemon {shares[0]:.1f} % of a core ({shares[0] / LINES:.2f} % a line)")
    print(f"  processor: capture child {shares[1]:.1f} % of a core")
    for kind in ("rss", "pss", "uss"):
        values = [each[kind] for _, each in samples]
        quarter = max(1, len(values) // 4)
        last = statistics.mean(values[-quarter:]) - statistics.mean(values[-2 * quarter : -quarter])
        print(
            f"  {kind} of both: {values[0]:.1f} MB at first, {max(values):.1f} MB at most, "
            f"{last:+.2f} MB from the third to the last quarter"
        )
    each = [memory_mb([process]) for process in (daemon, capture)]
    print(
        "  at the end: "
        + "; ".join(
            f"{name} {m['rss']:.1f} rss, {m['pss']:.1f} pss"
            for name, m in zip(("daemon", "capture child"), each, strict=True)
        )
    )


def main() -> None:
    length_s = float(sys.argv[1]) if len(sys.argv) > 1 else LISTEN_S
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        take = record_eight_lines(folder / "eight.wav", TAKE_S)
        port = free_port()
        config = write_settings(folder, port, EIGHT_PLAYERS, LINES)
        with PulseAudio(folder, channels=LINES) as pulse, environment_set(pulse.environment):
            starts = [first_page_s(config, port) for _ in range(STARTS)]
            print(
                f"from start to first page: median {statistics.median(starts):.2f} s,"
                f" slowest {max(starts):.2f} s of {STARTS}"
            )
            with station_process("run", "--config", str(config)) as station:
                station.wait_for_page()
                wait_until(
                    lambda: (
                        ask(port, "/api/v1/room").json["station"]["input"]["state"] == "listening"
                    )
                )
                measure(station, pulse, None, length_s / 4)
                measure(station, pulse, take, length_s)


if __name__ == "__main__":
    main()
