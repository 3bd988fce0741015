"""The pages where a phone is paired with the journal, and where paired devices are listed and revoked."""

from __future__ import annotations

from typing import Annotated

import segno
from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import RedirectResponse, Response
from markupsafe import Markup

from underlid.web.certificate import as_pem, authority_of, fingerprint
from underlid.web.devices import Devices, Pairing, WrongCode
from underlid.web.guard import device_of, set_cookie
from underlid.web.keepers import asker_of, keepers_of
from underlid.web.network import home_addresses, home_name, in_a_link
from underlid.web.parts import SettingsPart, page, settings_of, told
from underlid.web.settings import Settings

router = APIRouter(include_in_schema=False)


def home_port(settings: Settings) -> int:
    """The port for other devices, by https: the one after this computer's own."""
    return settings.port + 1


def home_links(settings: Settings) -> tuple[str, ...]:
    """Where other devices find the journal: by address first, as not every phone knows `.local` names."""
    names = (*home_addresses(settings.host), home_name())
    return tuple(f"https://{in_a_link(name)}:{home_port(settings)}" for name in names)


def pairing_link(settings: Settings, digits: str) -> str:
    """What the QR code holds."""
    return f"{home_links(settings)[0]}/pair?code={digits}"


def pairing_page(request: Request, sentence: str = "", status: int = 200, code: str = "", name: str = "") -> Response:
    """The page that asks for the pairing code."""
    return page(request, "pair.html", status=status, sentence=sentence, code=code, name=name)


def _devices(request: Request) -> Devices:
    return request.app.state.devices  # type: ignore[no-any-return]


def _pairing(request: Request) -> Pairing:
    return request.app.state.pairing  # type: ignore[no-any-return]


@router.get("/pair")
def pair(request: Request, code: str = "") -> Response:
    """Ask for the code, filled in where the QR code brought it along."""
    return pairing_page(request, code=code if code.isascii() and code.isdecimal() and len(code) <= 12 else "")


@router.post("/pair")
def paired(
    request: Request,
    settings: SettingsPart,
    code: Annotated[str, Form(max_length=40)] = "",
    name: Annotated[str, Form(max_length=200)] = "",
) -> Response:
    """Pair the device that knows the code."""
    if request.state.here:
        return RedirectResponse("/devices", 303)
    called = " ".join(name.split())[:40] or "a device without a name"
    try:
        keeper = _pairing(request).spend(code)
    except WrongCode as error:
        return pairing_page(request, str(error), 403, name=called)
    response = RedirectResponse("/", 303)
    set_cookie(response, _devices(request).add(called, settings.now(), keeper))
    return response


@router.get("/devices")
def devices(request: Request, settings: SettingsPart) -> Response:
    """The paired devices; on this computer also the code and what a phone should show of the certificate."""
    code = _pairing(request).code if request.state.here and settings.lan else None
    authority = authority_of(settings.journal) if settings.lan else None
    return page(
        request, "devices.html", devices=_devices(request).all(), own=device_of(request), here=request.state.here,
        code=code, qr=_qr(pairing_link(settings, code.digits)) if code else "", links=home_links(settings),
        fingerprint=fingerprint(authority) if authority else "", keepers=keepers_of(settings),
    )  # fmt: skip


@router.post("/devices/code")
def new_code(request: Request, settings: SettingsPart, keeper: Annotated[str, Form(max_length=200)] = "") -> Response:
    """Make a pairing code, for a device of one of the keepers if there are several.

    Only this computer may: a stolen phone must not be able to let others in.
    """
    if not request.state.here:
        return told(request, "A pairing code is made on the journal's own computer.", 403)
    if not settings.lan:
        return told(request, "Other devices are not served; start with underlid serve --lan.", 409)
    known = keepers_of(settings)
    if known and keeper not in known:
        return told(request, f"Say whose device it is: {', '.join(known)}.", 422)
    _pairing(request).renew(keeper if known else "")
    return RedirectResponse("/devices", 303)


@router.post("/devices/{number}/revoke")
def revoke(request: Request, settings: SettingsPart, number: Annotated[int, Path(ge=1, le=2**62)]) -> Response:
    """Let a device in no longer; where there are several keepers, one's own, or as a steward any."""
    own = device_of(request)
    if keepers_of(settings) and own is not None and own.id != number:
        asker = asker_of(request)
        if asker is None or asker.role != "steward":
            return told(request, "Only a steward may revoke the device of another; you may revoke this one.", 403)
    _devices(request).revoke(number)
    return RedirectResponse("/devices", 303)


@router.get("/underlid-ca.crt")
def authority(request: Request) -> Response:
    """The certificate authority, to install on a phone."""
    settings = settings_of(request)
    found = authority_of(settings.journal) if settings.lan else None
    if found is None:
        return told(request, "There is no certificate to install: the journal is served to its own computer only.", 404)
    return Response(as_pem(found), media_type="application/x-x509-ca-cert")


def _qr(link: str) -> Markup:
    """A QR code as SVG, without style attributes and dark on light in every colour scheme."""
    return Markup(segno.make(link, micro=False).svg_inline(scale=5, dark="#000", light="#fff"))
