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

A browser opens up to six connections and keeps them, so connections are
bounded, but only who asks or is answered holds a place. A kept-alive connection
is closed after two idle seconds (browsers open the next by themselves). When
all places are taken a newcomer gets the one that has waited longest for a whole
request, idle or trickling; only when all are being answered is the newcomer
turned away, at once, with a 503.
"""

from __future__ import annotations

import contextlib
import errno
import json
import logging
import socket
import threading
import time
from typing import Any

import gevent
import gevent.socket
from flask import Flask
from gevent.event import Event
from gevent.pool import Pool
from gevent.pywsgi import Input, WSGIHandler, WSGIServer

from station.errors import PortTakenError
from station.web.app import FULL_RETRY_S
from station.web.hub import Hub

log = logging.getLogger(__name__)

USER_TIMEOUT_S = 10.0
# A kept-alive connection on which nothing is asked.
IDLE_TIME_S = 2.0
# From the connection, or a request's first byte, to the end of its head: a lost
# packet or two on a weak network is forgiven.
REQUEST_TIME_S = 10.0
# From there to the end of the answer, unless it is a stream; for a stream, each write.
ANSWER_TIME_S = 20.0
# An answer that takes this long may lose its place when all are taken.
SLOW_ANSWER_S = 5.0
SEND_BUFFER_BYTES = 32 * 1024
# Beside the streams: the other five connections of 64 browsers, and some more.
SPARE_CONNECTIONS = 64 * 5 + 128
# Knocking at the same moment; a queue that overflows costs a phone a second or more.
BACKLOG = 512
STOP_TIME_S = 5.0


class _Places:
    """Connections that may have to make room, oldest first; streams, which the hub bounds, not."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self._waiting: dict[_Handler, None] = {}
        self._answering: dict[_Handler, float] = {}

    def waits(self, handler: _Handler) -> None:
        """``handler`` has no whole request yet."""
        self.leaves(handler)
        self._waiting[handler] = None

    def answers(self, handler: _Handler) -> None:
        """``handler`` has begun to answer."""
        self.leaves(handler)
        self._answering[handler] = time.monotonic()

    def leaves(self, handler: _Handler) -> None:
        """``handler`` streams, or has ended."""
        self._waiting.pop(handler, None)
        self._answering.pop(handler, None)

    def make_room(self) -> bool:
        """End one connection for a newcomer; False when all are honestly busy."""
        oldest = next(iter(self._waiting), None)
        if oldest is None:
            oldest, begun_s = next(iter(self._answering.items()), (None, 0.0))
            if oldest is None or time.monotonic() - begun_s < SLOW_ANSWER_S:
                return False
        self.leaves(oldest)
        oldest.end()
        return True


class _Server(WSGIServer):
    """Takes every connection at once, so that none waits in the kernel's queue unseen."""

    # In one turn of the loop, which is what who had to make room needs to be gone: there
    # may be so many more than places for a moment.
    max_accept = 16

    def __init__(self, *args: Any, places: _Places, idle_s: float, **options: Any) -> None:
        # The pool only counts and stops: a full one would leave newcomers in the queue.
        super().__init__(*args, spawn=Pool(), handler_class=_Handler, **options)
        self.places = places
        self.idle_s = idle_s

    def do_handle(self, sock: Any, *args: Any) -> None:
        # Runs in the event loop itself: nothing here may wait.
        if len(self.pool) < self.places.limit or self.places.make_room():
            super().do_handle(sock, *args)
            return
        log.info("all %d connections are busy: one more turned away", self.places.limit)
        with contextlib.closing(sock), contextlib.suppress(OSError):
            sock._sock.send(FULL_ANSWER, socket.MSG_DONTWAIT)
            # What has been asked is read: unread, it would make the kernel drop the answer.
            sock._sock.recv(16384, socket.MSG_DONTWAIT)


class _Handler(WSGIHandler):
    """Answers what is not HTTP in one line of JSON, and waits for nobody for ever."""

    def __init__(self, sock: Any, *args: Any) -> None:
        # No single read or write waits longer, whatever the kernel thinks of the peer.
        sock.settimeout(ANSWER_TIME_S)
        super().__init__(sock, *args)
        self._greenlet = gevent.getcurrent()
        self._patience = gevent.Timeout()
        self._kept_alive = False

    def handle(self) -> None:
        # Closed here and not whenever it is collected: that may be after the server's
        # end, when there is no loop left to close it on.
        with contextlib.closing(self.rfile):
            try:
                super().handle()
            except OSError as error:
                log.debug("connection from %s ended: %s", self.client_address, error)
            finally:
                self.server.places.leaves(self)

    def end(self) -> None:
        """Give the place up, whatever it is used for; returns at once."""
        self._greenlet.kill(block=False)

    def get_environ(self) -> dict[str, Any]:
        environ: dict[str, Any] = super().get_environ()
        environ["station.gone"] = self._gone
        # The input ends where the body ends, chunked or counted: Flask may read it whole.
        environ["wsgi.input_terminated"] = True
        return environ

    def _gone(self) -> bool:
        """Whether the client has closed its side, without waiting and without reading."""
        try:
            peeked = self.socket._sock.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT)
        except BlockingIOError:
            return False
        except OSError:
            return True
        return not peeked

    def _allow(self, seconds: float) -> None:
        """What comes next may take so long, or the connection ends."""
        self._patience.close()
        self._patience = gevent.Timeout.start_new(seconds)

    def handle_one_request(self) -> Any:
        self.server.places.waits(self)
        self._allow(self.server.idle_s if self._kept_alive else REQUEST_TIME_S)
        try:
            result = super().handle_one_request()
        except gevent.Timeout as late:
            if late is not self._patience:
                raise
            return None
        finally:
            self._patience.close()
        self._kept_alive = True
        if isinstance(result, tuple) and result[0] == "414":
            return ("414", _plain_answer("414 URI Too Long", "that address is too long"))
        return result

    def read_requestline(self) -> Any:
        if self._kept_alive:
            # Requests sent ahead would otherwise be answered in one go, the others waiting.
            gevent.sleep(0)
            self.rfile.peek(1)
            self._allow(REQUEST_TIME_S)
        return super().read_requestline()

    def handle_one_response(self) -> None:
        self.server.places.answers(self)
        self._allow(ANSWER_TIME_S)
        super().handle_one_response()

    def start_response(self, status: str, headers: Any, exc_info: Any = None) -> Any:
        if dict(headers).get("Content-Type", "").startswith("text/event-stream"):
            # Lasts minutes, and ends by its lease or by a write that is not taken.
            self._patience.cancel()
            self.server.places.leaves(self)
        return super().start_response(status, headers, exc_info)

    def run_application(self) -> None:
        try:
            super().run_application()
        except BaseException:
            # The connection ends here, so nobody needs to read the rest of the body.
            self.close_connection = True
            self.wsgi_input = Input(self.rfile, 0)
            raise
        # A body the application did not want is read and dropped, but not for long.
        self.server.places.waits(self)
        self._allow(self.server.idle_s)

    def log_error(self, msg: str, *args: Any) -> None:
        log.info("%s", (msg % args if args else msg).replace("\n", " ")[:200])

    def handle_error(self, t: Any, v: Any, tb: Any) -> None:
        if issubclass(t, (OSError, gevent.Timeout, gevent.GreenletExit)):
            # The phone left, was too slow or had to make room: nobody to tell.
            log.debug("connection from %s ended: %r", self.client_address, v)
            self.close_connection = True
            return
        super().handle_error(t, v, tb)

    def _handle_client_error(self, ex: Exception) -> tuple[str, bytes]:
        log.info("not an HTTP request from %s: %.100r", self.client_address, str(ex))
        return ("400", _plain_answer("400 Bad Request", "that is not an HTTP request"))

    def _send_error_response_if_possible(self, error_code: int) -> None:
        self.close_connection = True
        if self.response_length:
            return
        words = "400 Bad Request" if error_code == 400 else "500 Internal Server Error"
        try:
            self._sendall(_plain_answer(words, "the station could not answer that request"))
        except OSError as error:
            log.debug("the client left before its error: %s", error)


def _plain_answer(status: str, message: str, headers: str = "") -> bytes:
    """A whole HTTP response, written without the application."""
    body = json.dumps({"error": message}).encode()
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n{headers}\r\n"
    )
    return head.encode() + body


FULL_ANSWER = _plain_answer(
    "503 Service Unavailable",
    "more phones ask at once than the station can answer; try again shortly",
    f"Retry-After: {FULL_RETRY_S}\r\n",
)


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

    def start(self) -> None:
        """Bind, then serve in a new thread; raises what keeps that thread from serving."""
        listener = self._bind()
        self.port = listener.getsockname()[1]
        self._ready.clear()
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
        """End every stream and free the port; harmless when not started."""
        thread, self._thread = self._thread, None
        if thread is None or not thread.is_alive():
            return
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
        server = _Server(
            served,
            self._app,
            places=_Places(self._connections),
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
        self._ready.set()
        stopping.wait()
