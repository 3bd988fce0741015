"""A wire between a browser and the server that can be cut at the worst moment: stored, but never answered."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from contextlib import suppress

from tests.browser.serving import free_port

CHUNK = 65_536


class Wire:
    """Passes bytes on both ways. `here` is where a browser goes instead of the server itself."""

    def __init__(self, server_port: int) -> None:
        self.server_port, self.port = server_port, free_port()
        self.here = f"http://127.0.0.1:{self.port}"
        self.lost = threading.Event()  # set once an answer was lost
        self._losing = b""
        self._then: Callable[[], None] = lambda: None
        self._listening = socket.create_server(("127.0.0.1", self.port))
        self._open: set[socket.socket] = set()
        threading.Thread(target=self._accept, daemon=True).start()

    def lose(self, request: bytes, then: Callable[[], None] = lambda: None) -> None:
        """Lose the answer to the next request that begins so, after calling `then`.

        By then the answer has come from the server, so what was sent is stored.
        """
        self.lost.clear()
        self._losing, self._then = request, then

    def close(self) -> None:
        """Cut everything."""
        for one in (self._listening, *tuple(self._open)):
            _shut(one)

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                browser, _ = self._listening.accept()
                threading.Thread(target=self._carry, args=(browser,), daemon=True).start()

    def _carry(self, browser: socket.socket) -> None:
        """One connection, on which a browser sends no second request before the answer to the first."""
        losing = threading.Event()
        ends = [browser]
        self._open.add(browser)
        with suppress(OSError):
            server = socket.create_connection(("127.0.0.1", self.server_port))
            ends.append(server)
            self._open.add(server)
            threading.Thread(target=self._back, args=(server, browser, losing), daemon=True).start()
            while data := browser.recv(CHUNK):
                if self._losing and data.startswith(self._losing):
                    self._losing = b""
                    losing.set()
                # Ports of as many digits: the length stays, and the server is addressed by a name of its own.
                server.sendall(data.replace(b":%d" % self.port, b":%d" % self.server_port))
        for one in ends:
            self._open.discard(one)
            _shut(one)

    def _back(self, server: socket.socket, browser: socket.socket, losing: threading.Event) -> None:
        with suppress(OSError):
            while data := server.recv(CHUNK):
                if losing.is_set():
                    self._then()
                    self.lost.set()
                    break
                browser.sendall(data)
        _shut(browser)
        _shut(server)


def _shut(one: socket.socket) -> None:
    with suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
