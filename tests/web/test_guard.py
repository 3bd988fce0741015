"""What passes the guard and what does not, each rule alone, in front of an app of a few routes."""

from urllib.parse import urlencode

import pytest
from fastapi import FastAPI, Request
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tests.web.conftest import HERE, clock
from tests.web.raw import CHUNK, ask
from underlid.web import guard, limits
from underlid.web.guard import COOKIE
from underlid.web.meant import csrf_token
from underlid.web.settings import Settings

PHONE, LAN = "192.168.1.20", "https://192.168.1.5:8766"
GIGABYTE = 1_000_000_000


class Tick:
    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


def small_app(folder, *, lan=False, tick=None):
    settings = Settings(folder, now=clock, lan=lan)
    app = FastAPI()
    app.state.settings = settings
    guard.protect(app, settings, tick or Tick())

    @app.get("/hello")
    def hello():
        return {"said": "hello"}

    @app.post("/hello")
    @app.post("/api/hello")
    @app.post("/api/bins/north/photos")
    async def take(request: Request):
        return {"bytes": len(await request.body())}

    return app


@pytest.fixture
def app(tmp_path):
    return small_app(tmp_path)


@pytest.fixture
def lan_app(tmp_path):
    return small_app(tmp_path, lan=True)


def here(app, **more):
    return TestClient(app, base_url=HERE, client=("127.0.0.1", 50000), **more)


def phone(app, token=None, address=PHONE):
    return TestClient(
        app, base_url=LAN, client=(address, 50000), cookies={COOKIE: token} if token else None, follow_redirects=False
    )


def token_here(app):
    return csrf_token(app.state.devices.secret, "this computer")


def sent(app, body=b"", path="/api/hello", **headers):
    named = {"host": "127.0.0.1:8765", "x-csrf-token": token_here(app), **headers}
    return ask(app, path, "POST", headers=[(k.replace("_", "-"), v) for k, v in named.items()], body=body)


# --- who is asked for --------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "LOCALHOST:8765", "[::1]:8765"])
def test_this_computer_by_its_own_names(app, host):
    assert ask(app, "/hello", headers=[("host", host)]).status == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example:8765", "127.0.0.1.evil.example:8765", "localhost", "localhost:80", "127.0.0.1:8766", "", "[::1",
        "localhost:8765@evil.example", "user@localhost:8765", "localhost:8765, evil.example", "127.1:8765",
        "shed.local:8765", "192.168.1.5:8765",
    ],
)  # fmt: skip
def test_a_name_that_is_made_to_point_here_is_not_served(app, host):
    """DNS rebinding: the browser believes it talks to evil.example, and evil.example has our address."""
    answer = ask(app, "/hello", headers=[("host", host)])
    assert answer.status == 421
    assert answer.text.count(".") >= 1
    assert "hello" not in answer.text


def test_the_usual_port_may_be_left_out(app):
    headers = [("host", "localhost")]
    assert ask(app, "/hello", headers=headers, server=("127.0.0.1", 80)).status == 200
    assert ask(app, "/hello", headers=headers, server=("127.0.0.1", 443)).status == 421


def test_others_are_served_only_when_asked_to(app):
    answer = ask(app, "/hello", headers=[("host", "192.168.1.5:8765")], client=PHONE, server=("192.168.1.5", 8765))
    assert answer.status == 403
    assert "--lan" in answer.text


@pytest.mark.parametrize(
    ("client", "server"), [("203.0.113.9", "192.168.1.5"), (PHONE, "203.0.113.9"), ("2001:db8::1", "fd00::2")]
)
def test_the_internet_is_never_served(lan_app, client, server):
    host = f"[{server}]:8766" if ":" in server else f"{server}:8766"
    answer = ask(lan_app, "/pair", headers=[("host", host)], client=client, server=(server, 8766), scheme="https")
    assert answer.status == 403


# --- malformed requests ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        [("content-length", "5"), ("transfer-encoding", "chunked")],
        [("content-length", "5"), ("content-length", "6")],
        [("transfer-encoding", "chunked"), ("transfer-encoding", "identity")],
        [("content-length", "-5")],
        [("content-length", "5, 6")],
        [("content-length", "٥".encode().decode("latin-1"))],
        [("host", "127.0.0.1:8765")],
    ],
)
def test_what_two_servers_could_read_in_two_ways_is_refused(app, headers):
    more = [("host", "127.0.0.1:8765"), ("x-csrf-token", token_here(app)), *headers]
    answer = ask(app, "/api/hello", "POST", headers=more, body=b"12345")
    assert answer.status == 400
    assert answer.read == 0


@pytest.mark.parametrize(
    "path", ["http://evil.example/hello", "//evil.example", "hello", "/a\\b", "/a\x00b", "/a\r\nb", "*"]
)
def test_paths_that_no_page_has(app, path):
    assert ask(app, path).status == 400


def test_a_head_that_is_too_long(app):
    host = ("host", "127.0.0.1:8765")
    assert ask(app, "/hello", headers=[host, ("x", "a" * 15_000)]).status == 200
    assert ask(app, "/hello", headers=[host, ("x", "a" * 20_000)]).status == 431
    assert ask(app, "/hello?" + "a" * 20_000).status == 431


def test_no_host_at_all(app):
    assert ask(app, "/hello", headers=[]).status == 400


# --- who asks ----------------------------------------------------------------------------------------


def test_an_unpaired_device_sees_the_pairing_page_and_nothing_else(lan_app):
    with phone(lan_app) as browser:
        for method, path in [("GET", "/hello"), ("GET", "/devices"), ("GET", "/static/queue.js"), ("GET", "/photos/x")]:
            answer = browser.request(method, path)
            assert answer.status_code == 401
            assert "not paired" in answer.text
            assert 'action="/pair"' in answer.text
        answer = browser.post("/api/hello")
        assert (answer.status_code, answer.json()) == (401, {"error": "This device is not paired with the journal."})
        assert answer.headers["WWW-Authenticate"]
        assert browser.get("/pair").status_code == 200


def test_a_paired_device_is_let_in_until_it_is_revoked(lan_app):
    devices = lan_app.state.devices
    token = devices.add("phone", clock())
    with phone(lan_app, token) as browser:
        assert browser.get("/hello").json() == {"said": "hello"}
        devices.revoke(devices.of(token).id)
        assert browser.get("/hello").status_code == 401


@pytest.mark.parametrize("token", ["", "x", "x" * 5000, "' OR 1=1 --", "é"])
def test_a_made_up_token_lets_nobody_in(lan_app, token):
    lan_app.state.devices.add("phone", clock())
    answer = ask(
        lan_app, "/hello", headers=[("host", "192.168.1.5:8766"), ("cookie", f"{COOKIE}={token}")], client=PHONE,
        server=("192.168.1.5", 8766), scheme="https",
    )  # fmt: skip
    assert answer.status == 401


def test_a_header_cannot_make_a_phone_this_computer(lan_app):
    with phone(lan_app) as browser:
        for name in ("X-Forwarded-For", "Forwarded", "X-Real-IP", "X-Forwarded-Host"):
            assert browser.get("/hello", headers={name: "127.0.0.1"}).status_code == 401
        assert browser.get("/hello", headers={"Host": "127.0.0.1:8766"}).status_code == 421


# --- whether it was meant ----------------------------------------------------------------------------


def test_a_change_needs_the_token(app):
    with here(app) as browser:
        assert browser.post("/api/hello").status_code == 403
        assert browser.post("/api/hello", headers={"X-CSRF-Token": "0" * 64}).status_code == 403
        assert browser.post("/api/hello", headers={"X-CSRF-Token": token_here(app)}).json() == {"bytes": 0}


def test_a_form_may_carry_it(app):
    with here(app) as browser:
        form = {"words": "middle 3 °C & more", "csrf": token_here(app)}
        assert browser.post("/hello", data=form).json() == {"bytes": len(urlencode(form))}
        assert browser.post("/hello", data={**form, "csrf": "x"}).status_code == 403
        assert browser.post("/hello", data={"words": "x"}).status_code == 403


def test_a_form_with_a_picture_carries_it_first(app):
    with here(app) as browser:
        picture = ("bin.png", b"\x89PNG" * 5000, "image/png")
        first = {"csrf": (None, token_here(app)), "file": picture}
        assert browser.post("/hello", files=first).json()["bytes"] > 20_000
        late = {"file": picture, "csrf": (None, token_here(app))}
        assert browser.post("/hello", files=late).status_code == 403


def test_a_token_hidden_in_other_kinds_of_body_is_not_looked_for(app):
    body = f"csrf={token_here(app)}".encode()
    for kind in ("text/plain", "application/json", ""):
        headers = [("host", "127.0.0.1:8765"), ("content-type", kind)]
        assert ask(app, "/api/hello", "POST", headers=headers, body=body).status == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "http://localhost:3000"},
        {"origin": "https://127.0.0.1:8765"},
        {"sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"},
        {"sec_fetch_site": "same-site"},
        {"origin": "null", "sec_fetch_site": "cross-site"},
    ],
)
def test_another_site_may_not_send_even_with_the_token(app, headers):
    assert sent(app, **headers).status == 403


@pytest.mark.parametrize(
    "headers",
    [{"origin": HERE}, {"sec_fetch_site": "same-origin"}, {"origin": "null", "sec_fetch_site": "same-origin"}, {}],
)
def test_our_own_pages_may(app, headers):
    assert sent(app, **headers).status == 200


def test_another_site_may_not_read_by_script_but_may_link(app):
    def read(mode):
        headers = [("host", "127.0.0.1:8765"), ("sec-fetch-site", "cross-site"), ("sec-fetch-mode", mode)]
        return ask(app, "/hello", headers=headers).status

    assert [read(mode) for mode in ("no-cors", "cors", "navigate")] == [403, 403, 200]


def test_no_other_origin_is_ever_allowed_to_read(app):
    with here(app) as browser:
        for method in ("GET", "OPTIONS"):
            answer = browser.request(method, "/hello", headers={"Origin": "http://evil.example"})
            assert not [name for name in answer.headers if name.startswith("access-control")]


def test_the_token_is_bound_to_the_device_and_survives_a_restart(tmp_path):
    first = small_app(tmp_path, lan=True)
    mine, other = (first.state.devices.add(name, clock()) for name in ("phone", "tablet"))
    again = small_app(tmp_path, lan=True)
    key = again.state.devices.of(mine).key.hex()
    token = csrf_token(first.state.devices.secret, key)
    with phone(again, mine) as browser:
        assert browser.post("/api/hello", headers={"X-CSRF-Token": token}).status_code == 200
        assert browser.post("/api/hello", headers={"X-CSRF-Token": token_here(again)}).status_code == 403
    with phone(again, other) as browser:
        assert browser.post("/api/hello", headers={"X-CSRF-Token": token}).status_code == 403


# --- how much ----------------------------------------------------------------------------------------


def endless(counted=GIGABYTE):
    chunk = b"x" * CHUNK
    return (chunk for _ in range(counted // CHUNK))


@pytest.mark.parametrize(
    ("path", "limit"), [("/api/hello", limits.BODY_BYTES), ("/api/bins/north/photos", limits.PHOTO_BYTES)]
)
def test_a_gigabyte_is_refused_without_being_read(app, path, limit):
    declared = sent(app, endless(), path, content_length=str(GIGABYTE))
    assert (declared.status, declared.read) == (413, 0)
    chunked = sent(app, endless(), path, transfer_encoding="chunked")
    assert chunked.status == 413
    assert limit < chunked.read <= limit + CHUNK
    for answer in (declared, chunked):  # or the server would read the rest, if only to throw it away
        assert answer.header("connection") == "close"
    lied = sent(app, endless(), path, content_length="10")  # no server passes this on, but nothing here relies on it
    assert lied.read <= limit + CHUNK
    assert lied.status == 413
    assert "MB" in declared.text


def test_a_form_without_the_token_is_not_read_far(app):
    def form(kind):
        headers = [("host", "127.0.0.1:8765"), ("content-type", kind)]
        return ask(app, "/hello", "POST", headers=headers, body=endless())

    multipart = form("multipart/form-data; boundary=x")
    assert (multipart.status, multipart.read) == (403, CHUNK)
    plain = form("application/x-www-form-urlencoded")
    assert plain.status == 413
    assert plain.read <= limits.BODY_BYTES + CHUNK


@given(
    st.binary(max_size=3000), st.sampled_from(["multipart/form-data; boundary=x", "application/x-www-form-urlencoded"])
)
def test_any_form_without_the_token_is_refused(tmp_path_factory, body, kind):
    app = small_app(tmp_path_factory.getbasetemp() / "any-form")
    headers = [("host", "127.0.0.1:8765"), ("content-type", kind)]
    assert ask(app, "/hello", "POST", headers=headers, body=body).status == 403


def test_as_much_as_allowed_passes(app):
    body = b"x" * limits.BODY_BYTES
    assert sent(app, body, content_length=str(len(body))).status == 200


def test_a_body_that_trickles_is_given_up(app, monkeypatch):
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.05)
    headers = [("host", "127.0.0.1:8765"), ("x-csrf-token", token_here(app))]
    slow = ask(app, "/api/hello", "POST", headers=headers, body=(b"x" for _ in range(1000)), pause_s=0.01)
    assert slow.status == 408
    assert slow.read < 100


def test_only_a_few_pictures_come_at_once(app, monkeypatch):
    monkeypatch.setattr(guard, "UPLOADS", 0)
    assert sent(app, path="/api/bins/north/photos").status == 429
    assert sent(app).status == 200


# --- how often ---------------------------------------------------------------------------------------


def test_a_device_that_runs_wild_waits(tmp_path):
    tick = Tick()
    app = small_app(tmp_path, lan=True, tick=tick)
    token = app.state.devices.add("phone", clock())
    with phone(app, token) as browser, phone(app, token, "192.168.1.21") as other:
        assert {browser.get("/hello").status_code for _ in range(120)} == {200}
        late = browser.get("/hello")
        assert late.status_code == 429
        assert int(late.headers["Retry-After"]) >= 1
        assert other.get("/hello").status_code == 200
        tick.now += 1
        assert [browser.get("/hello").status_code for _ in range(31)] == [200] * 30 + [429]


def test_pairing_is_tried_five_times_a_minute_by_one_and_twenty_times_by_all(tmp_path):
    tick = Tick()
    app = small_app(tmp_path, lan=True, tick=tick)
    csrf = {"X-CSRF-Token": csrf_token(app.state.devices.secret, "nobody")}

    def tries(address, times):
        with phone(app, address=address) as browser:
            return [browser.post("/pair", data={"code": "1"}, headers=csrf).status_code for _ in range(times)]

    assert tries("192.168.1.30", 7) == [403] * 5 + [429] * 2
    others = [status for n in range(31, 41) for status in tries(f"192.168.1.{n}", 2)]
    assert others == [403] * 15 + [429] * 5
    tick.now += 12
    assert tries("192.168.1.30", 2) == [403, 429]


def test_neighbours_within_one_ipv6_network_are_one():
    assert guard._neighbour("fd00::1") == guard._neighbour("fd00::ffff:1") != guard._neighbour("fd00:0:0:1::1")
    assert guard._neighbour("::ffff:192.168.1.5") == guard._neighbour("192.168.1.5") != guard._neighbour("192.168.1.6")


def test_buckets_do_not_grow_with_the_crowd():
    buckets = limits.Buckets(1, 1, Tick())
    for n in range(limits.CROWD * 2):
        buckets.wait(n)
    assert len(buckets._held) == limits.CROWD


# --- what every answer bears -------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/hello", "/pair", "/nothing-here", "/a\\b"])
def test_every_answer_bears_the_headers(app, path):
    answer = ask(app, path)
    policy = dict(part.strip().split(" ", 1) for part in answer.header("content-security-policy").split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert "unsafe" not in str(policy)
    assert policy["style-src"].startswith("'self' 'nonce-")
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert answer.header("x-content-type-options") == "nosniff"
    assert answer.header("referrer-policy") == "no-referrer"
    assert answer.header("cache-control") == "no-store"
    assert answer.header("cross-origin-opener-policy") == answer.header("cross-origin-resource-policy") == "same-origin"
    assert not [name for name, _ in answer.headers if name in {"strict-transport-security", "server"}]


def test_a_nonce_is_used_once(app):
    assert len({ask(app, "/hello").header("content-security-policy") for _ in range(10)}) == 10
