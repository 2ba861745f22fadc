"""How long a reading takes from the station to the page, with 32 phones on one station.

    .venv/bin/python -m tests.bench.bench_page

The station (an invented band, the page's real server) runs in a process of its own. One phone
is headless Chromium, which notes when the number of cents changes in its document; the other 31
are streams that are read and thrown away. All share one machine, so one wall clock times both
ends. Every reading has a number of cents of its own, by which it is known again. Figures are
printed, none is asserted: they belong to the machine and its other work.

Readings that a newer one overtook within the server's 50 ms are never shown, and not counted.
"""

from __future__ import annotations

import multiprocessing
import statistics
import threading
import time
from multiprocessing.connection import Connection

from playwright.sync_api import Page, expect

from station.web.app import create_app
from station.web.server import PageServer
from tests.bench.bench_streams import Phones
from tests.support.fake_station import FakeStation
from tests.support.phones import chromium, phone

OTHERS = 31
PLAY_S = 20.0
SETTLE_S = 3.0
CASES = (("one string, now and then", 0.31, 0), ("the whole band, all the time", 0.02, 3))
"""What is played, seconds between two readings of the measured player, and how many play beside."""

WATCH = """() => {
    window.seen = {};
    const cents = document.getElementById("cents");
    new MutationObserver(() => {
        const now = performance.timeOrigin + performance.now();
        window.seen[cents.textContent] ??= now;
    }).observe(cents, { childList: true, characterData: true, subtree: true });
}"""


def serve(pipe: Connection) -> None:
    """The station's process: plays one case after another and tells when each reading was made."""
    station = FakeStation()
    with PageServer(create_app(station), "127.0.0.1", 0, station.hub) as server:
        pipe.send(server.port)
        while (case := pipe.recv()) != "end":
            pipe.send(play(station, *case))


def play(station: FakeStation, every_s: float, beside: int) -> dict[str, float]:
    """Play for `PLAY_S`; the wall-clock time of each reading in ms, by its cents as shown."""
    made: dict[str, float] = {}
    begun_s, number = time.monotonic(), 0
    while time.monotonic() - begun_s < PLAY_S:
        number += 1
        cents = 3.0 + 0.1 * number  # up to a few hundred cents: each is shown once
        made[f"+{cents:.1f}"] = 1000.0 * time.time()
        # A room event goes out when the roll call moves, some times a second at most.
        station.pluck("tove", 6, cents, tell_room=number % 20 == 0)
        for other in range(beside):
            station.pluck("brannock", 1 + other, 5.0, tell_room=False)
        time.sleep(every_s)
    return made


def measure(page: Page, pipe: Connection, name: str, every_s: float, beside: int) -> None:
    page.evaluate(WATCH)
    pipe.send((every_s, beside))
    while not pipe.poll():
        page.wait_for_timeout(200)
    made = pipe.recv()
    page.wait_for_timeout(500)
    seen = page.evaluate("() => window.seen")
    late = sorted(seen[cents] - made_ms for cents, made_ms in made.items() if cents in seen)
    p50, p95 = statistics.median(late), statistics.quantiles(late, n=20)[-1]
    print(
        f"{name}: {len(made)} readings, {len(late)} shown, from event to document"
        f" {p50:.0f} ms (median), {p95:.0f} ms (p95), {late[-1]:.0f} ms (worst)"
    )


def main() -> None:
    here, there = multiprocessing.Pipe()
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=serve, args=(there,))
    process.start()
    port = here.recv()
    others = Phones(port, OTHERS)
    served = type("Served", (), {"port": port})()
    try:
        with chromium() as browser, phone(browser, served) as page:
            expect(page.locator("#word")).to_be_attached()
            threading.Event().wait(SETTLE_S)
            for name, every_s, beside in CASES:
                measure(page, here, name, every_s, beside)
    finally:
        here.send("end")
        others.close()
        process.join()


if __name__ == "__main__":
    main()
