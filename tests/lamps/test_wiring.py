"""A builder's own lamps: which maps can be, and how a shorter column shows the same."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.errors import LampMapError, UsageError
from station.lamps.chip import mock_factory
from station.lamps.column import LAMPS, MIDDLE, column_at
from station.lamps.lamps import Lamps
from station.lamps.pins import BAND, COLUMN, HEADER, HEADER_OF, QUIET_BUTTON, REFERENCE_BUTTON
from station.lamps.wiring import STANDARD, folded, own_wiring, remarks
from tests.support.page_client import wait_until

STANDARD_NUMBERS = [lamp.bcm for lamp in COLUMN]


def test_the_header_is_the_published_one():
    # Source: gpiozero's own board data for the 40-pin header.
    factory = mock_factory()
    published = factory.board_info.headers["J8"].pins
    factory.close()
    names = {"3.3 V": "3V3", "5 V": "5V", "ground": "GND"}

    own = [names[pin] if isinstance(pin, str) else f"GPIO{pin}" for pin in HEADER]

    assert own == [published[number].name for number in range(1, 41)]
    assert len(HEADER_OF) == 28


def test_the_standard_numbers_give_the_standard_wiring():
    wiring = own_wiring(STANDARD_NUMBERS, BAND.bcm, QUIET_BUTTON.bcm, REFERENCE_BUTTON.bcm)

    assert wiring == STANDARD
    assert remarks(wiring) == []


@pytest.mark.parametrize("count", [3, 5, 7])
def test_the_middle_lamp_is_white_with_amber_below_and_blue_above(count):
    wiring = own_wiring([4, 17, 27, 22, 10, 9, 11][:count])

    colours = [lamp.colour for lamp in wiring.column]
    half = count // 2
    assert colours == ["amber"] * half + ["white"] + ["blue"] * half
    assert wiring.column[half].name == "in"
    assert (wiring.band, wiring.buttons) == (None, ())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (([5, 6],), "a column of 2 lamps cannot be drawn: 3, 5 or 7"),
        (([],), "a column of 0 lamps"),
        (([5, 6, 5],), "GPIO 5 is given twice"),
        (([5, 6, 13], 6), "GPIO 6 is given twice"),
        (([5, 6, 13], None, 22, 22), "GPIO 22 is given twice"),
        (([5, 6, 28],), "GPIO 28 is not on the header: 0 to 27"),
        (([5, 6, -1],), "GPIO -1 is not on the header"),
        (([5, 6, True],), "GPIO True is not on the header"),
        (([5, 6, 13.0],), "GPIO 13.0 is not on the header"),
        (([5, 6, "13"],), "GPIO '13' is not on the header"),
        (([2, 6, 13],), "flat: GPIO 2 cannot have a lamp"),
        (([5, 6, 13], 0), "band: GPIO 0 cannot have a lamp"),
        (([5, 6, 13], None, 1), "quiet: GPIO 1 cannot have a button"),
    ],
)
def test_a_map_that_cannot_be_is_refused_in_one_line(arguments, said):
    with pytest.raises(LampMapError) as refused:
        own_wiring(*arguments)

    assert said in str(refused.value)
    assert "\n" not in str(refused.value)
    assert isinstance(refused.value, UsageError)


def test_pins_that_something_else_may_want_are_said():
    said = remarks(own_wiring([18, 4, 17], quiet_button=3))

    assert said == [
        "flat: GPIO 18 is used by a sound card on the header where there is one",
        "quiet: GPIO 3 is used by I2C where there is one",
    ]


@pytest.mark.parametrize(
    ("count", "shown"), [(7, (1, 2, 3, 4, 5, 6, 7)), (5, (2, 3, 4, 5, 7)), (3, (3, 4, 7))]
)
def test_the_ends_of_a_shorter_column_stand_for_all_beyond_them(count, shown):
    assert folded((1, 2, 3, 4, 5, 6, 7), count) == shown


@given(st.floats(-200.0, 200.0), st.floats(0.0, 0.99), st.sampled_from([3, 5, 7]))
def test_a_shorter_column_never_shows_the_wrong_side(cents, phase, count):
    lights = column_at(cents, phase)

    shown = folded(lights, count)

    half = count // 2
    assert len(lights) == LAMPS
    assert max(shown) == max(lights)
    assert shown[half] == lights[MIDDLE]
    assert (sum(shown[:half]) > 0) == (sum(lights[:MIDDLE]) > 0)
    assert (sum(shown[half + 1 :]) > 0) == (sum(lights[MIDDLE + 1 :]) > 0)


def test_lamps_on_a_builders_own_pins_show_a_reading_there():
    wiring = own_wiring([4, 17, 27])
    with Lamps("mock", wiring=wiring, on_quiet_button=lambda: None) as lamps:
        pins = lamps.pin_factory.pins
        reading = {"player": "oda", "at_s": 1.0, "beats_hz": 0.0, "verdict": "slacken"}
        lamps.show(reading | {"string_cents": 40.0})
        wait_until(lambda: lamps.lit()[0][2] > 0.5)

        assert lamps.lit()[0][:2] == (0.0, 0.0)
        assert lamps.lit()[1] == 0.0
        assert {pin.name for pin in pins} == {"GPIO4", "GPIO17", "GPIO27"}
        assert lamps._buttons == []
