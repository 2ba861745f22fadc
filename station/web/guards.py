"""What a request must satisfy before the station listens to it.

The page is reached over plain HTTP inside a rehearsal room, so three checks
stand between a stranger's web page and the band's reference:

* the ``Host`` header names this box and not some public name, which defeats
  DNS rebinding (a public name made to resolve to a private address);
* a change whose ``Origin`` is another site is refused;
* a change carries the room code, compared in constant time, and an address
  that keeps guessing has to wait.

Forwarded headers (``X-Forwarded-*``, ``Forwarded``) are never read: any client
can write them.
"""

from __future__ import annotations

import hmac
import ipaddress
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from urllib.parse import unquote_to_bytes, urlsplit

from station.errors import PageRequestError, RoomCodeError

MAX_BODY_BYTES = 16 * 1024
TOO_LARGE = f"the body is larger than {MAX_BODY_BYTES} bytes"
SONGS_PATH = "/api/v1/songs"
SHORTER_SONGS = ": 60 songs fit at about 270 bytes each; shorten their notes"
# Names that no public resolver answers: multicast DNS (RFC 6762), the home
# domain (RFC 8375) and the private-use domain reserved by ICANN in 2024.
PRIVATE_SUFFIXES = (".local", ".home.arpa", ".internal")

WRONG_CODES = 10
WRONG_CODES_WINDOW_S = 60.0
REMEMBERED_ADDRESSES = 256


def host_name(host: str) -> str:
    """The name or address in a ``Host`` header, lower case, without port or brackets."""
    try:
        name = urlsplit(f"//{host}").hostname
        urlsplit(f"//{host}").port  # noqa: B018 -- raises for a port that is no number
    except ValueError:
        name = None
    if not name or any(sign in host for sign in "/\\@?# \t"):
        raise PageRequestError("the Host header is missing or is not a host name", 400)
    return name.rstrip(".")


def check_host(host: str, addresses: Iterable[str]) -> None:
    """Refuse a ``Host`` that only a public name server could have led here.

    ``addresses`` are the page's own URLs; their names are always accepted.
    """
    name = host_name(host)
    try:
        ipaddress.ip_address(name)
    except ValueError:
        if "." not in name or name.endswith(PRIVATE_SUFFIXES):
            return
        if name in {urlsplit(address).hostname for address in addresses}:
            return
        raise PageRequestError(
            f"{name[:80]!r} is not a name of this station; open the address on its join code", 403
        ) from None


def check_origin(origin: str | None, host: str) -> None:
    """Refuse a change sent by another site's page (``Origin``, RFC 6454)."""
    if origin is None:
        return
    try:
        sender = urlsplit(origin).netloc
    except ValueError:
        sender = ""
    if sender.lower() != host.lower():
        raise PageRequestError("changes are taken from the station's own page only", 403)


def check_content(content_type: str, content_length: int | None, path: str = "") -> None:
    """Refuse a body that is not JSON or is larger than 16 KB."""
    if content_type != "application/json":
        raise PageRequestError("send a JSON body with Content-Type: application/json", 415)
    if content_length is not None and content_length > MAX_BODY_BYTES:
        hint = SHORTER_SONGS if path == SONGS_PATH else ""
        raise PageRequestError(TOO_LARGE + hint, 413)


class CodeCheck:
    """Compares room codes and makes an address that guesses wait."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()

    def check(self, given: str | None, room_code: str, address: str) -> None:
        """Return when ``given`` is the room code; raise RoomCodeError or PageRequestError."""
        now_s = self._clock()
        recent = [at for at in self._wrong.get(address, []) if now_s - at < WRONG_CODES_WINDOW_S]
        if len(recent) >= WRONG_CODES:
            wait_s = int(recent[0] + WRONG_CODES_WINDOW_S - now_s) + 1
            raise PageRequestError(f"too many wrong room codes; wait {wait_s} s", 429, wait_s)
        if not _plain(room_code.encode()):
            raise RoomCodeError("this station has no room code, so the page cannot change it")
        if given is None or not given.strip():
            raise RoomCodeError("type the room code (printed when the station starts)")
        if not _same_code(given, room_code):
            self._wrong[address] = [*recent, now_s]
            self._wrong.move_to_end(address)
            while len(self._wrong) > REMEMBERED_ADDRESSES:
                self._wrong.popitem(last=False)
            raise RoomCodeError("that is not the room code")
        self._wrong.pop(address, None)


def _same_code(given: str, room_code: str) -> bool:
    """Compare in constant time, as sent (WSGI reads headers as Latin-1) or percent-encoded.

    A browser can put no other than Latin-1 letters in a header, so the page encodes.
    """
    raw, wanted = given.encode("latin-1", "replace"), _plain(room_code.encode())
    as_sent = hmac.compare_digest(_plain(raw), wanted)
    return hmac.compare_digest(_plain(unquote_to_bytes(raw)), wanted) or as_sent


def _plain(code: bytes) -> bytes:
    """A code without what phones add to it by themselves: capitals and spaces."""
    return "".join(code.decode(errors="replace").casefold().split()).encode()
