"""How often one may ask and how much one may send, so that nobody can fill a small computer's memory."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Callable

from starlette.exceptions import HTTPException
from starlette.types import Message, Receive

HEAD_BYTES = 16_384  # request line and headers together
BODY_BYTES = 1_000_000
PHOTO_BYTES = 30_000_000
BODY_SECONDS = 30.0  # for a whole body
PHOTO_SECONDS = 300.0  # a large picture over a weak radio link from the far end of a garden
UPLOADS = 4  # pictures on their way at once
CROWD = 4096  # addresses remembered at once


class Refused(HTTPException):
    """A request that goes no further: its status and the sentence that says why."""


class Buckets:
    """Token buckets: each key may ask `rate` times a second in the long run, and `burst` times at once."""

    def __init__(self, rate: float, burst: float, tick: Callable[[], float]) -> None:
        self.rate, self.burst, self._tick = rate, burst, tick
        self._held: OrderedDict[object, tuple[float, float]] = OrderedDict()

    def wait(self, key: object) -> float:
        """Take one; 0 if there was one, otherwise seconds until there is."""
        now = self._tick()
        tokens, at = self._held.pop(key, (self.burst, now))
        tokens = min(self.burst, tokens + (now - at) * self.rate)
        allowed = tokens >= 1
        self._held[key] = (tokens - 1 if allowed else tokens, now)
        if len(self._held) > CROWD:
            self._held.popitem(last=False)
        return 0.0 if allowed else (1 - tokens) / self.rate


def too_large(limit: int) -> Refused:
    """What a body beyond its limit is told."""
    return Refused(413, f"That is more than {limit // 1_000_000} MB; send less at once, or a smaller picture.")


class Body:
    """A request's body, which stops as soon as it is larger or slower than allowed, whatever length it declared."""

    def __init__(self, receive: Receive, limit: int, seconds: float) -> None:
        self._receive, self._limit = receive, limit
        self._deadline = asyncio.get_running_loop().time() + seconds
        self._got = 0
        self.whole = False  # whether its end was read

    async def __call__(self) -> Message:
        """The next part; after the last one, wait for the end of the connection, however long that takes."""
        if self.whole:
            return await self._receive()
        try:
            async with asyncio.timeout_at(self._deadline):
                message = await self._receive()
        except TimeoutError:
            raise Refused(408, "That came too slowly; try again nearer to the radio.") from None
        self._got += len(message.get("body", b""))
        self.whole = not message.get("more_body", False)
        if self._got > self._limit:
            raise too_large(self._limit)
        return message
