"""Requests as no client library would send them, straight into an app."""

import asyncio
from dataclasses import dataclass, field

CHUNK = 65_536


@dataclass
class Answer:
    """What came back, and how many bytes of the body were read before."""

    status: int = 0
    headers: list[tuple[str, str]] = field(default_factory=list)
    body: bytes = b""
    read: int = 0

    def header(self, name):
        found = [value for key, value in self.headers if key == name.lower()]
        assert len(found) == 1, self.headers
        return found[0]

    @property
    def text(self):
        return self.body.decode()


def ask(
    app, path="/", method="GET", *, headers=(("host", "127.0.0.1:8765"),), body=b"", client="127.0.0.1",
    server=("127.0.0.1", 8765), scheme="http", pause_s=None,
):  # fmt: skip
    """Send one request. `body` may be an iterator of chunks; `pause_s` is how long each takes to come."""
    answer = Answer()
    chunks = iter([body] if isinstance(body, bytes) else body)

    async def receive():
        if pause_s is not None:
            await asyncio.sleep(pause_s)
        chunk = next(chunks, None)
        answer.read += len(chunk or b"")
        return {"type": "http.request", "body": chunk or b"", "more_body": chunk is not None}

    async def send(message):
        if message["type"] == "http.response.start":
            answer.status = message["status"]
            answer.headers = [(key.decode(), value.decode()) for key, value in message["headers"]]
        else:
            answer.body += message.get("body", b"")

    target, _, query = path.partition("?")
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "scheme": scheme,
        "path": target, "raw_path": target.encode(), "query_string": query.encode(), "root_path": "",
        "headers": [(key.encode(), value.encode("latin-1")) for key, value in headers],
        "client": (client, 50000), "server": server, "state": {},
    }  # fmt: skip
    asyncio.run(app(scope, receive, send))
    return answer
