"""Whether a request that would change something was meant: sent by a page of ours, not by somebody else's."""

from __future__ import annotations

import hmac
import re
from urllib.parse import parse_qs

from fastapi import Request
from starlette.types import Message, Receive

from underlid.web.limits import BODY_BYTES, Refused

#: What browsers say of a request by a page of ours, or by hand; older ones say nothing.
OWN_SITE = frozenset({None, "same-origin", "none"})
_FIRST_FIELD = re.compile(
    rb'--[^\r\n]+\r\ncontent-disposition: form-data; name="csrf"\r\n\r\n([^\r\n]{1,200})\r\n', re.I
)
_PEEK_BYTES = 2048  # of a multipart form, whose first field is the token


def csrf_token(secret: bytes, who: str) -> str:
    """The token that shows a request to come from a page of ours; another for each device, the same after a restart."""
    return hmac.digest(secret, f"csrf:{who}".encode(), "sha256").hex()


async def meant(request: Request, receive: Receive) -> Receive:
    """Refuse what a page of somebody else sent, as a form or by script; the body can be read again afterwards."""
    site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    own = f"{request.scope['scheme']}://{request.headers['host']}".lower()
    # Under “no-referrer” browsers call the origin of our own forms “null” too; there the token decides.
    if site not in OWN_SITE or origin not in {None, "null", own}:
        raise Refused(403, "Another site sent this; only the journal's own pages may.")
    given = request.headers.get("x-csrf-token")
    if given is None:
        given, receive = await _token_in_form(request, receive)
    if not hmac.compare_digest(given.encode(), request.state.csrf.encode()):
        raise Refused(403, "This page is out of date or not the journal's own; open it anew, then send this again.")
    return receive


async def _token_in_form(request: Request, receive: Receive) -> tuple[str, Receive]:
    """The token in a form's field, and the body from its beginning."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    most = {"application/x-www-form-urlencoded": BODY_BYTES, "multipart/form-data": _PEEK_BYTES}.get(kind, 0)
    read: list[Message] = []
    body = b""
    while most and len(body) <= most:
        read.append(await receive())
        body += read[-1].get("body", b"")
        if not read[-1].get("more_body", False):
            break
    token = ""
    if kind == "multipart/form-data" and (found := _FIRST_FIELD.match(body)):
        token = found[1].decode("latin-1")
    elif kind != "multipart/form-data":
        token = _field(body)

    async def again() -> Message:
        return read.pop(0) if read else await receive()

    return token, again


def _field(body: bytes) -> str:
    try:
        return parse_qs(body.decode("utf-8", "replace"), max_num_fields=1000).get("csrf", [""])[0]
    except ValueError:  # too many fields
        return ""
