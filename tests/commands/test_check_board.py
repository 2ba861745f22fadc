"""`station check` on the board: temperature, power, memory, name."""

from __future__ import annotations

import pytest

from station.box_health import Supply
from station.commands import check_board
from station.commands.check_board import look_at_name, memory_item, supply_item, temperature_item


@pytest.mark.parametrize(
    ("item", "state", "said"),
    [
        (temperature_item(None), "ok", "does not say"),
        (temperature_item(51.2), "ok", "51 degrees"),
        (temperature_item(83.0), "remark", "slows itself down"),
        (supply_item(None), "ok", "does not say"),
        (supply_item(Supply(False)), "ok", "as it should be"),
        (supply_item(Supply(True)), "remark", "too low now"),
        (supply_item(Supply(False, True, True)), "remark", "slowed itself down"),
        (memory_item(None), "ok", "does not say"),
        (memory_item((251_000_000, 479_000_000)), "ok", "251 of 479 MB free"),
        (memory_item((90_000_000, 479_000_000)), "remark", "needs up to 150"),
    ],
)
def test_what_the_board_says_is_told_with_its_remedy(item, state, said):
    assert item.state == state
    assert said in item.found
    assert (item.remedy is None) == (state == "ok")


def test_the_name_phones_find_the_box_by_is_told(monkeypatch):
    monkeypatch.setattr(check_board, "multicast_name", lambda _: "cellar-2.local")

    assert look_at_name().found == "phones find this box as cellar-2.local"


def test_a_name_nobody_answers_for_is_remarked_on(monkeypatch):
    monkeypatch.setattr(check_board, "multicast_name", lambda _: None)

    item = look_at_name()

    assert item.state == "remark"
    assert "QR code" in (item.remedy or "")
