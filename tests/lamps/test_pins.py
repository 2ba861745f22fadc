"""The wiring: no pin twice, no pin overloaded, header positions as gpiozero knows them."""

from __future__ import annotations

from pathlib import Path

import pytest

from station.lamps.chip import mock_factory
from station.lamps.pins import (
    BAND,
    COLUMN,
    PIN_LIMIT_MA,
    QUIET_BUTTON,
    REFERENCE_BUTTON,
    TOTAL_LIMIT_MA,
    series_resistor_ohm,
)

EVERY = (*COLUMN, BAND, REFERENCE_BUTTON, QUIET_BUTTON)


def test_no_pin_is_used_twice():
    assert len({part.bcm for part in EVERY}) == len(EVERY) == 10
    assert len({part.header for part in EVERY}) == len(EVERY)


@pytest.mark.parametrize("part", EVERY, ids=lambda part: part.name)
def test_the_header_pin_belongs_to_the_gpio_number(part):
    # Source: gpiozero's own board data for the 40-pin header.
    factory = mock_factory()
    header = factory.board_info.headers["J8"]

    assert header.pins[part.header].name == f"GPIO{part.bcm}"
    factory.close()


def test_a_sound_card_on_the_header_keeps_its_pins():
    # I2S 18 to 21, identification memory 0 and 1, I2C 2 and 3: common practice, no source.
    taken = {0, 1, 2, 3, 14, 15, 18, 19, 20, 21}

    assert not taken & {part.bcm for part in EVERY}


def test_no_lamp_overloads_its_pin_and_all_together_stay_under_the_boards_limit():
    currents = [lamp.worst_ma for lamp in (*COLUMN, BAND)]

    assert max(currents) <= PIN_LIMIT_MA == 8.0
    assert sum(currents) <= TOTAL_LIMIT_MA == 50.0


@pytest.mark.parametrize(
    ("forward_v", "wanted_ma", "ohm"),
    [
        (2.0, 5.0, 270),  # 1.3 V / 5 mA = 260 ohm, next E12 value 270
        (2.9, 3.0, 150),  # 0.4 V / 3 mA = 133 ohm, next 150
        (1.8, 8.0, 220),  # 1.5 V / 8 mA = 187.5 ohm, next 220
        (2.3, 10.0, 100),  # 1.0 V / 10 mA = 100 ohm exactly
    ],
)
def test_resistors_follow_from_ohms_law(forward_v, wanted_ma, ohm):
    assert series_resistor_ohm(forward_v, wanted_ma) == ohm


def test_the_readme_s_wiring_table_is_the_table_of_the_code() -> None:
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text()
    for lamp in (*COLUMN, BAND):
        cells = (lamp.name, lamp.colour, lamp.bcm, lamp.header, f"{lamp.resistor_ohm} ohm")
        assert f"| {' | '.join(map(str, cells))} |" in readme
    assert f"| {QUIET_BUTTON.bcm} | {QUIET_BUTTON.header} | none |" in readme
