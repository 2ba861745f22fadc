"""`station run`: with a fault in its settings it serves those that last held, and keeps a log."""

from __future__ import annotations

import signal
from pathlib import Path

from station.incidents import CUT_OFF, read_incidents
from tests.support.page_client import ask, wait_until
from tests.support.station_process import free_port, station_process


def write(folder: Path, name: str = "Cellar room", more: str = "") -> Path:
    path = folder / "settings.toml"
    port = folder / "port"
    if not port.exists():
        port.write_text(str(free_port()))
    path.write_text(
        f'[station]\nname = "{name}"\nroom_code = "hemlock-9"\ndata_dir = "state"\n'
        f'[input]\ndevice = "hw:CARD=Gone,DEV=0"\n[tone]\ndevice = "off"\n'
        f'[lamps]\nmode = "mock"\n[page]\nhost = "127.0.0.1"\nport = {port.read_text()}\n{more}'
    )
    return path


def test_a_fault_in_the_settings_costs_no_rehearsal_and_is_on_every_page(tmp_path):
    config = write(tmp_path)
    with station_process("run", "--config", str(config)) as station:
        station.wait_for_page()
        wait_until(lambda: (tmp_path / "state" / "settings-last-good.toml").exists())
        assert station.end() == 0
    write(tmp_path, "Attic room", "colour = 3\n")

    with station_process("run", "--config", str(config)) as station:
        told = ask(station.wait_for_page(), "/api/v1/room").json["station"]
        assert station.end() == 0

    (banner,) = told["banners"]
    assert told["name"] == "Cellar room"
    assert "settings.toml:14: page.colour: no such key" in banner
    assert "hemlock" not in banner
    assert banner in "".join(station.printed)
    write(tmp_path, "Attic room")
    with station_process("run", "--config", str(config)) as station:
        told = ask(station.wait_for_page(), "/api/v1/room").json["station"]

    assert (told["name"], told["banners"]) == ("Attic room", [])


def test_what_befell_a_station_outlives_its_being_killed(tmp_path):
    config = write(tmp_path)
    state = tmp_path / "state"
    with station_process("run", "--config", str(config)) as station:
        station.wait_for_page()
        wait_until(lambda: any("input waiting" in i.what for i in read_incidents(state, 9)))
        station.process.send_signal(signal.SIGKILL)
        station.process.wait()
    with station_process("run", "--config", str(config)) as station:
        station.wait_for_page()
        wait_until(lambda: any(i.what == CUT_OFF for i in read_incidents(state, 9)))
        assert station.end() == 0

    told = [each.what for each in reversed(read_incidents(state, 20))]
    assert told[0].startswith("started, version ")
    assert any("Gone" in what for what in told)
    assert told[-1] == "ended"
