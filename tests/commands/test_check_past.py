"""What `station check` says of incidents, and with which settings a station would start."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from station.commands.check_past import incidents_item
from station.incidents import CUT_OFF, NAME, Incident, Incidents
from station.last_good import keep, settings_to_serve

AT = "2031-05-06T18:00:00Z"
FOLDER = Path("/srv/state")


def newest_first(*whats: str) -> list[Incident]:
    return [Incident(AT, 5, what) for what in reversed(whats)]


@pytest.mark.parametrize(
    ("whats", "state", "said"),
    [
        ((), "ok", "none so far"),
        (("started, version 1",), "ok", f"none since the last start; {AT}: started, version 1"),
        (("input waiting: x", "ended", "started, version 1"), "ok", "none since the last start"),
        (("started, version 1", "input waiting: unplugged"), "remark", "input waiting: unplugged"),
        ((CUT_OFF, "started, version 1"), "remark", CUT_OFF),
        (("started, version 1", "input listening to tape, lost 1 times so far"), "ok", "none"),
        (("a", "b", "c", "d", "e"), "remark", f"{AT}: e; {AT}: d; {AT}: c; 2 more"),
    ],
)
def test_incidents_of_the_last_run_are_remarked_on_the_newest_first(whats, state, said):
    item = incidents_item(newest_first(*whats), FOLDER)

    assert item.state == state
    assert said in item.found
    assert (item.remedy is None) == (state == "ok")


def items_of(command, config: Path) -> list[dict[str, str]]:
    done = command("check", "--config", config, "--json")
    assert done.exit_code in (0, 1)
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_check_looks_on_with_the_settings_that_last_served_and_finds_incidents(command, tmp_path):
    config = tmp_path / "settings.toml"
    good = (
        f'[station]\nroom_code = "hemlock-9"\ndata_dir = "{tmp_path / "state"}"\n'
        '[input]\ndevice = "hw:CARD=Gone,DEV=0"\n[tone]\ndevice = "off"\n'
        '[lamps]\nmode = "off"\n[page]\nhost = "127.0.0.1"\nport = 1\n'
    )
    config.write_text(good)
    keep(settings_to_serve(config))
    log = Incidents(tmp_path / "state", lambda: AT)
    log.start("1")
    log.tell("input waiting: unplugged")
    log.stop()
    config.write_text(f"{good}colour = 3\n")

    items = items_of(command, config)

    settings = [each for each in items if each["item"] == "settings"]
    incidents = next(each for each in items if each["item"] == "incidents")
    assert [each["state"] for each in settings] == ["fault", "remark"]
    assert "settings.toml:13: page.colour" in settings[0]["found"]
    assert "the last that held" in settings[1]["found"]
    assert "unplugged" in incidents["found"]
    assert incidents["remedy"] == f"see {tmp_path / 'state' / NAME} for all of them"
    assert {"storage", "page port", "lamps", "input"} <= {each["item"] for each in items}
