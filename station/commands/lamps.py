"""`station lamps test` and `station lamps buttons`: the wiring tried, lamp by lamp, press by press.

The station itself must not run meanwhile: it holds the pins.
"""

from __future__ import annotations

import queue
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from station.commands.printed import complain, json_line, print_lines
from station.commands.serve import read_settings
from station.errors import LampError
from station.lamps.buttons import PushButton
from station.lamps.chip import gpio_factory, gpio_failures, mock_factory, one_line
from station.lamps.lamps import FRAME_S
from station.lamps.lights import IN_USE, Lights, PinsName
from station.lamps.pins import Lamp, Push
from station.lamps.walk import Shown, Step, settled, steps
from station.lamps.wiring import Wiring, remarks

MOCK = "Mock pins: nothing is lit, and no press is felt."
Told = dict[str, Any]


def run_lamps_test(
    config: Path | None,
    pins: PinsName | None,
    lamp_s: float,
    as_json: bool,
) -> int:
    """Light every lamp for ``lamp_s`` with its name, then show the signs. Exit code.

    ``pins`` None takes those of the settings. Raises SettingsError and LampError.
    """
    chosen, wiring = _chosen(config, pins)
    with ending() as ended:
        lights = Lights(chosen, wiring)
        try:
            if not as_json:
                print_lines([*([MOCK] if chosen == "mock" else []), *remarks(wiring)])
            _walk(lights, lamp_s, as_json, ended)
        finally:
            failed = lights.close()
    return 0 if failed is None else complain(f"a pin could not be given back: {failed}", 1)


def run_buttons(
    config: Path | None,
    pins: PinsName | None,
    seconds: float,
    as_json: bool,
) -> int:
    """Say every press for so long. Exit code 1 when a button is stuck at the end.

    Raises SettingsError and LampError.
    """
    chosen, wiring = _chosen(config, pins)
    told: queue.SimpleQueue[Told] = queue.SimpleQueue()
    with ending() as ended, _open_buttons(chosen, wiring, told) as buttons:
        if not as_json:
            names = " and ".join(f"{each.push.name} (GPIO {each.push.bcm})" for each in buttons)
            print_lines([*([MOCK] if chosen == "mock" else []), *remarks(wiring)])
            print_lines([f"Press {names}, shortly and for longer than two seconds."])
        presses = _say_presses(told, seconds, as_json, ended)
        summary = [_summary(each, presses.get(each.push.name, 0)) for each in buttons]
    print_lines([json_line(each) if as_json else _summary_line(each) for each in summary])
    return 1 if any(each["stuck"] for each in summary) else 0


@contextmanager
def ending() -> Iterator[threading.Event]:
    """An event that SIGTERM and SIGINT set, so that lamps go dark whoever ends the test."""
    ended = threading.Event()
    numbers = (signal.SIGTERM, signal.SIGINT)
    before = [signal.signal(number, lambda *_: ended.set()) for number in numbers]
    try:
        yield ended
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)


def _chosen(config: Path | None, pins: PinsName | None) -> tuple[PinsName, Wiring]:
    """Pins as asked for, else as set, and what is wired to them.

    Lamps that are switched off are still to be tested on pins.
    """
    lamps = read_settings(config).lamps
    return pins or ("gpio" if lamps.mode == "off" else lamps.mode), lamps.wiring()


# -- lamps ---------------------------------------------------------------------


def _walk(lights: Lights, lamp_s: float, as_json: bool, ended: threading.Event) -> None:
    shown: Shown = ((0.0,) * 7, 0.0)
    for step in steps(lights.wiring, lamp_s):
        if ended.is_set():
            return
        print_lines([json_line(_step_json(step)) if as_json else _step_line(step)])
        shown = _show(lights, step, shown, ended)


def _show(lights: Lights, step: Step, shown: Shown, ended: threading.Event) -> Shown:
    began_s = at_s = time.monotonic()
    while at_s - began_s < step.seconds and not ended.wait(FRAME_S):
        now_s = time.monotonic()
        shown = settled(shown, step.shown(now_s - began_s), now_s - at_s)
        at_s = now_s
        try:
            lights.write(*shown)
        except gpio_failures() as error:
            raise LampError(f"the lamps stopped answering: {one_line(error)}") from error
    return shown


def _step_json(step: Step) -> Told:
    if step.lamp is None:
        return {"kind": "sign", "name": step.name, "shows": step.said}
    return {"kind": "lamp", **_lamp_json(step.lamp)}


def _lamp_json(lamp: Lamp) -> Told:
    return {
        "name": lamp.name,
        "colour": lamp.colour,
        "bcm": lamp.bcm,
        "header": lamp.header,
        "resistor_ohm": lamp.resistor_ohm,
    }


def _step_line(step: Step) -> str:
    lamp = step.lamp
    if lamp is None:
        return f"{step.name:<15} {step.said}"
    return f"{lamp.name:<15} {lamp.colour:<6} GPIO {lamp.bcm:<2}  header pin {lamp.header}"


# -- buttons -------------------------------------------------------------------


@contextmanager
def _open_buttons(
    pins: PinsName, wiring: Wiring, told: queue.SimpleQueue[Told]
) -> Iterator[list[PushButton]]:
    if not wiring.buttons:
        raise LampError("there is no button: none is wired")
    factory = mock_factory() if pins == "mock" else gpio_factory()
    buttons: list[PushButton] = []
    reason = None
    try:
        try:
            for push in wiring.buttons:
                buttons.append(_button(push, factory, told))  # noqa: PERF401 - closed one by one
        except gpio_failures() as error:
            reason = one_line(error)
        if reason is not None:
            raise LampError(IN_USE.replace("lamp's", "button's").format(reason))
        yield buttons
    finally:
        for button in buttons:
            with suppress(*gpio_failures()):
                button.close()
        factory.close()


def _button(push: Push, factory: Any, told: queue.SimpleQueue[Told]) -> PushButton:
    def on_press(press: str, seconds: float) -> None:
        told.put(
            {"kind": "press", "button": push.name, "press": press, "seconds": round(seconds, 2)}
        )

    def on_stuck(text: str, is_stuck: bool) -> None:
        told.put({"kind": "stuck", "button": push.name, "stuck": is_stuck, "said": text})

    return PushButton(push, factory, on_press=on_press, on_stuck=on_stuck)


def _say_presses(
    told: queue.SimpleQueue[Told], seconds: float, as_json: bool, ended: threading.Event
) -> dict[str, int]:
    """Print what the buttons tell until the time is over; how often each was pressed."""
    presses: dict[str, int] = {}
    until_s = time.monotonic() + seconds
    while not ended.is_set() and (left_s := until_s - time.monotonic()) > 0:
        with suppress(queue.Empty):
            said = told.get(timeout=min(left_s, 0.1))
            print_lines([json_line(said) if as_json else _press_line(said)])
            if said["kind"] == "press":
                presses[said["button"]] = presses.get(said["button"], 0) + 1
    return presses


def _press_line(said: Told) -> str:
    if said["kind"] == "press":
        return f"{said['button']}: {said['press']} press ({said['seconds']:.2f} s)"
    return said["said"] if said["stuck"] else f"{said['button']}: let go, it works again"


def _summary(button: PushButton, presses: int) -> Told:
    return {
        "kind": "button",
        "button": button.push.name,
        "bcm": button.push.bcm,
        "header": button.push.header,
        "presses": presses,
        "stuck": button.is_stuck,
    }


def _summary_line(said: Told) -> str:
    where = f"{said['button']:<10} GPIO {said['bcm']:<2}  header pin {said['header']}"
    if said["stuck"]:
        return f"{where}  held down or stuck: free it, or see whether its wire touches ground"
    if not said["presses"]:
        return f"{where}  no press: if you did press it, look for a loose wire"
    return f"{where}  {said['presses']} press{'es' if said['presses'] > 1 else ''}"
