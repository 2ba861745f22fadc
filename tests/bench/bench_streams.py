"""What 64 phones cost: memory a stream, how much slower other requests get, how dead ones go.

And what those cost that only hold connections: idle ones, half asked requests,
and 64 browsers that open the page with five connections each beside them.

    .venv/bin/python -m tests.bench.bench_streams

The page's server runs in a process of its own with an invented band of four
playing all the time; this process plays the phones. Figures are printed, none
is asserted: they belong to the machine and its other work.
"""

from __future__ import annotations

import http.client
import multiprocessing
import selectors
import socket
import statistics
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from multiprocessing.connection import Connection

import psutil

from station.web.app import create_app
from station.web.server import PageServer
from tests.support.fake_station import FakeStation
from tests.support.page_client import ask

STREAMS = 64
READINGS_A_SECOND = 20
REQUESTS = 400
LISTEN_S = 20.0
FREED_WITHIN_S = 40.0
IDLE = 600  # more than the server has places for
KEPT_ALIVE = 5
PATIENCE_S = 60.0


def serve(pipe: Connection) -> None:
    """The server's process: says its port, plays after "play", ends after "end"."""
    station = FakeStation()
    silent = threading.Event()

    def play() -> None:
        beat = 0
        while not silent.wait(1 / READINGS_A_SECOND):
            beat += 1
            for player, strings in (("tove", 6), ("brannock", 4)):
                station.pluck(player, 1 + beat // 20 % strings, 20.0 - beat % 40)
            station.play_fixed("ilse", 60 + beat % 12, 4.0)

    band = threading.Thread(target=play)
    with PageServer(create_app(station), "127.0.0.1", 0, station.hub) as server:
        pipe.send(server.port)
        while (order := pipe.recv()) != "end":
            if order == "play":
                band.start()
        silent.set()
        band.join()


class Phones:
    """Open streams whose news is read and counted by one thread."""

    def __init__(self, port: int, number: int) -> None:
        self.received = 0
        self._reading = True
        self._selector = selectors.DefaultSelector()
        self.sockets = []
        for _ in range(number):
            phone = socket.create_connection(("127.0.0.1", port))
            phone.sendall(b"GET /api/v1/events HTTP/1.1\r\nHost: localhost\r\n\r\n")
            self._selector.register(phone, selectors.EVENT_READ)
            self.sockets.append(phone)
        self._thread = threading.Thread(target=self._read)
        self._thread.start()

    def _read(self) -> None:
        while self._reading:
            for key, _ in self._selector.select(0.2):
                self.received += len(key.fileobj.recv(65536))

    def fall_asleep(self) -> None:
        """Stop reading, as a phone out of reach does; the connections stay open."""
        self._reading = False
        self._thread.join()

    def close(self) -> None:
        self.fall_asleep()
        for phone in self.sockets:
            phone.close()
        self._selector.close()


def latency_p95_s(port: int) -> float:
    """95th percentile of GET /api/v1/room, seconds, one request after the other."""
    times = []
    for _ in range(REQUESTS):
        begun = time.perf_counter()
        ask(port, "/api/v1/room")
        times.append(time.perf_counter() - begun)
    return statistics.quantiles(times, n=20)[-1]


def held_p95_s(port: int, beginning: bytes) -> float:
    """The same while IDLE connections say ``beginning`` and no more, opened anew when closed.

    All are opened first; then every request finds some just opened beside it.
    """
    with ExitStack() as held:

        def hold() -> None:
            idler = held.enter_context(socket.create_connection(("127.0.0.1", port), PATIENCE_S))
            idler.sendall(beginning)

        for _ in range(IDLE):
            hold()
        times = []
        for _ in range(REQUESTS):
            hold()
            begun = time.perf_counter()
            ask(port, "/api/v1/room")
            times.append(time.perf_counter() - begun)
    return statistics.quantiles(times, n=20)[-1]


def page_opened_s(browser: http.client.HTTPConnection) -> float:
    """Seconds until the page has arrived; the connection stays open."""
    begun = time.perf_counter()
    browser.request("GET", "/")
    browser.getresponse().read()
    return time.perf_counter() - begun


def opening_ratio(port: int) -> float:
    """The slowest of STREAMS x KEPT_ALIVE pages asked for at once, against all in turn.

    About 1 when nobody waits for anything but the work itself.
    """
    pages = STREAMS * KEPT_ALIVE
    with ExitStack() as opened:

        def browser() -> http.client.HTTPConnection:
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
            opened.callback(connection.close)
            return connection

        with ThreadPoolExecutor(pages) as browsers:
            slowest_s = max(browsers.map(page_opened_s, [browser() for _ in range(pages)]))
        alone = browser()
        return slowest_s / sum(page_opened_s(alone) for _ in range(pages))


def say_held(port: int, idle_s: float) -> None:
    """What connections that ask nothing, or nothing whole, do to the other requests."""
    for what, beginning in (
        ("idle connections", b""),
        ("half requests", b"GET / HTTP/1.1\r\nHost: local"),
    ):
        ratio = held_p95_s(port, beginning) / idle_s
        print(f"p95 with {STREAMS} streams and {IDLE} {what}: {ratio:.2f} x idle")
    print(
        f"the slowest of {STREAMS} x {KEPT_ALIVE} pages opened at once and kept: "
        f"{opening_ratio(port):.2f} x all of them in turn"
    )


def seconds_until_free(port: int, places: int) -> float | None:
    """How long until no more than ``places`` streams are open; None when they stay."""
    begun = time.perf_counter()
    while (passed := time.perf_counter() - begun) < FREED_WITHIN_S:
        if ask(port, "/health").json["streams"] <= places:
            return passed
        time.sleep(0.1)
    return None


def say_freed(what: str, seconds: float | None) -> None:
    print(
        f"{what}: " + (f"all freed after {seconds:.1f} s" if seconds is not None else "NOT FREED")
    )


def main() -> None:
    pipe, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=serve, args=(theirs,))
    process.start()
    try:
        port = pipe.recv()
        measure(port, psutil.Process(process.pid), pipe)
    finally:
        pipe.send("end")
        process.join(10)
        if process.is_alive():
            process.kill()
            process.join()


def measure(port: int, server: psutil.Process, pipe: Connection) -> None:
    latency_p95_s(port)  # warm up
    idle_s = latency_p95_s(port)
    pipe.send("play")
    playing_s = latency_p95_s(port)
    before_mb = server.memory_info().rss / 1e6
    print(f"server with a playing band and no phone: {before_mb:.1f} MB")
    print(f"p95 of GET /api/v1/room with the band playing: {playing_s / idle_s:.2f} x idle")

    phones = Phones(port, STREAMS)
    time.sleep(2)
    processor_s = sum(server.cpu_times()[:2])
    begun, received = time.perf_counter(), phones.received
    busy_s = latency_p95_s(port)
    time.sleep(max(0.0, LISTEN_S - (time.perf_counter() - begun)))
    passed_s = time.perf_counter() - begun
    share = (sum(server.cpu_times()[:2]) - processor_s) / passed_s
    after_mb = server.memory_info().rss / 1e6
    print(
        f"{STREAMS} streams: {after_mb:.1f} MB, {(after_mb - before_mb) / STREAMS:.3f} MB a stream"
    )
    print(
        f"p95 of GET /api/v1/room with {STREAMS} streams: {busy_s / idle_s:.2f} x idle,"
        f" {busy_s * 1e3:.0f} ms"
    )
    rate_kb = (phones.received - received) / passed_s / STREAMS / 1e3
    print(f"each phone receives {rate_kb:.1f} kB/s; the server uses {share:.0%} of one core")
    refused = ask(port, "/api/v1/events")
    print(f"stream {STREAMS + 1}: {refused.status}, Retry-After {refused.headers['retry-after']} s")
    say_held(port, idle_s)
    held_mb = server.memory_info().rss / 1e6
    print(f"memory after more connections than places: {held_mb:.1f} MB")

    phones.fall_asleep()
    most_mb, begun = held_mb, time.perf_counter()
    while ask(port, "/health").json["streams"] and time.perf_counter() - begun < FREED_WITHIN_S:
        most_mb = max(most_mb, server.memory_info().rss / 1e6)
        time.sleep(0.1)
    freed_s = time.perf_counter() - begun
    say_freed("phones that stop reading", freed_s if freed_s < FREED_WITHIN_S else None)
    asleep_mb = server.memory_info().rss / 1e6
    print(
        f"memory meanwhile: {most_mb - held_mb:+.1f} MB, afterwards {asleep_mb - held_mb:+.1f} MB"
    )
    phones.close()

    leaving = Phones(port, STREAMS)
    time.sleep(1)
    leaving.close()
    say_freed("phones that close", seconds_until_free(port, 0))


if __name__ == "__main__":
    main()
