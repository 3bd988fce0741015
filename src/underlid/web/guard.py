"""What stands before every page: who asks, from where, how often, how much, and whether they meant to.

    guard.protect(app, settings)

A request passes, in this order: well-formed, addressed to this computer by a name of its own (which stops DNS
rebinding), from this computer or the home network, not too often, from here or a paired device, not too large; and what
would change anything must come from a page of ours, by its origin and by a token that only such a page can read.
Every response leaves with the headers that keep a browser from doing more than the page needs.
docs/security-web.md says which threat each of these stands against.
"""

from __future__ import annotations

import re
import secrets
import time
from collections.abc import Callable

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from underlid.web.devices import DamagedDevices, Device, Devices, Pairing
from underlid.web.limits import (
    BODY_BYTES,
    BODY_SECONDS,
    HEAD_BYTES,
    PHOTO_BYTES,
    PHOTO_SECONDS,
    UPLOADS,
    Body,
    Buckets,
    Refused,
    too_large,
)
from underlid.web.meant import OWN_SITE, csrf_token, meant
from underlid.web.network import LOOPBACK_NAMES, address_of, home_name, in_a_link, is_here, is_home
from underlid.web.settings import Settings

COOKIE = "__Host-underlid"  # the prefix makes browsers insist on Secure, Path=/ and this host alone
COOKIE_LASTS_S = 400 * 24 * 3600  # the longest that browsers keep one; sent again on every visit
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
#: What a device sees before it is paired: the pairing page and what that needs.
BEFORE_PAIRING = frozenset({"/pair", "/underlid-ca.crt", "/static/style.css", "/static/icon.svg"})
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'nonce-{nonce}'; img-src 'self' data: blob:; "
    "media-src 'self'; frame-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
_PHOTO_PATH = re.compile(r"/api/bins/[^/]+/photos")


def protect(app: FastAPI, settings: Settings, tick: Callable[[], float] = time.monotonic) -> None:
    """Stand before every route of the app, and add the pages where devices are paired and revoked.

    tick : seconds that only go forward, for how often one may ask
    """
    from underlid.web import reaching

    app.state.devices = Devices(settings.journal)
    app.state.pairing = Pairing(settings.now)
    app.add_middleware(Guard, settings=settings, devices=app.state.devices, tick=tick)
    app.include_router(reaching.router)


class Guard:
    """The middleware. `request.state` holds what it found out: `here`, `device`, `csrf` and `nonce`."""

    def __init__(self, app: ASGIApp, settings: Settings, devices: Devices, tick: Callable[[], float]) -> None:
        self.app, self.settings, self.devices = app, settings, devices
        self._asked_here = Buckets(300, 1200, tick)
        self._asked = Buckets(30, 120, tick)
        self._paired = Buckets(5 / 60, 5, tick)
        self._paired_by_all = Buckets(20 / 60, 20, tick)
        self._uploads = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or say why not."""
        if scope["type"] == "lifespan":
            return await self.app(scope, receive, send)
        if scope["type"] != "http":
            return await send({"type": "websocket.close", "code": 1008})
        request = Request(scope)
        state = request.state
        state.nonce, state.here, state.device, state.csrf = secrets.token_urlsafe(16), False, None, ""
        state.body = None
        send = _dressed(request, send)
        try:
            self._admit(request)
            limit, seconds = (PHOTO_BYTES, PHOTO_SECONDS) if _is_photo(request) else (BODY_BYTES, BODY_SECONDS)
            receive = state.body = Body(receive, limit, seconds)
            _refuse_declared(request, limit)
            if request.method not in SAFE:
                receive = await meant(request, receive)
            await self._pass_on(request, receive, send)
        except Refused as refused:
            await _said(request, refused)(scope, receive, send)
        except DamagedDevices as error:
            await _said(request, Refused(503, str(error)))(scope, receive, send)

    def _admit(self, request: Request) -> None:
        """Refuse who may not ask at all; note who does."""
        _refuse_malformed(request)
        state, headers = request.state, request.headers
        state.here = is_here(_client(request))
        if not _addressed_here(request, self.settings):
            raise Refused(
                421, "This address is not one of the journal's own; open it by the address that underlid serve prints."
            )
        if not state.here:
            if not self.settings.lan:
                raise Refused(403, "This journal is open to its own computer only; start it with --lan for others.")
            if not (is_home(_client(request)) and is_home(_server(request)[0])):
                raise Refused(403, "This journal is open to the home network only.")
        self._refuse_too_often(request)
        self._recognise(request)
        if not (state.here or state.device or request.scope["path"] in BEFORE_PAIRING):
            raise Refused(401, "This device is not paired with the journal.", {"WWW-Authenticate": "Pairing"})
        if headers.get("sec-fetch-site") not in OWN_SITE and headers.get("sec-fetch-mode") != "navigate":
            raise Refused(403, "Another page asked for this; only the journal's own pages may.")

    def _refuse_too_often(self, request: Request) -> None:
        """Whoever guesses, floods or runs wild waits. Comes before anything that costs us more than memory."""
        address = _neighbour(_client(request))
        wait = (self._asked_here if request.state.here else self._asked).wait(address)
        if request.scope["path"] == "/pair" and request.method not in SAFE and not wait:
            wait = self._paired.wait(address) or self._paired_by_all.wait("all")
        if wait:
            seconds = int(wait) + 1
            raise Refused(
                429, f"That is too often; wait {seconds} s, then try again.",
                {"Retry-After": str(seconds)},
            )  # fmt: skip

    def _recognise(self, request: Request) -> None:
        state = request.state
        who = "this computer"
        if not state.here:
            token = request.cookies.get(COOKIE)
            state.device = None if token is None else self.devices.of(token)
            who = "nobody" if state.device is None else state.device.key.hex()
            if token and state.device and self.devices.saw(state.device, self.settings.now()):
                state.cookie_again = token
        state.csrf = csrf_token(self.devices.secret, who)

    async def _pass_on(self, request: Request, receive: Receive, send: Send) -> None:
        if not _is_photo(request):
            return await self.app(request.scope, receive, send)
        if self._uploads >= UPLOADS:
            raise Refused(
                429, f"{UPLOADS} pictures are on their way already; try again when they are done.",
                {"Retry-After": "5"},
            )  # fmt: skip
        self._uploads += 1
        try:
            await self.app(request.scope, receive, send)
        finally:
            self._uploads -= 1


def set_cookie(response: Response, token: str) -> None:
    """Give a device its token. Scripts cannot read it, and no other site's page makes a browser send it."""
    response.headers.append("Set-Cookie", _cookie(token))


def _cookie(token: str) -> str:
    return f"{COOKIE}={token}; Path=/; Max-Age={COOKIE_LASTS_S}; Secure; HttpOnly; SameSite=Strict"


def _client(request: Request) -> str | None:
    return request.client.host if request.client else None


def _server(request: Request) -> tuple[str | None, int | None]:
    """The own end of the connection, which nobody can forge."""
    return request.scope.get("server") or (None, None)


def _neighbour(text: str | None) -> str:
    """What counts as one asker: an IPv4 address, or the 64-bit network of an IPv6 one, within which all are free."""
    address = address_of(text)
    return str(text) if address is None else address.exploded[:19] if address.version == 6 else str(address)


def _is_photo(request: Request) -> bool:
    return request.method == "POST" and _PHOTO_PATH.fullmatch(request.scope["path"]) is not None


def _refuse_malformed(request: Request) -> None:
    """What two servers could read in two ways, and paths that no page has."""
    scope = request.scope
    names = [name for name, _ in scope["headers"]]
    head = (
        len(scope["path"]) + len(scope["query_string"]) + sum(len(name) + len(said) for name, said in scope["headers"])
    )
    if head > HEAD_BYTES:
        raise Refused(431, "The request's address and headers are too long.")
    if names.count(b"content-length") + names.count(b"transfer-encoding") > 1:
        raise Refused(400, "The request says twice how long it is.")
    path: str = scope["path"]
    if not path.startswith("/") or path.startswith("//") or any(c == "\\" or ord(c) < 32 or c == "\x7f" for c in path):
        raise Refused(400, "That is not the address of a page.")
    if names.count(b"host") != 1:
        raise Refused(400, "The request does not say, or says twice, whom it is for.")


def _addressed_here(request: Request, settings: Settings) -> bool:
    """Whether Host is a name that only this computer has; a name that somebody else's DNS points here is not."""
    address, port = _server(request)
    names = set(LOOPBACK_NAMES) if request.state.here else set()
    if address_of(address) is not None:
        names.add(in_a_link(str(address_of(address))))
    if settings.lan:
        names.add(home_name())
    host = request.headers["host"].lower()
    usual = {"http": 80, "https": 443}[request.scope["scheme"]]
    return host in {f"{name}:{port}" for name in names} or (port == usual and host in names)


def _refuse_declared(request: Request, limit: int) -> None:
    declared = request.headers.get("content-length", "0")
    if not declared.isdecimal():
        raise Refused(400, "The request does not say how long it is.")
    if len(declared) > 15 or int(declared) > limit:
        raise too_large(limit)


def _said(request: Request, refused: Refused) -> Response:
    """A refusal as the one who asked reads it."""
    if request.scope["path"].startswith("/api/"):
        response: Response = JSONResponse({"error": refused.detail}, refused.status_code)
    elif refused.status_code == 401:
        from underlid.web.reaching import pairing_page

        response = pairing_page(request, refused.detail, 401)
    else:
        response = PlainTextResponse(f"{refused.detail}\n", refused.status_code)
    response.headers.update(refused.headers or {})
    return response


def _is_sending(request: Request) -> bool:
    """Whether more of the body is to come, though it is answered already."""
    declares = request.headers.get("content-length", "0") != "0" or "transfer-encoding" in request.headers
    body: Body | None = request.state.body
    return declares and (body is None or not body.whole)


def _dressed(request: Request, send: Send) -> Send:
    """Send with the headers that every response bears."""

    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            policy = getattr(request.state, "policy", None)  # of a page that is shown by itself
            usual = _POLICY.format(nonce=request.state.nonce)
            headers.update({**HEADERS, "Content-Security-Policy": policy or usual})
            if policy is not None:
                headers["X-Frame-Options"] = "SAMEORIGIN"
                headers["Cross-Origin-Opener-Policy"] = "unsafe-none"  # with a sandbox, HTML allows no other
            headers.setdefault("Cache-Control", "no-store")
            if _is_sending(request):
                headers["Connection"] = "close"  # or the rest would be read, if only to throw it away
            if again := getattr(request.state, "cookie_again", None):
                headers.append("Set-Cookie", _cookie(again))
        await send(message)

    return dressed


def device_of(request: Request) -> Device | None:
    """The paired device that asks; None on this computer."""
    found: Device | None = request.state.device
    return found
