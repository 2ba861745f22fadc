"""`station run`: with a fault in its settings it serves those that last held, and keeps a log."""

from __future__ import annotations

from pathlib import Path

from station.incidents import CUT_OFF, Incident, read_incidents
from tests.support.page_client import ask, wait_until
from tests.support.station_process import free_port, station_process


def write(folder: Path, name: str, port: int, more: str = "") -> Path:
    path = folder / "settings.toml"
    path.write_text(
        f'[station]\nname = "{name}"\nroom_code = "hemlock-9"\ndata_dir = "state"\n'
        f'[input]\ndevice = "hw:CARD=Gone,DEV=0"\n[tone]\ndevice = "off"\n'
        f'[lamps]\nmode = "mock"\n[page]\nhost = "127.0.0.1"\nport = {port}\n{more}'
    )
    return path


def test_a_fault_in_the_settings_costs_no_rehearsal_and_what_befell_the_station_is_kept(tmp_path):
    def incidents() -> list[Incident]:
        return read_incidents(tmp_path / "state", 20)

    port = free_port()
    config = write(tmp_path, "Cellar room", port)
    with station_process("run", "--config", str(config)) as station:
        station.wait_for_page()
        wait_until(lambda: any("Gone" in each.what for each in incidents()))
        station.kill()
    write(tmp_path, "Attic room", port, "colour = 3\n")

    with station_process("run", "--config", str(config)) as station:
        told = ask(station.wait_for_page(), "/api/v1/room").json["station"]
        wait_until(lambda: any(each.what == CUT_OFF for each in incidents()))
        assert station.end() == 0

    (banner,) = told["banners"]
    assert told["name"] == "Cellar room"
    assert "settings.toml:14: page.colour: no such key" in banner
    assert "hemlock" not in banner
    assert banner in "".join(station.printed)
    said = [each.what for each in reversed(incidents())]
    assert said[0].startswith("started, version ")
    assert any(what.startswith("shown: The settings file is at fault") for what in said)
    assert said[-1] == "ended"
