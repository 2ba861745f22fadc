"""Push buttons on pins: what they tell, and that a stuck one is said and let off."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from station.lamps.buttons import STUCK, PushButton
from station.lamps.chip import gpio_factory, mock_factory
from station.lamps.lamps import Lamps
from station.lamps.pins import QUIET_BUTTON, REFERENCE_BUTTON
from station.lamps.press import BOUNCE_S, STUCK_S

DEADLINE_S = 10.0


def until(condition: Callable[[], object]) -> bool:
    deadline_s = time.monotonic() + DEADLINE_S
    while not condition():
        if time.monotonic() > deadline_s:
            return False
        time.sleep(0.005)
    return True


@pytest.fixture
def factory() -> Iterator[Any]:
    made = mock_factory()
    yield made
    made.close()


@pytest.fixture
def short_times(monkeypatch) -> None:
    """Long is 50 ms and stuck 200 ms, lest the tests wait."""
    monkeypatch.setattr("station.lamps.press.LONG_S", 0.05)
    monkeypatch.setattr("station.lamps.press.STUCK_S", 0.2)
    monkeypatch.setattr("station.lamps.buttons.LONG_S", 0.05)


@pytest.fixture
def held_at_start(monkeypatch, factory) -> Any:
    """The quiet button's pin, connected to ground before anyone looks."""
    pin = factory.pin(QUIET_BUTTON.bcm)
    pulled = type(pin)._set_pull  # the mock pin follows its pull-up: this one is held down
    monkeypatch.setattr(
        type(pin),
        "_set_pull",
        lambda self, value: (pulled(self, value), value == "up" and self.drive_low()),
    )
    return pin


def test_a_finger_gets_twenty_seconds_before_a_button_counts_as_stuck():
    assert STUCK_S == 20.0


def test_a_press_tells_when_it_begins_and_how_long_it_was(factory):
    downs, presses = [], []
    pin = factory.pin(QUIET_BUTTON.bcm)
    button = PushButton(
        QUIET_BUTTON,
        factory,
        on_down=lambda: downs.append(True),
        on_press=lambda *press: presses.append(press),
    )

    pin.drive_low()
    assert until(lambda: downs == [True])
    time.sleep(0.1)
    before = list(presses)
    pin.drive_high()

    assert before == []
    assert until(lambda: presses)
    assert presses[0][0] == "short"
    assert 0.1 <= presses[0][1] < DEADLINE_S
    button.close()


def test_a_stuck_button_is_told_and_logged_once_and_told_again_when_it_is_let_go(
    factory, short_times, caplog
):
    told, presses = [], []
    pin = factory.pin(QUIET_BUTTON.bcm)
    button = PushButton(
        QUIET_BUTTON,
        factory,
        on_press=lambda press, _: presses.append(press),
        on_stuck=lambda *stuck: told.append(stuck),
    )
    pin.drive_low()
    assert until(lambda: told)
    assert button.is_stuck
    time.sleep(0.3)
    pin.drive_high()
    assert until(lambda: len(told) == 2)
    assert not button.is_stuck
    so_far, logged = list(told), caplog.text  # the press below may last, too, on a busy machine
    pin.drive_low()
    time.sleep(0.04)
    pin.drive_high()

    text = STUCK.format("quiet")
    assert so_far == [(text, True), (text, False)]
    assert until(lambda: len(presses) == 2)
    assert presses[0] == "long"
    assert logged.count(text) == 1
    assert logged.count("quiet button was let go: it works again") == 1
    button.close()


def test_a_button_that_is_down_at_the_start_is_told_at_once_and_works_when_it_was_let_go(
    factory, held_at_start, caplog
):
    told, presses, downs = [], [], []
    button = PushButton(
        QUIET_BUTTON,
        factory,
        on_down=lambda: downs.append(True),
        on_press=lambda press, _: presses.append(press),
        on_stuck=lambda _, stuck: told.append(stuck),
    )
    at_once = list(told)

    held_at_start.drive_high()
    assert until(lambda: told == [True, False])
    meant = (list(presses), list(downs))
    held_at_start.drive_low()
    time.sleep(2 * BOUNCE_S)
    held_at_start.drive_high()

    assert at_once == [True]
    assert meant == ([], [])
    assert until(lambda: presses == ["short"])
    assert downs == [True]
    assert "quiet button is held down or stuck" in caplog.text
    button.close()


def test_a_fault_in_whoever_is_told_ends_no_button(factory, caplog):
    presses = []

    def broken(press: str, _: float) -> None:
        presses.append(press)
        raise ZeroDivisionError("no such luck")

    button = PushButton(REFERENCE_BUTTON, factory, on_press=broken)
    pin = factory.pin(REFERENCE_BUTTON.bcm)
    for count in (1, 2):
        pin.drive_low()
        time.sleep(2 * BOUNCE_S)
        pin.drive_high()
        assert until(lambda count=count: len(presses) == count)
    button.close()

    assert caplog.text.count("ZeroDivisionError: no such luck") == 2


def test_a_closed_button_leaves_no_thread_and_its_pin_free(factory):
    before = threading.active_count()
    PushButton(QUIET_BUTTON, factory).close()

    PushButton(QUIET_BUTTON, factory).close()

    assert threading.active_count() == before


def test_on_the_header_the_driver_waits_for_the_contact_and_pulls_the_pin_up(fake_gpio, tmp_path):
    fake = fake_gpio({0: "pinctrl-bcm2711"})
    made = gpio_factory(tmp_path)

    button = PushButton(QUIET_BUTTON, made)

    assert fake.debounced_us == {QUIET_BUTTON.bcm: 30_000}
    assert fake.pulled[QUIET_BUTTON.bcm] & fake.SET_PULL_UP
    button.close()
    made.close()


def test_the_lamps_pass_on_that_a_button_is_stuck(short_times):
    told = []
    lamps = Lamps("mock", on_quiet_button=lambda: None, on_stuck=lambda *stuck: told.append(stuck))
    pin = lamps.pin_factory.pin(QUIET_BUTTON.bcm)

    pin.drive_low()
    assert until(lambda: told == [(STUCK.format("quiet"), True)])
    pin.drive_high()

    assert until(lambda: told[1:] == [(STUCK.format("quiet"), False)])
    lamps.stop()
