"""A real server of a journal: the serve command in a process of its own, which may be killed and started again."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

_SERVE = "import typer; from underlid.cli.serve import serve; typer.run(serve)"
PATIENCE_S = 60.0  # before a server is given up


def free_port():
    """A port of five digits that nobody listens on."""
    while True:
        with socket.socket() as tried:
            tried.bind(("127.0.0.1", 0))
            port = tried.getsockname()[1]
        if 10_000 <= port < 65_000:
            return port


class Served:
    """Serves a journal folder; `here` is its address, the same after every start."""

    def __init__(self, folder: Path, log: Path, options: tuple[str, ...] = ()) -> None:
        self.folder, self.log, self.options = folder, log, options
        self.port = free_port()
        self.here = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start and wait until it answers."""
        words = [sys.executable, "-c", _SERVE, "--journal", str(self.folder), "--port", str(self.port), *self.options]
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(words, stdout=log, stderr=log, stdin=subprocess.DEVNULL)
        until = time.monotonic() + PATIENCE_S
        while not self._answers():
            if self._process.poll() is not None or time.monotonic() > until:
                self.stop()
                raise RuntimeError(f"The server did not start; its log says:\n{self.log.read_text()}")
            time.sleep(0.05)

    def kill(self) -> None:
        """As a power cut would."""
        if self._process is not None:
            os.kill(self._process.pid, signal.SIGKILL)
            self._process.wait()
            self._process = None

    def stop(self) -> None:
        """Ask it to end, and see to it."""
        if self._process is None:
            return
        self._process.terminate()
        try:
            self._process.wait(15)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._process = None

    def _answers(self) -> bool:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
        try:
            line.request("GET", "/static/icon.svg")
            return line.getresponse().status == 200
        except OSError:
            return False
        finally:
            line.close()
