"""The whole app as an attacker meets it. docs/security-web.md names the threat that each test stands for."""

import io
import re
import struct
import zlib
from html.parser import HTMLParser
from uuid import uuid4

import pytest
from fastapi.routing import APIRoute
from PIL import Image
from starlette.testclient import TestClient

from tests.web.conftest import clock
from tests.web.raw import ask
from underlid.entry import parse_line
from underlid.journal.store import Journal
from underlid.web.app import create_app
from underlid.web.devices import CODE_TRIES
from underlid.web.guard import COOKIE
from underlid.web.meant import csrf_token
from underlid.web.settings import Settings

LAN = "https://192.168.1.5:8766"
OPEN_TO_ALL = {"/pair", "/underlid-ca.crt"}
SCRIPT = "<script>alert(1)</script>"


@pytest.fixture
def lan(journal):
    app = create_app(Settings(journal, now=clock, host="0.0.0.0", lan=True))
    app.state.worker = None  # nobody here asks for a fit
    return app


def browser(app, address="192.168.1.20", **more):
    return TestClient(app, base_url=LAN, client=(address, 50000), follow_redirects=False, **more)


def paired(app, name="phone"):
    """A paired device and the token of its pages."""
    token = app.state.devices.add(name, clock())
    made = browser(app, cookies={COOKIE: token})
    made.headers["X-CSRF-Token"] = csrf_token(app.state.devices.secret, app.state.devices.of(token).key.hex())
    return made


def flat(found):
    """Routes, and those within routers that were included as a whole."""
    for route in found:
        inner = getattr(route, "original_router", None)
        yield from [route] if inner is None else flat(inner.routes)


def routes(app):
    """Every route of the app with a value for each of its parameters."""
    known = {"bin": "north", "sha256": "0" * 64, "id": "1", "number": "1", "job": "1", "which": "power", "size": "wide"}
    for route in flat(app.routes):
        path = re.sub(r"\{(\w+)(?::\w+)?\}", lambda part: known.get(part[1], "x"), route.path)
        yield from ((method, path) for method in sorted(route.methods - {"HEAD"}))


def wrong(digits):
    return f"{(int(digits) + 1) % 10**8:08d}"


# --- devices -----------------------------------------------------------------------------------------


def test_no_route_is_open_to_an_unpaired_device(lan):
    asked = [(method, path) for method, path in routes(lan) if path not in OPEN_TO_ALL]
    assert len(asked) > 20
    with browser(lan) as stranger:
        for n, (method, path) in enumerate(asked):
            stranger._transport.client = (f"192.168.2.{n}", 50000)
            answer = stranger.request(method, path)
            assert answer.status_code == 401, (method, path)
            assert "north" not in answer.text


def test_no_route_is_open_to_a_token_after_it_was_revoked(lan, client):
    thief = paired(lan)
    assert thief.get("/devices").status_code == 200
    (device,) = lan.state.devices.all()
    assert client.post(f"/devices/{device.id}/revoke").status_code == 200  # another process of the same journal
    for method, path in routes(lan):
        if path not in OPEN_TO_ALL and not path.startswith("/static"):
            assert thief.request(method, path).status_code == 401, (method, path)
            assert "north" not in thief.request(method, path).text


def test_pairing_gives_a_token_that_only_the_browser_itself_sends(lan):
    code = lan.state.pairing.renew()
    with browser(lan) as phone:
        page = phone.get(f"/pair?code={code.digits}")
        assert f'value="{code.digits}"' in page.text
        csrf = re.search(r'name="csrf" value="(\w+)"', page.text)
        assert csrf is not None
        answer = phone.post("/pair", data={"csrf": csrf[1], "code": code.digits, "name": SCRIPT})
        assert (answer.status_code, answer.headers["Location"]) == (303, "/")
        cookie = answer.headers["Set-Cookie"]
        assert cookie.startswith(f"{COOKIE}=")
        for flag in ("Secure", "HttpOnly", "SameSite=Strict", "Path=/"):
            assert f"; {flag}" in cookie
        assert "Domain" not in cookie
        listed = phone.get("/devices").text
        assert SCRIPT not in listed
        assert "&lt;script&gt;" in listed
        assert phone.post("/pair", data={"csrf": csrf[1], "code": code.digits}).status_code == 403  # used up


def test_what_comes_along_in_a_link_is_not_shown_unless_it_can_be_a_code(lan):
    with browser(lan) as phone:
        for code in (SCRIPT, '"><b>', "1" * 13, "١٢٣٤"):
            assert 'required value=""' in phone.get("/pair", params={"code": code}).text


def test_a_code_cannot_be_guessed_by_many_addresses_together(lan):
    """Each may try five times a minute and all twenty; five wrong tries end a code, and its time is not renewed."""
    first = lan.state.pairing.renew()
    token = csrf_token(lan.state.devices.secret, "nobody")
    tried = 0
    for n in range(10):
        with browser(lan, f"192.168.3.{n}") as guesser:
            for _ in range(7):
                held = lan.state.pairing.code
                answer = guesser.post("/pair", data={"csrf": token, "code": wrong(held.digits)})
                tried += answer.status_code == 403
                assert answer.status_code in {403, 429}
    assert tried <= 21  # a token may come back while this runs
    assert tried > 2 * CODE_TRIES
    assert lan.state.pairing.code.digits != first.digits
    assert lan.state.pairing.code.until == first.until
    assert not lan.state.devices.all()


def test_a_paired_phone_can_revoke_but_let_nobody_in(lan):
    phone, other = paired(lan), paired(lan, "tablet")
    assert phone.post("/devices/code").status_code == 403
    assert lan.state.pairing.code is None
    number = next(device.id for device in lan.state.devices.all() if device.name == "tablet")
    assert phone.post(f"/devices/{number}/revoke").status_code == 303
    assert other.get("/devices").status_code == 401
    assert "Show a pairing code" not in phone.get("/devices").text
    assert phone.post(f"/devices/{number}/revoke").status_code == 404


def test_this_computer_shows_a_code_when_asked(lan):
    with TestClient(lan, base_url="http://127.0.0.1:8765", client=("127.0.0.1", 50000)) as here:
        page = here.post(
            "/devices/code", headers={"X-CSRF-Token": csrf_token(lan.state.devices.secret, "this computer")}
        )
        assert lan.state.pairing.code.shown in page.text
        assert "<svg" in page.text
        assert "style=" not in page.text


def test_without_lan_there_is_nothing_to_pair(client):
    assert "this computer only" in client.get("/devices").text
    assert client.post("/devices/code").status_code == 409
    assert client.get("/underlid-ca.crt").status_code == 404
    assert client.post("/pair", data={"code": "1"}).url.path == "/devices"


# --- other sites -------------------------------------------------------------------------------------


def test_every_route_that_changes_something_refuses_other_sites(client):
    changing = [(method, path) for method, path in routes(client.app) if method not in {"GET", "OPTIONS"}]
    assert len(changing) > 10
    own = client.headers.pop("X-CSRF-Token")
    for method, path in changing:
        form = client.request(
            method, path, content="a=b", headers={"Content-Type": "application/x-www-form-urlencoded"}
        )
        assert form.status_code == 403, path
        assert client.request(method, path, headers={"X-CSRF-Token": "0" * 64}).status_code == 403
        for more in ({"Origin": "https://evil.example"}, {"Sec-Fetch-Site": "cross-site"}):
            assert client.request(method, path, headers={"X-CSRF-Token": own, **more}).status_code == 403


def test_a_rebound_name_gets_no_page(client):
    for _, path in routes(client.app):
        assert client.get(path, headers={"Host": "evil.example:8765"}).status_code == 421


# --- pages -------------------------------------------------------------------------------------------


class Inline(HTMLParser):
    """What a strict policy would stop, or what comes from elsewhere."""

    def __init__(self):
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag, attrs):
        named = dict(attrs)
        data = tag == "script" and named.get("type") == "application/json"
        if tag == "script" and not data and not (named.get("src") or "").startswith("/"):
            self.found.append("a script without an address of ours")
        if tag == "style" and "nonce" not in named:
            self.found.append("a style without a nonce")
        if tag in {"base", "iframe", "object", "embed"}:
            self.found.append(tag)
        for name, value in named.items():
            if name == "style" or name.startswith("on"):
                self.found.append(f"{tag} {name}")
            if name in {"src", "action", "formaction", "poster"} and re.match(
                r"\s*(\w+:)?//|\s*javascript:", value or ""
            ):
                self.found.append(f"{tag} {name}={value}")


def test_every_page_keeps_to_the_policy_it_is_sent_with(client):
    pages = 0
    for path in sorted({path for method, path in routes(client.app) if method == "GET"} | {"/nothing-here"}):
        answer = client.get(path)
        assert answer.status_code < 500, path
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        if answer.headers["Content-Type"].startswith("text/html"):
            pages += 1
            inline = Inline()
            inline.feed(answer.text)
            assert not inline.found, path
            assert "public" not in answer.headers["Cache-Control"]
    assert pages >= 8


def test_words_of_the_journal_are_never_markup(client, journal):
    bad = f"note: {SCRIPT} <img src=x onerror=alert(1)> \" onfocus=alert(1) ' {{{{ 7*7 }}}}"
    with Journal.open(journal) as book:
        record = book.bin("north")
        book.add(parse_line(bad, bin=record, now=clock(), new_id=lambda: "bad").records)
    seen = 0
    for path in ("/", "/bins/north", "/bins/north/enter", "/bins/north/enter?words=" + SCRIPT):
        text = client.get(path).text
        inline = Inline()
        inline.feed(text)
        assert not inline.found
        assert SCRIPT not in text
        assert "<img src=x" not in text
        seen += "&lt;script&gt;" in text
    assert seen


def test_an_address_that_is_echoed_is_never_markup(client):
    for path in (f"/bins/{SCRIPT}", f"/claims/{SCRIPT}", f"/trials/{SCRIPT}", f"/static/{SCRIPT}", f"/photos/{SCRIPT}"):
        answer = client.get(path)
        assert answer.status_code in {404, 422}
        if answer.headers["Content-Type"].startswith("text/html"):
            assert SCRIPT not in answer.text


# --- files -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("folder", ["/static", "/photos"])
def test_no_name_leads_out_of_its_folder(client, folder):
    for name in (
        "../app.py", "../../app.py", "..\\app.py", "....//app.py", "/etc/passwd", "..%2fapp.py", ".", "..", "\x00",
        "style.css\x00.js", "../journal.sqlite", "../web/ca.pem", "..;/app.py", "style.css/../../app.py",
    ):  # fmt: skip
        answer = ask(client.app, f"{folder}/{name}")  # as it is: a client library would tidy it up
        assert answer.status in {400, 404, 422}, name
        for secret in (b"create_app", b"root:", b"SQLite format", b"PRIVATE KEY"):
            assert secret not in answer.body


def test_what_lies_in_the_journal_is_not_served(client, journal):
    assert (journal / "web" / "devices.sqlite").exists()
    for path in ("/journal.sqlite", "/web/devices.sqlite", "/web/ca.pem", "/photos/journal.sqlite", "/.git/config"):
        assert client.get(path).status_code in {404, 422}


# --- pictures ----------------------------------------------------------------------------------------


def send_picture(client, data, name="bin.jpg", kind="image/jpeg"):
    return client.post("/api/bins/north/photos", data={"key": str(uuid4())}, files={"picture": (name, data, kind)})


def test_a_picture_that_is_a_program_is_refused(client):
    svg = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
    html = b"<!doctype html><script>alert(1)</script>"
    for data in (svg, html, b"GIF89a" + html, b"\xff\xd8\xff" + html, b""):
        for name, kind in (("a.svg", "image/svg+xml"), ("a.jpg", "image/jpeg"), ("a.png", "image/png")):
            assert send_picture(client, data, name, kind).status_code == 422


def test_a_picture_hidden_program_does_not_come_out_again(client):
    """A real picture with markup behind its end and in its comment: what is given out holds pixels only."""
    data = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(data, "JPEG", comment=SCRIPT.encode())
    kept = send_picture(client, data.getvalue() + SCRIPT.encode())
    assert kept.status_code == 201
    given = client.get(f"/photos/{kept.json()['sha256']}")
    assert given.headers["Content-Type"] == "image/jpeg"
    assert given.headers["X-Content-Type-Options"] == "nosniff"
    assert b"script" not in given.content


def png_chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


@pytest.mark.parametrize("side", [20_000, 100_000, 2**31 - 1])
def test_a_picture_that_unfolds_into_gigabytes_is_refused_unopened(client, side, monkeypatch):
    def unfold(self):
        raise AssertionError("the pixels were asked for")

    monkeypatch.setattr(Image.Image, "load", unfold)
    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    rows = zlib.compress(b"\0" * 1_000_000, 9)
    bomb = b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IDAT", rows) + png_chunk(b"IEND", b"")
    answer = send_picture(client, bomb, "a.png", "image/png")
    assert answer.status_code in {413, 422}
    assert "error" in answer.json()


def test_the_interface_is_described_without_secrets(client):
    described = client.get("/api/openapi.json").text
    assert client.headers["X-CSRF-Token"] not in described
    assert "/devices" not in described


def test_routes_are_the_ones_looked_through():
    """So that the tests above see every route: none is hidden in a mounted app."""
    from pathlib import Path

    app = create_app(Settings(Path("no-journal")))
    assert {type(route) for route in flat(app.routes) if route.path != "/api/openapi.json"} == {APIRoute}
