"""`underlid serve` as a process of its own: where it listens, whom it lets in, and how it ends."""

import contextlib
import http.client
import os
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from underlid.cli import serve
from underlid.web import network, server
from underlid.web.certificate import as_pem, home_certificate
from underlid.web.guard import COOKIE

COMMAND = "from underlid.cli import main; main()"


def free_port():
    """A port that is free, and the next one too."""
    for _ in range(50):
        with socket.socket() as one, socket.socket() as two:
            one.bind(("127.0.0.1", 0))
            port = one.getsockname()[1]
            with contextlib.suppress(OSError, OverflowError):
                two.bind(("0.0.0.0", port + 1))
                return port
    raise AssertionError("no two free ports in a row")


def command(journal, *words):
    return [sys.executable, "-W", "error", "-c", COMMAND, "serve", "--journal", str(journal), *map(str, words)]


def refused(journal, *words):
    ended = subprocess.run(command(journal, *words), capture_output=True, text=True, timeout=60)
    assert ended.returncode == 2, ended.stderr
    assert "Traceback" not in ended.stderr
    return ended.stderr


@contextlib.contextmanager
def served(journal, *words):
    """The server, its port and what it printed until it answered; it has ended when this is left."""
    port = free_port()
    process = subprocess.Popen(
        command(journal, "--port", port, *words), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    printed: list[str] = []
    assert process.stdout is not None
    reader = threading.Thread(target=lambda out: printed.extend(out), args=(process.stdout,))
    reader.start()
    try:
        wait_for(port, process, printed)
        yield process, port, printed
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(30)
        finally:
            process.kill()
            reader.join()
            process.stdout.close()


def wait_for(port, process, printed):
    """Until it answers."""
    for _ in range(600):
        assert process.poll() is None, "".join(printed)
        asking = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        with contextlib.suppress(OSError, http.client.HTTPException), contextlib.closing(asking):
            asking.request("GET", "/devices")
            asking.getresponse().read()
            return
        time.sleep(0.1)
    raise AssertionError("it never answered")


def listening(pid):
    """The addresses on which a process listens, from the kernel's own tables."""
    inodes = set()
    for link in Path(f"/proc/{pid}/fd").iterdir():
        with contextlib.suppress(FileNotFoundError):  # closed meanwhile
            if match := re.fullmatch(r"socket:\[(\d+)\]", os.readlink(link)):
                inodes.add(match[1])
    found = []
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            _, local, _, state, *rest = line.split()
            if state == "0A" and rest[5] in inodes:
                address, port = local.split(":")
                found.append((address, int(port, 16)))
    return sorted(found)


LOOPBACK, ANY = "0100007F", "00000000"  # as /proc writes IPv4 addresses on small-endian machines
linux_only = pytest.mark.skipif(
    sys.platform != "linux" or sys.byteorder != "little", reason="reads the kernel's table of sockets"
)


@linux_only
def test_it_listens_to_this_computer_only_unless_asked(tmp_path):
    journal = tmp_path / "new"
    with served(journal) as (process, port, printed):
        assert listening(process.pid) == [(LOOPBACK, port)]
        assert f"http://127.0.0.1:{port}/" in "".join(printed)
        assert not (journal / "web" / "ca.pem").exists()
    assert process.returncode == 0
    assert "Traceback" not in "".join(printed)
    assert "A new journal was made" in "".join(printed)
    assert (journal / "journal.sqlite").is_file()


@linux_only
def test_on_the_home_network_by_https_with_the_home_certificate(journal):
    if not (addresses := network.home_addresses("0.0.0.0")):
        pytest.skip("this machine is on no home network")
    with served(journal, "--lan") as (process, port, printed):
        assert listening(process.pid) == [(ANY, port + 1), (LOOPBACK, port)]
        said = "".join(printed)
        link = f"https://{addresses[0]}:{port + 1}"
        assert f"{link}/" in said
        authority = httpx.get(f"http://127.0.0.1:{port}/underlid-ca.crt").text
        assert "PRIVATE" not in authority
        with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
            httpx.get(f"{link}/pair")
        with pytest.raises(httpx.HTTPError):
            httpx.get(f"http://{addresses[0]}:{port + 1}/pair")  # never in the clear
        with httpx.Client(verify=ssl.create_default_context(cadata=authority), base_url=link) as phone:
            assert phone.get("/").status_code == 401
            page = phone.get("/pair").text
            code = re.search(r"Pairing code: (\d{4} \d{4})", said)
            csrf = re.search(r'name="csrf" value="(\w+)"', page)
            assert code is not None
            assert csrf is not None
            answer = phone.post("/pair", data={"csrf": csrf[1], "code": code[1], "name": "Ada's phone"})
            assert answer.status_code == 303
            assert COOKIE in phone.cookies
            listed = phone.get("/devices")
            assert (listed.status_code, "Ada&#39;s phone" in listed.text) == (200, True)
    assert process.returncode == 0


def test_a_port_in_use_is_said_in_one_sentence(journal):
    port = free_port()
    with contextlib.closing(serve.listen("127.0.0.1", port)):
        said = refused(journal, "--port", port)
    assert said.startswith(f"underlid: Port {port} is in use")
    assert said.count("\n") == 1
    assert f"--port {port + 2}" in said


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"host": "192.168.1.5"}, "say --lan too"),
        ({"lan": True, "host": "203.0.113.9"}, "no address of a home network"),
        ({"lan": True, "host": "127.0.0.1"}, "no address of a home network"),
        ({"place": "here"}, "latitude"),
    ],
)
def test_what_cannot_be_served_is_said(journal, asked, said):
    with pytest.raises(ValueError, match=said) as error:
        serve.serve(journal, port=free_port(), **asked)
    assert type(error.value).__module__.startswith("underlid.")
    with pytest.raises(FileNotFoundError, match="no-such"):
        serve.serve(journal, weather=journal / "no-such.csv")


@contextlib.contextmanager
def in_a_thread(app, tls=None):
    """The server of `serve` around any app, on a port of this computer."""
    port = free_port()
    with contextlib.closing(serve.listen("127.0.0.1", port)) as here:
        running = server.HomeServer(server.config_of(app), tls)
        thread = threading.Thread(target=running.run, args=([here],))
        thread.start()
        try:
            while not running.started:
                time.sleep(0.01)
            yield port
        finally:
            running.should_exit = True
            thread.join()


def told(port, *parts):
    """What the server says to bytes as they are, until it closes the connection; and how many it took."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as raw:
        taken = 0
        with contextlib.suppress(OSError):
            for part in parts:
                raw.sendall(part)
                taken += len(part)
        answer = b""
        with contextlib.suppress(OSError):
            while got := raw.recv(65_536):
                answer += got
        return answer, taken


async def quiet_app(scope, receive, send):
    """An app that answers whatever it is asked."""
    if scope["type"] == "lifespan":
        for word in ("startup", "shutdown"):
            assert (await receive())["type"] == f"lifespan.{word}"
            await send({"type": f"lifespan.{word}.complete"})
        return
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"0")]})
    await send({"type": "http.response.body"})


@pytest.mark.parametrize(
    "lines",
    [
        "GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n",
        "GET / HTTP/1.1\r\n\r\n",
        "POST / HTTP/1.1\r\nHost: a\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello!",
        "POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: xchunked\r\n\r\n",
        "POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding : chunked\r\n\r\n0\r\n\r\n",
        "GET / HTTP/1.1\r\nHost: a\r\nX: 1\r\n  folded\nX: 2\x00\r\n\r\n",
        "GET /\r\nHost: a\r\n\r\n",
        "\x16\x03\x01",
        "GET /" + "a" * 2_000_000 + " HTTP/1.1\r\nHost: a\r\n\r\n",
        "GET / HTTP/1.1\r\nHost: a\r\nX: " + "a" * 2_000_000 + "\r\n\r\n",
    ],
)
def test_requests_that_are_none_are_refused_before_the_app(lines):
    with in_a_thread(quiet_app) as port:
        answer, _ = told(port, lines.encode("latin-1"), b"\r\n\r\n")
    assert re.match(rb"HTTP/1.1 (4|501)", answer), answer
    assert b"200" not in answer.splitlines()[0]


def test_a_connection_without_a_request_is_closed(monkeypatch):
    monkeypatch.setattr(server, "SILENT_S", 0.1)
    with in_a_thread(quiet_app) as port:
        assert told(port) == (b"", 0)
        slow = b"GET / HTTP/1.1\r\nHost: a\r\nX: never ends"
        assert told(port, slow) == (b"", len(slow))
        answer, _ = told(port, b"GET / HTTP/1.1\r\nHost: a\r\n\r\n")
    assert answer.startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize("length", ["Content-Length: 1000000000", "Transfer-Encoding: chunked"])
@pytest.mark.parametrize("kind", ["multipart/form-data; boundary=b", "application/json"])
def test_a_gigabyte_over_the_wire_is_cut_off(client, length, kind):
    """The app behind a real socket: the server answers and closes, and the rest is never taken."""
    part = b'--b\r\nContent-Disposition: form-data; name="picture"; filename="a.jpg"\r\n\r\n'
    chunk = b"x" * 1_000_000
    parts = [part, *[chunk] * 1000]
    if length.startswith("Transfer"):
        parts = [f"{len(part):x}\r\n".encode() + part + b"\r\n" for part in parts]
    with in_a_thread(client.app) as port:
        head = f"POST /api/bins/north/photos HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{length}\r\nContent-Type: {kind}\r\n"
        token = f"X-CSRF-Token: {client.headers['X-CSRF-Token']}\r\n\r\n"
        answer, taken = told(port, f"{head}{token}".encode(), *parts)
    assert taken < 60_000_000
    assert not answer or answer.startswith((b"HTTP/1.1 413", b"HTTP/1.1 422"))  # a reset may overtake the answer


def test_https_by_the_server_itself(tmp_path):
    made = home_certificate(tmp_path, ("127.0.0.1", "shed.local"), datetime.now(UTC))
    port = free_port()
    home = serve.listen("127.0.0.1", port)
    with in_a_thread(quiet_app, (home, made.context())):
        trusting = ssl.create_default_context(cadata=as_pem(made.authority).decode())
        assert httpx.get(f"https://127.0.0.1:{port}/", verify=trusting).status_code == 200
        with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
            httpx.get(f"https://127.0.0.1:{port}/")
        old = ssl.create_default_context(cadata=as_pem(made.authority).decode())
        old.minimum_version = ssl.TLSVersion.MINIMUM_SUPPORTED
        with pytest.warns(DeprecationWarning, match="TLSv1_1"):
            old.maximum_version = ssl.TLSVersion.TLSv1_1
        with pytest.raises(httpx.ConnectError):
            httpx.get(f"https://127.0.0.1:{port}/", verify=old)
