"""Connections to the page: how many, how long, and who has to make room.

A browser opens up to six connections and keeps them, so connections are
bounded, but only who asks or is answered holds a place. A kept-alive connection
is closed after two idle seconds (browsers open the next by themselves). When
all places are taken a newcomer gets the one that has waited longest for a whole
request, idle or trickling; only when all are being answered is the newcomer
turned away, at once, with a 503.
"""

from __future__ import annotations

import contextlib
import json
import logging
import socket
from typing import Any

import gevent
from gevent.pool import Pool
from gevent.pywsgi import Input, WSGIHandler, WSGIServer

from station.web.places import Places
from station.web.refusals import FULL_RETRY_S

log = logging.getLogger(__name__)

# From the connection, or a request's first byte, to the end of its head: a lost
# packet or two on a weak network is forgiven.
REQUEST_TIME_S = 10.0
# From there to the end of the answer, unless it is a stream; for a stream, each write.
ANSWER_TIME_S = 20.0


class ConnectionServer(WSGIServer):
    """Takes every connection at once, so that none waits in the kernel's queue unseen."""

    # In one turn of the loop, which is what who had to make room needs to be gone: there
    # may be so many more than places for a moment.
    max_accept = 16

    def __init__(self, *args: Any, places: Places, idle_s: float, **options: Any) -> None:
        # The pool only counts and stops: a full one would leave newcomers in the queue.
        super().__init__(*args, spawn=Pool(), handler_class=Handler, **options)
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


class Handler(WSGIHandler):
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
            return ("414", plain_answer("414 URI Too Long", "that address is too long"))
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
        return ("400", plain_answer("400 Bad Request", "that is not an HTTP request"))

    def _send_error_response_if_possible(self, error_code: int) -> None:
        self.close_connection = True
        if self.response_length:
            return
        words = "400 Bad Request" if error_code == 400 else "500 Internal Server Error"
        try:
            self._sendall(plain_answer(words, "the station could not answer that request"))
        except OSError as error:
            log.debug("the client left before its error: %s", error)


def plain_answer(status: str, message: str, headers: str = "") -> bytes:
    """A whole HTTP response, written without the application."""
    body = json.dumps({"error": message}).encode()
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n{headers}\r\n"
    )
    return head.encode() + body


FULL_ANSWER = plain_answer(
    "503 Service Unavailable",
    "more phones ask at once than the station can answer; try again shortly",
    f"Retry-After: {FULL_RETRY_S}\r\n",
)
