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
"""

from __future__ import annotations

import contextlib
import errno
import json
import logging
import socket
import threading
from typing import Any

import gevent
import gevent.socket
from flask import Flask
from gevent.event import Event
from gevent.pool import Pool
from gevent.pywsgi import WSGIHandler, WSGIServer

from station.errors import PortTakenError
from station.web.hub import Hub

log = logging.getLogger(__name__)

USER_TIMEOUT_S = 10.0
REQUEST_TIME_S = 20.0
SEND_BUFFER_BYTES = 32 * 1024
SPARE_CONNECTIONS = 128
STOP_TIME_S = 5.0


class _Handler(WSGIHandler):
    """Answers what is not HTTP in one line of JSON, and waits for nobody for ever."""

    def __init__(self, sock: Any, *args: Any) -> None:
        # No single read or write waits longer, whatever the kernel thinks of the peer.
        sock.settimeout(REQUEST_TIME_S)
        super().__init__(sock, *args)

    def handle(self) -> None:
        # Closed here and not whenever it is collected: that may be after the server's
        # end, when there is no loop left to close it on.
        with contextlib.closing(self.rfile):
            try:
                super().handle()
            except OSError as error:
                log.debug("connection from %s ended: %s", self.client_address, error)

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

    def handle_one_request(self) -> Any:
        # Covers an idle kept-alive connection and a request that trickles in;
        # the response itself, which for a stream lasts minutes, is not timed.
        self._patience = gevent.Timeout.start_new(REQUEST_TIME_S)
        try:
            result = super().handle_one_request()
        except gevent.Timeout as late:
            if late is not self._patience:
                raise
            return None
        finally:
            self._patience.close()
        if isinstance(result, tuple) and result[0] == "414":
            return ("414", _plain_answer("414 URI Too Long", "that address is too long"))
        return result

    def handle_one_response(self) -> None:
        self._patience.cancel()
        super().handle_one_response()

    def log_error(self, msg: str, *args: Any) -> None:
        log.info("%s", (msg % args if args else msg).replace("\n", " ")[:200])

    def handle_error(self, t: Any, v: Any, tb: Any) -> None:
        if issubclass(t, OSError):
            # The phone left or its connection timed out: nobody to tell.
            log.debug("connection from %s ended: %s", self.client_address, v)
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
        words = {400: "400 Bad Request"}.get(error_code, "500 Internal Server Error")
        try:
            self._sendall(_plain_answer(words, "the station could not answer that request"))
        except OSError as error:
            log.debug("the client left before its error: %s", error)


def _plain_answer(status: str, message: str) -> bytes:
    """A whole HTTP response, written without the application."""
    body = json.dumps({"error": message}).encode()
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    return head.encode() + body


class PageServer:
    """Serves an application on ``host``:``port`` from a thread of its own.

    ``start`` returns once requests are answered and raises PortTakenError when
    the port is in use; port 0 asks the system for a free one, then in ``port``.
    ``stop`` ends every stream and returns once the port is free again.
    """

    def __init__(
        self,
        app: Flask,
        host: str,
        port: int,
        hub: Hub,
        user_timeout_s: float = USER_TIMEOUT_S,
    ) -> None:
        self.host = host
        self.port = port
        self._app = app
        self._hub = hub
        self._user_timeout_ms = int(user_timeout_s * 1000)
        self._thread: threading.Thread | None = None
        self._ready = threading.Event()
        self._loop: Any = None
        self._stop: Any = None

    def start(self) -> None:
        """Bind, then serve in a new thread."""
        listener = self._bind()
        self.port = listener.getsockname()[1]
        self._ready.clear()
        self._thread = threading.Thread(
            target=self._serve, args=(listener,), name="page", daemon=True
        )
        self._thread.start()
        self._ready.wait()

    def stop(self) -> None:
        """End every stream and free the port; harmless when not started."""
        thread, self._thread = self._thread, None
        if thread is None:
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
                address, family=family, backlog=128, dualstack_ipv6=self.host == "::"
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
        gevent_hub = gevent.get_hub()
        loop = gevent_hub.loop
        stopping = Event()
        self._stop, bell = loop.async_(), loop.async_()
        self._stop.start(stopping.set)
        bell.start(self._hub.wake_streams)
        self._hub.set_bell(bell.send)
        server = WSGIServer(
            gevent.socket.socket(listener.family, listener.type, fileno=listener.detach()),
            self._app,
            spawn=Pool(self._hub.max_streams + SPARE_CONNECTIONS),
            log=None,
            error_log=log,
            handler_class=_Handler,
            # Named here, or pywsgi asks a name server, which a room may not have.
            environ={"SERVER_NAME": "station"},
        )
        server.start()
        self._ready.set()
        stopping.wait()
        self._hub.set_bell(None)
        server.stop(timeout=0)
        self._stop.close()
        bell.close()
        gevent_hub.destroy(destroy_loop=True)
