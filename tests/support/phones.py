"""Phones that show the page: headless Chromium, and screenshots to look at.

Screenshots are kept in ``$STATION_SHOTS`` (``.work/shots`` when unset).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

from playwright.sync_api import Browser, Locator, Page, sync_playwright

SHOTS = Path(os.environ.get("STATION_SHOTS", ".work/shots"))
PHONE = {"width": 390, "height": 844}
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Served(Protocol):
    """Whatever serves the page."""

    port: int


@contextmanager
def chromium() -> Iterator[Browser]:
    """A running headless Chromium."""
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=ARGUMENTS)
        yield running
        running.close()


@contextmanager
def phone(
    browser: Browser, server: Served, who: str | None = "Tove", **settings: Any
) -> Iterator[Page]:
    """A fresh phone showing the page; any error the page reports fails the test."""
    context = browser.new_context(**{"viewport": PHONE, "device_scale_factor": 2, **settings})
    try:
        page = context.new_page()
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda told: faults.append(told.text) if told.type == "error" else None)
        page.goto(f"http://127.0.0.1:{server.port}/")
        if who:
            page.get_by_role("button", name=who).click()
        yield page
        # A refused or unanswered request is meant in some tests; the browser logs it too.
        assert [each for each in faults if not each.startswith("Failed to load")] == []
    finally:
        context.close()


def boxes_of(parts: Locator) -> list[dict[str, float]]:
    """Where all of `parts` stand in one moment: a page may be drawn anew at any time."""
    boxes: list[dict[str, float]] = parts.evaluate_all(
        "(all) => all.map((each) => each.getBoundingClientRect().toJSON())"
    )
    return boxes


def shoot(page: Page, name: str) -> None:
    """Keep what the page shows as NAME.png."""
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.wait_for_timeout(350)  # let movements end
    page.screenshot(path=SHOTS / f"{name}.png")
