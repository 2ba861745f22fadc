"""The server behind the page: gevent's pywsgi in one thread, nothing patched.

Why this one. A phone's event stream is one connection that stays open for
minutes and is nearly always idle. A server with a thread per connection pays a
thread for each of 64 phones, and one with a few fixed threads stops answering
as soon as as many phones watch. Here a stream is a greenlet: a few kilobytes,
one process, one serving thread, and plain WSGI, so the application stays a
plain Flask application.

Why without monkey patching. Patching replaces sockets, locks and threads for
the whole process, including the threads that listen to the band. Nothing of
that is needed: the server uses gevent's own sockets, other threads reach it
through libev's async watcher (the one call that may cross threads), and calls
into the station run in gevent's worker threads.

A phone that vanishes without a word is noticed by the kernel: every stream
writes at least every four seconds, and TCP_USER_TIMEOUT (RFC 5482) ends a
connection whose data stays unacknowledged, or whose window stays shut, for ten
seconds. A small send buffer keeps the past that a stalled phone still has to
swallow short.

Connections themselves are in `connections`.
"""

from __future__ import annotations

import contextlib
import errno
import logging
import socket
import threading
from typing import Any

import gevent
import gevent.socket
from flask import Flask
from gevent.event import Event

from station.errors import PortTakenError
from station.web.connections import ConnectionServer
from station.web.hub import Hub
from station.web.places import Places

log = logging.getLogger(__name__)

USER_TIMEOUT_S = 10.0
# A kept-alive connection on which nothing is asked.
IDLE_TIME_S = 2.0
SEND_BUFFER_BYTES = 32 * 1024
# Beside the streams: the other five connections of 64 browsers, and some more.
SPARE_CONNECTIONS = 64 * 5 + 128
# Knocking at the same moment; a queue that overflows costs a phone a second or more.
BACKLOG = 512
STOP_TIME_S = 5.0
TURN_S = 0.5


class PageServer:
    """Serves an application on ``host``:``port`` from a thread of its own.

    ``start`` returns once requests are answered and raises PortTakenError when
    the port is in use; port 0 asks the system for a free one, then in ``port``.
    ``stop`` ends every stream and returns once the port is free again.
    ``spare_connections`` may be open beside the hub's streams; ``idle_s`` is how
    long a kept-alive one may ask nothing.
    """

    def __init__(
        self,
        app: Flask,
        host: str,
        port: int,
        hub: Hub,
        user_timeout_s: float = USER_TIMEOUT_S,
        spare_connections: int = SPARE_CONNECTIONS,
        idle_s: float = IDLE_TIME_S,
    ) -> None:
        self.host = host
        self.port = port
        self._app = app
        self._hub = hub
        self._user_timeout_ms = int(user_timeout_s * 1000)
        self._connections = hub.max_streams + spare_connections
        self._idle_s = idle_s
        self._thread: threading.Thread | None = None
        self._ready = threading.Event()
        self._failure: BaseException | None = None
        self._loop: Any = None
        self._stop: Any = None
        self.turns = 0  # by the loop itself, through a worker: what the watchdog looks at

    def start(self) -> None:
        """Bind, then serve in a new thread; raises what keeps that thread from serving."""
        listener = self._bind()
        self.port = listener.getsockname()[1]
        self._ready.clear()
        self._hub.presence.resume()
        self._thread = threading.Thread(
            target=self._serve, args=(listener,), name="page", daemon=True
        )
        self._thread.start()
        self._ready.wait()
        if self._failure is not None:
            self._thread.join()
            self._thread, failure, self._failure = None, self._failure, None
            raise failure

    def stop(self) -> None:
        """End every stream and free the port; harmless when not started.

        Nobody is told that the phones have left: it is the station that goes.
        """
        thread, self._thread = self._thread, None
        if thread is None or not thread.is_alive():
            return
        self._hub.presence.pause()
        self._stop.send()
        thread.join(STOP_TIME_S)
        if thread.is_alive():
            log.error("the page's thread did not end within %g s", STOP_TIME_S)

    def __enter__(self) -> PageServer:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _bind(self) -> socket.socket:
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        address = (self.host, self.port)
        try:
            listener = socket.create_server(
                address, family=family, backlog=BACKLOG, dualstack_ipv6=self.host == "::"
            )
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise PortTakenError(
                    f"port {self.port} is in use: is another station running on this box?"
                ) from None
            raise PortTakenError(
                f"cannot serve the page on {self.host} port {self.port}: {error.strerror or error}"
            ) from None
        # Accepted connections inherit these (Linux).
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, self._user_timeout_ms)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        listener.setblocking(False)
        return listener

    def _serve(self, listener: socket.socket) -> None:
        """The serving thread: everything of gevent's is made and destroyed here."""
        try:
            with contextlib.ExitStack() as ending:
                ending.callback(gevent.get_hub().destroy, destroy_loop=True)
                self._serve_until_stopped(listener, ending)
        except BaseException as error:
            if self._ready.is_set():
                log.error("the page is no longer served", exc_info=error)
                return
            listener.close()
            self._failure = error
            self._ready.set()

    def _serve_until_stopped(self, listener: socket.socket, ending: contextlib.ExitStack) -> None:
        loop = gevent.get_hub().loop
        stopping = Event()
        self._stop, bell = loop.async_(), loop.async_()
        ending.callback(self._stop.close)
        ending.callback(bell.close)
        self._stop.start(stopping.set)
        bell.start(self._hub.wake_streams)
        served = gevent.socket.socket(listener.family, listener.type, fileno=listener.detach())
        ending.callback(served.close)
        server = ConnectionServer(
            served,
            self._app,
            places=Places(self._connections),
            idle_s=self._idle_s,
            log=None,
            error_log=log,
            # Named here, or pywsgi asks a name server, which a room may not have.
            environ={"SERVER_NAME": "station"},
        )
        ending.callback(server.stop, timeout=0)
        self._hub.set_bell(bell.send)
        ending.callback(self._hub.set_bell, None)
        server.start()
        turning = gevent.spawn(self._count_turns)
        ending.callback(turning.kill)
        self._ready.set()
        stopping.wait()

    def _count_turns(self) -> None:
        """A turn is what a request needs: the loop, then a worker to call the station from."""
        while True:
            gevent.get_hub().threadpool.apply(int)
            self.turns += 1
            gevent.sleep(TURN_S)
