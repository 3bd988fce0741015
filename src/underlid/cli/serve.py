"""The serve command: the journal's pages, for this computer alone or for paired devices on the home network too."""

from __future__ import annotations

import os
import socket
import threading
import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from underlid.cli.options import DEFAULT_JOURNAL, JournalOption, NotOneOf, PastOption, PlaceOption, place_of

if TYPE_CHECKING:
    from underlid.web.certificate import HomeCertificate
    from underlid.web.devices import Code
    from underlid.web.settings import Settings


BACKUP_EVERY_S = 3600.0  # how often it is looked whether one is due


class PortTaken(ValueError):
    """Another program listens there."""


class NoHomeNetwork(ValueError):
    """This computer has no address that only a home network reaches."""


def serve(
    journal: JournalOption = DEFAULT_JOURNAL,
    weather: Annotated[
        Path | None,
        typer.Option("--weather", "-w", envvar="UNDERLID_WEATHER", help="Weather file, as outlook takes."),
    ] = None,
    past: PastOption = None,
    place: PlaceOption = None,
    port: Annotated[
        int, typer.Option(min=1, max=65534, help="Port on this computer; with --lan others use the next one.")
    ] = 8765,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let paired devices on the home network in too, by https.")
    ] = False,
    host: Annotated[
        str | None, typer.Option(help="With --lan: the one address of this computer where others reach it.")
    ] = None,
    backup_to: Annotated[
        Path | None,
        typer.Option("--backup-to", envvar="UNDERLID_BACKUPS", help="Folder to make a backup in, once a day."),
    ] = None,
) -> None:
    """Show the journal's pages in a browser: on this computer alone, or with --lan on paired phones too."""
    from underlid.journal.errors import NoJournal
    from underlid.journal.store import Journal
    from underlid.web.settings import Settings

    if host is not None and not lan:
        raise NotOneOf("--host opens the journal to other devices; say --lan too if that is what you want.")
    for path in (*([] if weather is None else [weather]), *(past or [])):
        path.open("rb").close()  # a name that is wrong is said now, not by the first page
    try:
        with Journal.open(journal) as book:
            book.check()  # what is damaged is said now, before more is written
    except NoJournal:
        Journal.create(journal).close()
        print(f"A new journal was made in {journal}.")
    settings = Settings(
        journal=journal, weather=weather, past=tuple(past or ()), place=place_of(place),
        host=(host or "0.0.0.0") if lan else "127.0.0.1", port=port, lan=lan,
    )  # fmt: skip
    if backup_to is not None:
        threading.Thread(target=_back_up, args=(settings, backup_to), name="underlid backup", daemon=True).start()
    with closing(listen("127.0.0.1", port)) as here:
        if not lan:
            _run(settings, here, None, None)
            return
        certificate = _certificate(settings)
        with closing(listen(settings.host, port + 1)) as home:
            _run(settings, here, home, certificate)


def listen(host: str, port: int) -> socket.socket:
    """A socket that listens. Raises PortTaken, or OSError where that address or port is not ours to use."""
    made = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere this would let two programs share a port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((host, port))
        made.listen(128)
    except OSError as error:
        made.close()
        import errno

        if error.errno == errno.EADDRINUSE:
            raise PortTaken(
                f"Port {port} is in use, perhaps by another underlid serve; end that one, or choose another port, "
                f"such as --port {port + 2 if port < 65000 else port - 2}."
            ) from None
        raise OSError(error.errno, f"{host} port {port} cannot be used: {error.strerror}") from None
    return made


def _certificate(settings: Settings) -> HomeCertificate:
    from underlid.web.certificate import home_certificate
    from underlid.web.network import EVERYWHERE, home_addresses, home_name

    found = home_addresses(settings.host)
    if not found and settings.host in EVERYWHERE:
        raise NoHomeNetwork("This computer is on no home network: connect it to one first.")
    if not found:
        raise NoHomeNetwork(
            f"--host {settings.host} is no address of a home network; leave it out, or give this computer's own, such "
            "as 192.168.1.5."
        )
    return home_certificate(settings.journal, (*found, home_name()), settings.now())


def _run(
    settings: Settings, here: socket.socket, home: socket.socket | None, certificate: HomeCertificate | None
) -> None:
    from underlid.web.app import create_app
    from underlid.web.keepers import keepers_of
    from underlid.web.server import HomeServer, config_of

    app = create_app(settings)
    address = f"http://127.0.0.1:{settings.port}"
    print(f"The journal in {settings.journal} is open at {address}/ for this computer. Ctrl-C ends it.", flush=True)
    if home is not None and certificate is not None:
        app.state.pairing.tell = lambda code: print(f"Wrong codes were tried; the new one is {code.shown}.", flush=True)
        stewards = [one.name for one in keepers_of(settings).values() if one.role == "steward"]
        _invite(settings, app.state.pairing.renew(stewards[0] if stewards else ""), certificate, f"{address}/devices")
    tls = None if home is None or certificate is None else (home, certificate.context())
    HomeServer(config_of(app), tls).run(sockets=[here])


def _back_up(settings: Settings, folder: Path) -> None:
    """Make a backup where the last is a day old, for as long as the server runs; what fails is tried again."""
    from underlid.journal.backup import automatic
    from underlid.journal.errors import JournalError

    while True:
        try:
            automatic(settings.journal, folder, settings.now())
        except (JournalError, ValueError, OSError) as error:
            print(f"No backup was made: {error}", flush=True)
        time.sleep(BACKUP_EVERY_S)


def _invite(settings: Settings, code: Code, certificate: HomeCertificate, devices: str) -> None:
    """Print what a phone needs."""
    import segno

    from underlid.web.certificate import fingerprint
    from underlid.web.reaching import home_links, pairing_link

    print(f"For devices on your home network: {' or '.join(f'{link}/' for link in home_links(settings))}")
    segno.make(pairing_link(settings, code.digits), micro=False).terminal(compact=True)
    whose = f" of {code.keeper}" if code.keeper else ""
    print(
        f"Scan this with the phone, or open {home_links(settings)[0]}/pair there. Pairing code: {code.shown}, for one "
        f"device{whose}, for ten minutes. More codes, and what is paired: {devices}\n"
        "The phone will warn that it does not know this computer. Before you install its certificate there, compare\n"
        f"the fingerprint (SHA-256): {fingerprint(certificate.authority)}",
        flush=True,
    )
