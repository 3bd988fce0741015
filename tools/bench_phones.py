"""How the pages bear fifty phones at once, and how long each takes on the demo's journal. Prints Markdown.

    python tools/bench_phones.py [--phones 50] [--seconds 60]

A real server in a process of its own, asked over loopback. Every entry is sent under a key as a phone's queue sends it,
and one in five is sent again, as after a lost answer. Afterwards each acknowledged key must stand in the journal once.
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import random
import re
import shutil
import socket
import statistics
import tempfile
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID, uuid4

import httpx

from underlid.journal.store import Journal
from underlid.web.sent import entry_id

BINS = ("ash", "beech", "cherry", "elder")
THINK_S = (0.1, 0.5)  # between what one phone asks and what it asks next
RETRIED = 0.2  # share of entries that are sent again
GOAL_MS = 200
TIMES = 15  # that each page is asked for
DEMO_NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)  # the demo's present
DEMO = Path(__file__).parents[1] / "demo" / "invented-journal"
WEATHER = Path(__file__).parents[1] / "src" / "underlid" / "weather" / "data" / "sand_point.csv"
VIEW_S = 600  # that the worker may take for a view


@dataclass
class Found:
    """What phones met: seconds by what they asked, errors, and the keys that were acknowledged by bin."""

    seconds: defaultdict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: Counter[str] = field(default_factory=Counter)
    keys: defaultdict[str, list[UUID]] = field(default_factory=lambda: defaultdict(list))
    again: int = 0


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--phones", type=int, default=50)
    asked.add_argument("--seconds", type=float, default=60)
    told = asked.parse_args()
    with tempfile.TemporaryDirectory() as made:
        _phones(Path(made) / "journal", told.phones, told.seconds)
        if DEMO.is_dir():
            _pages(Path(shutil.copytree(DEMO, Path(made) / "demo")))
        else:
            print("\nNo demo journal is there to time pages on; `make demo` makes it.")


# --- many phones -------------------------------------------------------------------------------------------------


def _phones(folder: Path, many: int, seconds: float) -> None:
    Journal.create(folder).close()
    with _Server(folder) as here:
        found = asyncio.run(_asked_by(here, many, seconds))
    print(f"## {many} phones for {seconds:.0f} s\n")
    every = [one for some in found.seconds.values() for one in some]
    print("| what | requests | a second | p50 [ms] | p95 [ms] | worst [ms] |\n|---|---|---|---|---|---|")
    for name, some in (*sorted(found.seconds.items()), ("all", every)):
        p50, p95 = _percent(some, 50), _percent(some, 95)
        print(f"| {name} | {len(some)} | {len(some) / seconds:.1f} | {p50:.0f} | {p95:.0f} | {1000 * max(some):.0f} |")
    print(f"\nErrors: {sum(found.errors.values())}{''.join(f'; {one}: {n}' for one, n in found.errors.items())}.")
    lost, twice, acknowledged = 0, 0, 0
    with Journal.open(folder) as book:
        for name in BINS:
            held = Counter(entry.id for entry in book.entries(name, superseded=True))
            wanted = {entry_id(key, 0) for key in found.keys[name]}
            acknowledged += len(wanted)
            lost += len(wanted - held.keys())
            twice += sum(held.values()) - len(held) + len(held.keys() - wanted)
    print(f"Entries acknowledged: {acknowledged}, {found.again} of them sent twice; lost: {lost}; too many: {twice}.")
    if found.errors or lost or twice:
        raise SystemExit("The server did not bear it.")


async def _asked_by(here: str, many: int, seconds: float) -> Found:
    found = Found()
    async with httpx.AsyncClient(base_url=here, timeout=60, limits=httpx.Limits(max_connections=None)) as client:
        token = _token((await client.get("/new")).text)
        for name in BINS:
            made = await client.post("/api/bins", json=_bin(name), headers={"X-CSRF-Token": token})
            made.raise_for_status()
    until = time.monotonic() + seconds
    await asyncio.gather(*(_phone(here, random.Random(number), until, found) for number in range(many)))
    return found


async def _phone(here: str, chance: random.Random, until: float, found: Found) -> None:
    """One keeper: opens the page, writes, looks, writes again."""
    name = chance.choice(BINS)
    limits = httpx.Limits(max_connections=4)
    async with httpx.AsyncClient(base_url=here, timeout=60, limits=limits) as client:
        page = await _timed(client, found, "page: at the bin", "GET", f"/bins/{name}/enter")
        if page is None:
            return
        client.headers["X-CSRF-Token"] = _token(page.text)
        while time.monotonic() < until:
            await asyncio.sleep(chance.uniform(*THINK_S))
            words = f"{chance.choice(('middle', 'edge'))} {chance.randint(1, 20)}.{chance.randint(0, 9)} C"
            what = chance.random()
            if what < 0.35:
                await _timed(client, found, "parse", "POST", f"/api/bins/{name}/parse", {"words": words})
            elif what < 0.7:
                key = uuid4()
                sent = {"key": str(key), "words": words, "at": datetime.now(UTC).isoformat(timespec="seconds")}
                for again in range(1 + (chance.random() < RETRIED)):
                    answer = await _timed(client, found, "store", "POST", f"/api/bins/{name}/entries", sent)
                    if answer is not None and not again:
                        found.keys[name].append(key)
                    found.again += again
            elif what < 0.8:
                await _timed(client, found, "page: at the bin", "GET", f"/bins/{name}/enter")
            elif what < 0.9:
                await _timed(client, found, "page: bins", "GET", "/")
            else:
                await _timed(client, found, "page: one bin", "GET", f"/bins/{name}")


async def _timed(
    client: httpx.AsyncClient, found: Found, name: str, method: str, path: str, body: dict[str, str] | None = None
) -> httpx.Response | None:
    began = time.perf_counter()
    try:
        answer = await client.request(method, path, json=body)
    except httpx.HTTPError as error:
        found.errors[f"{name}: {type(error).__name__}"] += 1
        return None
    found.seconds[name].append(time.perf_counter() - began)
    if answer.status_code != 200:
        found.errors[f"{name}: {answer.status_code}"] += 1
        return None
    return answer


# --- each page -----------------------------------------------------------------------------------------------------


def _pages(folder: Path) -> None:
    with Journal.open(folder) as book:
        names = [record.name for record in book.bins()]
    with _Server(folder, WEATHER, DEMO_NOW) as here, httpx.Client(base_url=here, timeout=60) as client:
        client.headers["X-CSRF-Token"] = _token(client.get("/new").text)
        waited = [_view_s(client, name) for name in names]
        first = names[0]
        pages = (
            "/", "/new", f"/bins/{first}/enter", *(f"/bins/{name}" for name in names), f"/bins/{first}?span=whole",
            f"/api/bins/{first}/view", "/claims", "/claims/citrus-scraps", "/trials", "/trials/new?claim=citrus-scraps",
            "/devices", "/calendar.ics",
        )  # fmt: skip
        print(f"\n## Pages of the demo's journal\n\nGoal: {GOAL_MS} ms. The worker made the views before, in ", end="")
        print(f"{', '.join(f'{one:.0f} s' for one in waited)}.\n")
        print("| page | size [kB] | p50 [ms] | p95 [ms] | within the goal |\n|---|---|---|---|---|")
        for path in pages:
            seconds, size = [], 0
            for _ in range(TIMES):
                began = time.perf_counter()
                answer = client.get(path)
                seconds.append(time.perf_counter() - began)
                answer.raise_for_status()
                size = len(answer.content)
            p50, p95 = _percent(seconds, 50), _percent(seconds, 95)
            print(f"| {path} | {size / 1000:.0f} | {p50:.0f} | {p95:.0f} | {'yes' if p95 < GOAL_MS else 'no'} |")


def _view_s(client: httpx.Client, name: str) -> float:
    """Seconds until the worker has made the view of a bin."""
    began = time.monotonic()
    job = client.post(f"/api/bins/{name}/view", json={}).raise_for_status().json()
    while job["state"] in ("waiting", "running"):
        if time.monotonic() - began > VIEW_S:
            raise SystemExit(f"No view of {name} within {VIEW_S} s.")
        time.sleep(0.5)
        job = client.get(f"/api/jobs/{job['id']}").raise_for_status().json()
    if job["state"] != "done":
        raise SystemExit(f"No view of {name}: {job['error']}")
    return time.monotonic() - began


# --- the server ------------------------------------------------------------------------------------------------------


class _Server:
    """Serves a folder from a process of its own, by the code that `underlid serve` runs."""

    def __init__(self, folder: Path, weather: Path | None = None, now: datetime | None = None) -> None:
        with socket.socket() as tried:
            tried.bind(("127.0.0.1", 0))
            self._port = tried.getsockname()[1]
        spawned = multiprocessing.get_context("spawn")
        self._process = spawned.Process(target=_serve, args=(folder, self._port, weather, now))

    def __enter__(self) -> str:
        self._process.start()
        here = f"http://127.0.0.1:{self._port}"
        while True:
            try:
                httpx.get(f"{here}/static/icon.svg")
                return here
            except httpx.TransportError:
                if not self._process.is_alive():
                    raise SystemExit("The server did not start.") from None
                time.sleep(0.1)

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.join(20)


@dataclass(frozen=True)
class _Still:
    """A clock that stands; one that may be sent to another process."""

    moment: datetime

    def __call__(self) -> datetime:
        return self.moment


def _serve(folder: Path, port: int, weather: Path | None, now: datetime | None) -> None:
    from underlid.cli.serve import listen
    from underlid.web.app import create_app
    from underlid.web.server import HomeServer, config_of
    from underlid.web.settings import Settings

    settings = Settings(folder, weather=weather, port=port)
    if now is not None:
        settings = replace(settings, now=_Still(now))
    with listen("127.0.0.1", port) as here:
        HomeServer(config_of(create_app(settings)), None).run(sockets=[here])


def _bin(name: str) -> dict[str, str]:
    return {
        "key": str(uuid4()), "name": name, "size": "17 x 12 x 11 in", "bedding": "leaves 5 in",
        "moisture": "about 70 %", "founders": "a couple of dozen", "timezone": "Europe/London",
    }  # fmt: skip


def _token(page: str) -> str:
    found = re.search(r'<meta name="csrf" content="([^"]+)"', page)
    if found is None:
        raise SystemExit("The page has no token.")
    return found[1]


def _percent(seconds: list[float], share: int) -> float:
    """So many per cent of them are shorter [ms]."""
    return 1000 * statistics.quantiles(seconds, n=100, method="inclusive")[share - 1]


if __name__ == "__main__":
    main()
