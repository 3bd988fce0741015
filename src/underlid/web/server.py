"""The server under the app: for this computer by http and, on request, for the home network by https too."""

from __future__ import annotations

import asyncio
import socket
import ssl
from types import FrameType
from typing import Any

import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from underlid.web.limits import HEAD_BYTES

SILENT_S = 20.0  # how long a connection may stay without a request going on


class Patient(H11Protocol):
    """A connection that is closed when no request comes, or one comes so slowly that it never begins."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start to watch."""
        super().connection_made(transport)
        self.loop.call_later(SILENT_S, self._close_if_silent, None)

    def _close_if_silent(self, last: object) -> None:
        """Close where no request goes on and none has come since `last` was the latest."""
        if self.transport.is_closing():
            return
        answered = self.cycle is None or self.cycle.response_complete
        if answered and self.cycle is last:
            self.transport.close()
        else:
            self.loop.call_later(SILENT_S, self._close_if_silent, self.cycle)


class HomeServer(uvicorn.Server):
    """Serve the sockets it is given by http, and another by https; stop quietly when asked to.

    tls : a listening socket and how https is spoken there
    """

    def __init__(self, config: uvicorn.Config, tls: tuple[socket.socket, ssl.SSLContext] | None) -> None:
        super().__init__(config)
        self._tls = tls

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen on both."""
        await super().startup(sockets)
        if self._tls is None:
            return
        home, context = self._tls

        def connection() -> H11Protocol:
            return Patient(self.config, self.server_state, self.lifespan.state)

        loop = asyncio.get_running_loop()
        self.servers.append(
            await loop.create_server(
                connection, sock=home, ssl=context, ssl_handshake_timeout=10, backlog=self.config.backlog
            )
        )

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Stop; the signal is not raised again afterwards, as being asked to stop is no failure."""
        super().handle_exit(sig, frame)
        self._captured_signals.clear()


def config_of(app: FastAPI, **more: Any) -> uvicorn.Config:
    """How the app is served: no proxy is believed, no header says what we are, and nothing waits for ever."""
    return uvicorn.Config(
        app, http=Patient, ws="none", lifespan="on", access_log=False, log_level="error", proxy_headers=False,
        server_header=False, h11_max_incomplete_event_size=HEAD_BYTES, limit_concurrency=200, timeout_keep_alive=15,
        timeout_graceful_shutdown=5, **more,
    )  # fmt: skip
