"""The daemon and its capture child with eight lines in use."""

from __future__ import annotations

from pathlib import Path

from tests.support.eight_lines import EIGHT_PLAYERS, LINES, memory_mb, record_eight_lines
from tests.support.page_client import ask, event_stream, wait_until
from tests.support.pulse import PulseAudio, environment_set
from tests.support.station_process import free_port, station_process, write_settings

LIMIT_MB = 160.0  # of 512: the system and its sound need the rest


def test_daemon_and_capture_child_stay_small_while_eight_lines_play(tmp_path: Path) -> None:
    recording = record_eight_lines(tmp_path / "eight.wav", 6.0)
    config = write_settings(tmp_path, free_port(), EIGHT_PLAYERS, LINES)
    with (
        PulseAudio(tmp_path, channels=LINES) as pulse,
        environment_set(pulse.environment),
        station_process("run", "--config", str(config)) as station,
    ):
        port = station.wait_for_page()
        wait_until(
            lambda: ask(port, "/api/v1/room").json["station"]["input"]["state"] == "listening"
        )
        player = pulse.play(recording)
        heard, most_mb = set(), 0.0
        with event_stream(port) as stream:
            for kind, said in stream:
                if kind == "note":
                    heard.add(said["line"])
                    daemon, capture = station.family()
                    most_mb = max(most_mb, memory_mb([daemon, capture])["rss"])
                if len(heard) == LINES and player.poll() is not None:
                    break

    print(f"\nat most {most_mb:.0f} MB resident")
    assert heard == set(range(1, LINES + 1))
    assert 20.0 < most_mb < LIMIT_MB
