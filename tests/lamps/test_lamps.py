"""The lamps on pins: mock pins, and the header's own path over a fake lgpio."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from station.errors import LampError
from station.lamps.chip import gpio_factory
from station.lamps.lamps import SWITCHED_OFF, Lamps
from station.lamps.pins import COLUMN, QUIET_BUTTON, REFERENCE_BUTTON

READING = {"player": "oda", "at_s": 1.0, "beats_hz": 0.0, "verdict": "tighten"}
DEADLINE_S = 10.0
LONG_S = 0.3


def until(condition: Callable[[], bool]) -> bool:
    """Wait for a condition other threads bring about; False when it never came."""
    deadline_s = time.monotonic() + DEADLINE_S
    while not condition():
        if time.monotonic() > deadline_s:
            return False
        time.sleep(0.01)
    return True


def keep_showing(lamps: Lamps, payload: dict, until_true: Callable[[], bool]) -> bool:
    def shown() -> bool:
        lamps.show(payload)
        return until_true()

    return until(shown)


@pytest.mark.parametrize(
    ("cents", "lamp"), [(-40.0, 0), (-10.0, 1), (-4.0, 2), (4.0, 4), (10.0, 5), (40.0, 6)]
)
def test_a_reading_lights_its_pin(lamps, cents, lamp):
    lamps.start()

    assert keep_showing(lamps, READING | {"string_cents": cents}, lambda: lamps.lit()[0][lamp] == 1)
    assert sum(light > 0 for light in lamps.lit()[0]) == 1


def test_the_band_lamp_burns_steadily_when_everyone_is_in(lamps):
    lamps.start()

    lamps.show({"roll_call": {"in": 6, "total": 6, "complete": True}, "players": []})

    assert until(lambda: lamps.lit()[1] == 1.0)
    assert {lamps.lit()[1] for _ in range(20) if time.sleep(0.01) is None} == {1.0}


def snapshot(**more: Any) -> dict[str, Any]:
    return {"roll_call": {"in": 0, "total": 6, "complete": False}, "players": [], **more}


def test_an_instrument_that_sounds_lights_the_pins_that_bracket_it(lamps):
    lamps.start()

    lamps.show(snapshot(measuring={"sounding": True, "instrument": None}))

    assert until(lambda: lamps.lit()[0] == (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0))


def test_an_agreed_reference_blooms_on_every_pin_and_is_over(lamps):
    lamps.start()
    lamps.show(snapshot(reference={"a4_hz": 440.0, "set_at": ""}))

    lamps.show(snapshot(reference={"a4_hz": 442.0, "set_at": "2026-05-09T19:30:00Z"}))

    assert until(lambda: min(*lamps.lit()[0], lamps.lit()[1]) > 0.9)
    assert until(lambda: max(lamps.lit()[0]) == 0.0)


def test_stopping_darkens_the_lamps_and_gives_the_pins_back(lamps):
    before = threading.active_count()
    lamps.start()
    keep_showing(lamps, READING | {"string_cents": 40.0}, lambda: lamps.lit()[0][6] == 1)

    lamps.stop()

    assert lamps.lit() == ((0.0,) * 7, 0.0)
    assert threading.active_count() == before


def test_lamps_that_are_off_light_nothing_and_say_so():
    states = []

    with Lamps("off", on_state=lambda *state: states.append(state)) as lamps:
        lamps.show(READING | {"string_cents": 4.0})

        assert lamps.lit() == ((0.0,) * 7, 0.0)
    assert states == [("off", SWITCHED_OFF)]


def test_the_quiet_button_is_heard_each_time_it_is_pressed():
    pressed = []
    lamps = Lamps("mock", on_quiet_button=lambda: pressed.append(True))
    pin = lamps.pin_factory.pin(QUIET_BUTTON.bcm)

    for count in (1, 2):
        pin.drive_low()  # a press connects the pin to ground
        assert until(lambda count=count: len(pressed) == count)
        pin.drive_high()
        assert until(lambda: not lamps._buttons[0].is_pressed)
    lamps.stop()


@pytest.fixture
def reference_button() -> Iterator[tuple[Any, list[bool]]]:
    """The reference button's mock pin, and the presses that were told: True for a long one."""
    presses: list[bool] = []
    lamps = Lamps("mock", on_reference_button=presses.append)
    yield lamps.pin_factory.pin(REFERENCE_BUTTON.bcm), presses
    lamps.stop()


@pytest.fixture
def soon_long(monkeypatch) -> None:
    """Long is three tenths of a second, lest the tests wait."""
    monkeypatch.setattr("station.lamps.press.LONG_S", LONG_S)
    monkeypatch.setattr("station.lamps.buttons.LONG_S", LONG_S)


def press(pin: Any, seconds: float) -> None:
    pin.drive_low()  # a press connects the pin to ground
    time.sleep(seconds)
    pin.drive_high()


def test_a_short_press_of_the_reference_button_is_told_when_it_is_let_go(reference_button):
    pin, presses = reference_button
    pin.drive_low()
    time.sleep(0.1)
    before = list(presses)

    pin.drive_high()

    assert before == []
    assert until(lambda: presses == [False])


def test_a_long_press_is_told_once_while_the_button_is_held(soon_long, reference_button):
    pin, presses = reference_button

    pin.drive_low()
    assert until(lambda: presses == [True])
    time.sleep(2 * LONG_S)  # the button's thread asks again twice meanwhile
    pin.drive_high()

    assert presses == [True]


def test_after_a_long_press_a_short_one_is_told(soon_long, reference_button, monkeypatch):
    pin, presses = reference_button
    pin.drive_low()
    assert until(lambda: presses == [True])
    pin.drive_high()
    monkeypatch.setattr("station.lamps.press.LONG_S", DEADLINE_S)  # however busy the machine

    press(pin, 0.1)

    assert until(lambda: presses == [True, False])


def test_a_bouncing_contact_is_one_press(reference_button, monkeypatch):
    monkeypatch.setattr("station.lamps.press.BOUNCE_S", 0.5)  # however busy the machine
    monkeypatch.setattr("station.lamps.press.LONG_S", DEADLINE_S)
    pin, presses = reference_button

    for _ in range(5):
        press(pin, 0.001)
    press(pin, 0.6)
    for _ in range(5):
        press(pin, 0.001)

    assert until(lambda: bool(presses))
    assert presses == [False]


def test_the_reference_buttons_pin_is_left_alone_where_nobody_wants_to_know():
    lamps = Lamps("mock", on_quiet_button=lambda: None)

    assert {button.pin.info.name for button in lamps._buttons} == {f"GPIO{QUIET_BUTTON.bcm}"}
    assert f"GPIO{REFERENCE_BUTTON.bcm}" not in {pin.name for pin in lamps.pin_factory.pins}
    lamps.stop()


def test_quiet_lamps_give_a_quarter_of_their_light(lamps):
    lamps.start()
    lamps.set_quiet(True)
    reading = READING | {"string_cents": 40.0}

    seen = []

    def look() -> bool:
        seen.append(lamps.lit()[0][6])
        return seen.count(seen[-1]) > 20

    assert keep_showing(lamps, reading, lambda: lamps.lit()[0][6] > 0.2)
    assert keep_showing(lamps, reading, look)  # until the light stands still
    assert seen[-1] == max(seen) == pytest.approx(0.25, abs=0.015)
    lamps.set_quiet(False)
    assert keep_showing(lamps, reading, lambda: lamps.lit()[0][6] == 1.0)


def test_two_stations_cannot_both_have_the_pins():
    from station.lamps import lights as module

    first = Lamps("mock")
    shared = first.pin_factory
    original = module.mock_factory
    module.mock_factory = lambda: shared
    try:
        with pytest.raises(LampError, match="pin cannot be used"):
            Lamps("mock")
    finally:
        module.mock_factory = original
        first.stop()


@pytest.mark.parametrize(
    ("labels", "chip"),
    [
        ({0: "pinctrl-bcm2711", 1: "raspberrypi-exp-gpio"}, 0),
        # A Raspberry Pi 5 before and after its chips were renumbered, listing
        # as in raspberrypi/linux pull request 6144.
        ({0: "gpio-brcmstb@107d508500", 4: "pinctrl-rp1"}, 4),
        ({0: "pinctrl-rp1", 10: "gpio-brcmstb@107d508500"}, 0),
    ],
)
def test_the_header_is_found_by_its_label_wherever_it_is(fake_gpio, tmp_path, labels, chip):
    fake_gpio(labels)

    factory = gpio_factory(tmp_path)

    assert factory.chip == chip
    factory.close()


def lamp_error(**arguments) -> str:
    with pytest.raises(LampError) as failed:
        Lamps("gpio", **arguments)
    assert "\n" not in str(failed.value)
    return str(failed.value)


def test_a_box_without_gpio_says_so(fake_gpio, tmp_path):
    fake_gpio({})

    assert "no GPIO chip at all" in lamp_error(devices=tmp_path)


def test_a_box_with_other_chips_only_names_them(fake_gpio, tmp_path):
    fake_gpio({0: "gpio-brcmstb@107d508500"})

    assert "gpiochip0 (gpio-brcmstb@107d508500)" in lamp_error(devices=tmp_path)


def test_a_chip_that_cannot_be_opened_is_named_with_the_reason(fake_gpio, tmp_path):
    fake_gpio({})
    (tmp_path / "gpiochip0").touch()

    assert "gpiochip0 (can not open gpiochip)" in lamp_error(devices=tmp_path)


def test_a_chip_without_permission_hints_at_the_group(fake_gpio, tmp_path, monkeypatch):
    fake_gpio({0: "pinctrl-bcm2711"})
    real = os.access
    # Root may open anything, so the refusal is played.
    monkeypatch.setattr(
        os, "access", lambda path, mode: "gpiochip" not in str(path) and real(path, mode)
    )

    assert "group gpio" in lamp_error(devices=tmp_path)


def test_a_missing_library_is_named_with_its_package(monkeypatch, tmp_path):
    monkeypatch.setenv("LG_WD", str(tmp_path))
    monkeypatch.setitem(sys.modules, "lgpio", None)

    assert "python3-lgpio" in lamp_error(devices=tmp_path)


def test_a_board_that_is_no_raspberry_pi_is_said_in_one_line(fake_gpio, tmp_path, monkeypatch):
    from gpiozero.exc import PinUnknownPi

    fake_gpio({0: "pinctrl-bcm2711"})

    def unknown() -> int:
        raise PinUnknownPi("unable to locate Pi revision")

    monkeypatch.setattr("gpiozero.pins.local.get_pi_revision", unknown)

    assert "unable to locate Pi revision" in lamp_error(devices=tmp_path)


def test_a_pin_in_use_is_said_in_one_line_and_the_pins_can_be_had_once_it_is_free(
    fake_gpio, tmp_path
):
    fake = fake_gpio({0: "pinctrl-bcm2711"})
    fake.busy.add(COLUMN[3].bcm)

    with pytest.raises(LampError, match="GPIO busy") as failed:
        Lamps("gpio", devices=tmp_path)
    assert fake.opened == []
    fake.busy.clear()
    Lamps("gpio", devices=tmp_path).stop()  # while the first failure is still at hand

    assert "\n" not in str(failed.value)
    assert fake.opened == []


def test_a_read_only_folder_is_said_in_one_line(monkeypatch, tmp_path):
    monkeypatch.delenv("LG_WD", raising=False)

    assert "LG_WD" in lamp_error(devices=tmp_path, work_dir=Path("/proc"))


def write_lgpio(folder: Path, text: str) -> None:
    (folder / "lgpio.py").write_text(text)


def test_lgpio_gets_a_folder_it_can_write_to_and_the_process_stays_where_it_was(
    monkeypatch, tmp_path
):
    # Importing lgpio 0.2.2 opens a pipe in the folder LG_WD names and moves there.
    write_lgpio(
        tmp_path,
        "import os\n"
        "class error(Exception): pass\n"
        "os.chdir(os.environ['LG_WD'])\n"
        "open('.lgd-nfy0', 'w').close()\n",
    )
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setenv("LG_WD", "")
    monkeypatch.delenv("LG_WD")
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    work_dir = tmp_path / "work"
    work_dir.mkdir()
    here = Path.cwd()

    assert "no GPIO chip at all" in lamp_error(devices=tmp_path, work_dir=work_dir)

    assert Path.cwd() == here
    assert list(work_dir.glob("*/.lgd-nfy0"))
    del sys.modules["lgpio"]  # delitem would bring it back at the end


def test_an_lgpio_that_cannot_write_its_pipe_is_said_in_one_line(monkeypatch, tmp_path):
    write_lgpio(tmp_path, "open('/proc/.lgd-nfy-3', 'rb')\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "lgpio", raising=False)
    monkeypatch.setenv("LG_WD", "/proc")

    assert "/proc" in lamp_error(devices=tmp_path)


def test_lamps_that_fail_while_lit_go_off_and_say_why(fake_gpio, tmp_path):
    fake = fake_gpio({0: "pinctrl-bcm2711"})
    states = []
    lamps = Lamps("gpio", devices=tmp_path, on_state=lambda *state: states.append(state))
    lamps.start()

    fake.broken = True
    lamps.show(READING | {"string_cents": 40.0})

    assert until(lambda: len(states) == 2)
    assert states[0] == ("lit", None)
    assert states[1][0] == "off"
    assert "stopped answering" in states[1][1]
    lamps.show(READING | {"string_cents": 4.0})  # showing goes on harmlessly
    fake.broken = False
    lamps.stop()


def test_any_other_fault_while_lit_puts_them_out_and_is_said_and_logged(monkeypatch, caplog):
    states = []
    lamps = Lamps("mock", on_state=lambda *state: states.append(state))
    lamps.start()
    keep_showing(lamps, READING | {"string_cents": 40.0}, lambda: lamps.lit()[0][6] == 1)

    def break_down(_: float) -> None:
        raise ZeroDivisionError("no such\nluck")

    monkeypatch.setattr(lamps._animation, "frame", break_down)

    assert until(lambda: len(states) == 2)
    assert states[1] == ("off", "the lamps have ended by a fault: no such luck")
    assert lamps.status == states[1]
    assert lamps.lit() == ((0.0,) * 7, 0.0)
    assert "ZeroDivisionError" in caplog.text
    lamps.stop()


def test_an_unknown_factory_is_answered_with_those_there_are():
    with pytest.raises(LampError, match="gpio, mock or off"):
        Lamps("native")  # type: ignore[arg-type]
