"""`station check` of the clock: never a fault, and what helps where it is not right."""

from __future__ import annotations

import json
from typing import Any

import pytest

from station.commands import check_clock
from station.commands.check_clock import REMEDY, clock_item, look_at_clock, running_clock_item
from station.commands.check_running import look_at_running_station
from station.system_clock import ClockState

NO_NETWORK = ClockState(False, reason="no time server has been reached")
CALIBRATED: dict[str, Any] = {
    "state": "calibrated",
    "ppm": -38.24,
    "uncertainty_ppm": 3.41,
    "synchronised": True,
    "source": "chrony",
    "reason": None,
    "card_cents": 0.006,
}


def test_a_synchronised_box_says_by_whom_and_that_the_card_waits_for_the_station():
    item = clock_item(ClockState(True, "chrony", 0.0004))

    assert (item.state, item.remedy) == ("ok", None)
    assert item.found == (
        "synchronised by chrony, to about 0.4 ms;"
        " the card is not calibrated: it is while the station runs"
    )


def test_a_box_kept_by_somebody_unknown_is_synchronised_all_the_same():
    item = clock_item(ClockState(True))

    assert item.state == "ok"
    assert item.found.startswith("synchronised by a time service; ")


def test_a_box_without_a_time_server_is_remarked_on_with_the_remedy():
    item = clock_item(NO_NETWORK)

    assert (item.state, item.remedy) == ("remark", REMEDY)
    assert "no time server has been reached" in item.found
    assert "up to 0.17 cents" in item.found


def test_the_command_ends_well_though_the_clock_is_not_right(command, monkeypatch, tmp_path):
    monkeypatch.setattr(check_clock, "ask_system", lambda: NO_NETWORK)
    (tmp_path / "settings.toml").write_text("[nonsense]\n")

    done = command("check", "--config", tmp_path / "settings.toml", "--json")

    said = [json.loads(line) for line in done.stdout.splitlines()]
    (clock,) = (each for each in said if each["item"] == "clock")
    assert (clock["state"], clock["remedy"]) == ("remark", REMEDY)


def test_a_calibrated_card_is_told_with_its_ppm():
    item = running_clock_item(CALIBRATED)

    assert (item.state, item.remedy) == ("ok", None)
    assert item.found == (
        "synchronised by chrony; the card is 38.2 ppm slow, ± 3.4 ppm, and pitches are corrected"
    )


def test_a_correction_kept_without_the_network_is_remarked_on():
    reason = "not synchronised for 20 minutes; the correction found before is kept"
    item = running_clock_item(
        CALIBRATED | {"ppm": 12.0, "synchronised": False, "source": None, "reason": reason}
    )

    assert (item.state, item.remedy) == ("remark", REMEDY)
    assert "12.0 ppm fast" in item.found
    assert item.found.endswith(reason)


def test_a_card_being_measured_is_in_order():
    item = running_clock_item(
        CALIBRATED | {"state": "measuring", "ppm": None, "reason": "heard for 3 minutes"}
    )

    assert item.state == "ok"
    assert item.found.endswith("the card is being measured: heard for 3 minutes")


@pytest.mark.parametrize(
    ("synchronised", "helps"), [(True, "see to the input"), (False, "let the box reach")]
)
def test_a_card_that_cannot_be_calibrated_is_remarked_on_with_what_helps(synchronised, helps):
    item = running_clock_item(
        CALIBRATED
        | {"state": "not calibrated", "ppm": None, "reason": "why", "synchronised": synchronised}
    )

    assert item.state == "remark"
    assert "why" in item.found
    assert (item.remedy or "").startswith(helps)


@pytest.mark.parametrize("told", [{"clock": CALIBRATED}, {}])
def test_a_running_station_is_asked_and_this_box_where_it_does_not_tell(monkeypatch, told):
    monkeypatch.setattr(check_clock, "ask_system", lambda: NO_NETWORK)
    station = {
        "banners": [],
        "tracker": "aubio",
        "tracker_reason": None,
        "lamps": {"state": "lit", "reason": None},
        "input": {"state": "waiting", "reason": "unplugged", "device": "", "overruns": 0},
    }

    items = {
        each.item: each
        for each in look_at_running_station({"station": station | told, "lines": [], "players": []})
    }

    assert items["clock"] == (running_clock_item(CALIBRATED) if told else look_at_clock())
