import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from station.web.app import create_app
from station.web.join_code import join_address
from station.web.openapi import describe_api
from tests.support.page_client import one_line
from tests.support.page_server import CODE
from tests.support.schema import faults

STATIC = Path(create_app.__code__.co_filename).parent / "static"


def one_line_error(answer):
    return one_line(answer.get_json())


# -- reading -------------------------------------------------------------


def test_the_room_is_told_as_the_station_knows_it(client, station):
    assert client.get("/api/v1/room").get_json() == station.snapshot()


def test_health_counts_streams(client):
    assert client.get("/health").get_json() == {
        "status": "ok",
        "version": "0.0.0",
        "input": "listening",
        "streams": 0,
        "max_streams": 64,
    }


def test_every_answer_forbids_inline_code_and_foreign_sources(client):
    for path in ("/", "/api/v1/room", "/static/js/main.js", "/nowhere"):
        policy = client.get(path).headers["Content-Security-Policy"]

        assert "default-src 'self'" in policy
        assert "unsafe" not in policy and "http" not in policy


def test_what_the_room_says_is_never_kept_by_a_cache(client):
    assert client.get("/api/v1/room").headers["Cache-Control"] == "no-store"


def test_a_station_name_cannot_become_markup(client, station):
    station.set_station(name="<script>alert(1)</script>")

    page = client.get("/").get_data(as_text=True)

    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page


def test_asking_for_the_head_of_the_stream_takes_no_place(client, station):
    assert client.head("/api/v1/events").status_code == 200
    assert station.hub.streams == 0


@pytest.mark.parametrize("path", ["/api/v1//room", "//api/v1/room", "/api/v1/proposals/..%2f/x"])
def test_an_address_with_something_too_many_is_nowhere_and_never_a_redirect(client, path):
    response = client.get(path)

    assert response.status_code in (404, 405)
    assert response.is_json


def test_the_join_code_leads_to_an_address_another_phone_can_reach(client, station):
    station.page_addresses = ["http://127.0.0.1:8080/", "http://localhost/", "http://192.0.2.9/"]
    reachable = client.get("/qr.svg")
    station.page_addresses = ["http://192.0.2.9/"]

    assert join_address(["http://[::1]/", "http://station.local/"]) == "http://station.local/"
    assert join_address(["http://127.0.0.1:8080/"]) == "http://127.0.0.1:8080/"
    assert reachable.mimetype == "image/svg+xml"
    assert client.get("/qr.svg").data == reachable.data


def test_without_any_address_there_is_no_join_code(client, station):
    station.page_addresses = []

    assert "no address" in one_line_error(client.get("/qr.svg"))


# -- changing ------------------------------------------------------------


def test_the_reference_is_set_with_the_room_code(client, station):
    answer = client.put("/api/v1/reference", json={"a4_hz": 441.5, "by": "Tove"}, headers=CODE)

    assert answer.status_code == 200
    assert answer.get_json() == station.snapshot()["reference"]
    assert station.snapshot()["reference"]["a4_hz"] == 441.5
    assert station.snapshot()["reference"]["by"] == "Tove"


def test_a_player_changes_instrument_and_tuning(client, station):
    change = {"instrument": "bass", "tuning": "drop-d", "capo": 0, "name": "Tove 2"}

    answer = client.put("/api/v1/players/tove", json=change, headers=CODE)

    assert answer.get_json()["tuning_label"] == "Drop D"
    assert station.player("tove")["name"] == "Tove 2"


@pytest.mark.parametrize("code", [None, "", "wrong", "oak-74"])
def test_nothing_changes_without_the_room_code(client, station, code):
    before = station.snapshot()
    headers = {} if code is None else {"X-Room-Code": code}

    answer = client.put("/api/v1/reference", json={"a4_hz": 430.0}, headers=headers)

    assert answer.status_code == 403
    assert "code" in one_line_error(answer)
    assert station.snapshot() == before


def test_another_sites_page_may_not_change_anything_even_with_the_code(client, station):
    headers = {**CODE, "Origin": "http://elsewhere.example.com"}

    answer = client.put("/api/v1/reference", json={"a4_hz": 430.0}, headers=headers)

    assert answer.status_code == 403
    assert station.snapshot()["reference"]["a4_hz"] == 440.0


def test_forwarded_headers_are_ignored(client, station):
    spoofed = {
        "X-Forwarded-For": "192.0.2.77",
        "X-Forwarded-Host": "localhost",
        "Forwarded": "for=192.0.2.77;host=localhost",
    }
    foreign = {**spoofed, "Host": "elsewhere.example.com"}
    statuses = []

    for number in range(12):
        headers = {**spoofed, "X-Forwarded-For": f"192.0.2.{number}", "X-Room-Code": "guess"}
        answer = client.put("/api/v1/reference", json={"a4_hz": 430.0}, headers=headers)
        statuses.append(answer.status_code)

    assert client.get("/api/v1/room", headers=foreign).status_code == 403
    assert statuses[0] == 403 and statuses[-1] == 429


JUNK = [
    (b"", 400),
    (b"{", 400),
    (b"[]", 400),
    (b"null", 400),
    (b"7", 400),
    (b"{}", 400),
    (b"\xff\xfe", 400),
    (b'{"a4_hz": NaN}', 400),
    (b'{"a4_hz": Infinity}', 400),
    (b'{"a4_hz": 1e999}', 400),
    (b'{"a4_hz": true}', 400),
    (b'{"a4_hz": "440"}', 400),
    (b'{"a4_hz": 4400}', 400),
    (b'{"a4_hz": 440, "by": "x\\u0000"}', 400),
    (b'{"a4_hz": 440, "shoe_size": 44}', 400),
    (b'{"by": "Tove"}', 400),
    (b"[" * 16_000, 400),
    (b" " * 17_000, 413),
]


@pytest.mark.parametrize(("body", "status"), JUNK, ids=[repr(body[:24]) for body, _ in JUNK])
def test_a_junk_body_gets_one_line_and_changes_nothing(client, station, body, status):
    before = station.snapshot()

    answer = client.put(
        "/api/v1/reference", data=body, content_type="application/json", headers=CODE
    )

    assert answer.status_code == status
    one_line_error(answer)
    assert station.snapshot() == before


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("PUT", "/api/v1/players/nobody", {"capo": 1}, 404),
        ("PUT", "/api/v1/players/%3Cb%3E", {"capo": 1}, 404),
        ("PUT", "/api/v1/players/tove", {"capo": 1.5}, 400),
        ("PUT", "/api/v1/players/tove", {"tuning": "sideways"}, 400),
        ("PUT", "/api/v1/players/tove", {"line": 3}, 400),
        ("POST", "/api/v1/reference", {"a4_hz": 441}, 405),
        ("DELETE", "/api/v1/players/tove", {"capo": 1}, 405),
        ("GET", "/api/v1/nothing", None, 404),
        ("GET", "/static/../app.py", None, 404),
        ("GET", "/static/%2e%2e/app.py", None, 404),
    ],
)
def test_a_request_that_cannot_be_meant_gets_one_line(client, method, path, body, status):
    answer = client.open(path, method=method, json=body, headers=CODE)

    assert answer.status_code == status
    one_line_error(answer)


def test_a_form_post_is_not_json(client):
    answer = client.put("/api/v1/reference", data={"a4_hz": "441"}, headers=CODE)

    assert answer.status_code == 415
    one_line_error(answer)


def test_a_store_that_fails_is_said_in_one_line(client, station):
    station.storage_fails = True

    answer = client.put("/api/v1/reference", json={"a4_hz": 441}, headers=CODE)

    assert answer.status_code == 503
    assert "read-only" in one_line_error(answer)


def test_a_fault_of_ours_is_told_without_its_innards(client, station, caplog):
    def fail():
        raise KeyError("secret innards")

    station.snapshot = fail

    answer = client.get("/api/v1/room")

    assert answer.status_code == 500
    assert "secret" not in one_line_error(answer)
    assert "secret innards" in caplog.text


# -- what holds for every change -------------------------------------------


def every_change(station):
    """Method and address of every route that changes something, ids made up."""
    return [
        (method, re.sub(r"<\w+>", "1", rule.rule))
        for rule in create_app(station).url_map.iter_rules()
        for method in rule.methods - {"GET", "HEAD", "OPTIONS"}
    ]


@pytest.mark.parametrize(
    ("status", "sent"),
    [
        (403, {"json": {"by": "tove"}}),
        (403, {"json": {"by": "tove"}, "headers": {"X-Room-Code": " "}}),
        (403, {"json": {"by": "tove"}, "headers": {**CODE, "Origin": "http://a.example.com"}}),
        (403, {"json": {"by": "tove"}, "headers": {**CODE, "Host": "a.example.com"}}),
        (415, {"data": {"by": "tove"}, "headers": CODE}),
        (413, {"json": {"by": "x" * 17_000}, "headers": CODE}),
        (400, {"json": {}, "headers": CODE}),
        (400, {"json": ["by"], "headers": CODE}),
        (400, {"json": {"shoe_size": 44}, "headers": CODE}),
        (400, {"data": b'{"by": NaN}', "content_type": "application/json", "headers": CODE}),
    ],
)
def test_every_change_is_guarded_alike_and_says_why_in_one_line(client, station, status, sent):
    before, changes = station.snapshot(), every_change(station)

    answers = [client.open(path, method=method, **sent) for method, path in changes]

    assert len(changes) >= 26
    assert [answer.status_code for answer in answers] == [status] * len(changes)
    assert all(one_line_error(answer) for answer in answers)
    assert station.snapshot() == before


# -- the description of the API -------------------------------------------


def test_every_api_address_is_described_and_no_other(station):
    rules = create_app(station).url_map.iter_rules()
    served = {
        (re.sub(r"<(\w+)>", r"{\1}", rule.rule), method.lower())
        for rule in rules
        if rule.rule.startswith("/api/") or rule.rule == "/health"
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }

    paths = describe_api()["paths"]

    assert served == {(path, method) for path, told in paths.items() for method in told}


def test_the_invented_room_is_as_described(station):
    api = describe_api()
    reading = station.pluck("tove", 5, -20.0)
    station.change_player("brannock", {"offsets_cents": {"4": -3.5}})
    station.measure_whole("ilse", "equal keyboard")
    station.measure_whole("tove", "just harp")
    station.begin_measuring(line=3, name="accordion")
    station.measure("tremolo accordion")
    station.propose("tove", "compromise", rule="mean")
    station.play_tone("A4", "string", -30.0, 10.0)

    room = station.snapshot()
    schemas = api["components"]["schemas"]

    assert all(room[key] for key in ("measuring", "measured", "compromise", "tone", "agreement"))
    assert faults(reading, schemas["Reading"], api) == []
    assert faults(room, schemas["Room"], api) == []


# -- the page's files ----------------------------------------------------


class Markup(HTMLParser):
    def __init__(self):
        super().__init__()
        self.inline = []
        self.addresses = []

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        self.inline += [name for name in told if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and "src" not in told):
            self.inline.append(tag)
        if tag != "a":
            self.addresses += [told[name] for name in ("src", "href") if name in told]


def test_the_page_holds_no_inline_code_and_every_file_it_names_exists(client):
    markup = Markup()
    markup.feed(client.get("/").get_data(as_text=True))

    assert markup.inline == []
    assert len(markup.addresses) > 5
    for address in markup.addresses:
        assert client.get(address).status_code == 200, address


def test_nothing_in_the_page_reaches_out_of_the_room_or_writes_markup():
    for file in STATIC.rglob("*"):
        if file.suffix in (".js", ".css", ".webmanifest"):
            text = file.read_text().replace("http://www.w3.org/2000/svg", "")

            assert not re.search(r"https?://|innerHTML|outerHTML|insertAdjacentHTML|eval\(", text)


def test_the_offline_shell_names_every_file_of_the_page():
    worker = (STATIC / "js" / "service-worker.js").read_text()
    kept = set(re.findall(r'^  "(/.*)",$', worker, re.MULTILINE))
    files = {
        f"/static/{path.relative_to(STATIC)}"
        for path in [*STATIC.glob("js/*.js"), *STATIC.glob("css/*.css")]
        if path.name != "service-worker.js"
    }

    assert kept == files | {"/", "/manifest.webmanifest", "/static/icons/icon.svg"}


def test_the_manifests_icons_are_as_large_as_it_says(client):
    manifest = json.loads(client.get("/manifest.webmanifest").data)
    drawn = {icon["src"]: icon["sizes"] for icon in manifest["icons"] if "png" in icon["type"]}

    assert {"192x192", "512x512"} == set(drawn.values())
    for source, size in drawn.items():
        data = client.get(source).data
        # PNG (ISO/IEC 15948): width and height are the header's first two numbers.
        width, height = (int.from_bytes(data[at : at + 4], "big") for at in (16, 20))
        assert f"{width}x{height}" == size


def luminance(colour):
    """Relative luminance of an sRGB colour (WCAG 2.2, definition)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", ["ink", "soft", "amber", "blue", "white"])
@pytest.mark.parametrize("ground", ["night", "raised"])
def test_every_text_colour_stands_out_from_the_dark(name, ground):
    css = (STATIC / "css" / "base.css").read_text()
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", css))
    lighter, darker = luminance(colours[name]), luminance(colours[ground])

    # WCAG 2.2, success criterion 1.4.6 (level AAA) asks 7:1 of text of any size.
    assert (lighter + 0.05) / (darker + 0.05) >= 7
