"""A real browser on a real server; without Chromium on this computer these tests are skipped, and say so."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect, sync_playwright

from tests.browser import kept
from tests.browser.serving import Served
from tests.browser.wire import Wire

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PATIENCE_MS = 20_000  # a busy computer is slow, which is no fault of the pages
PHONES = {"phone": (390, 844), "small phone": (320, 640)}
DESK = (1200, 900)


def chromium_path():
    """Where Chromium is: `UNDERLID_CHROMIUM` says, else it is looked for by its usual names; None without any."""
    return os.environ.get("UNDERLID_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)


@pytest.fixture(scope="package")
def chromium():
    """The browser, for as long as tests of this folder run: other tests have event loops of their own."""
    found = chromium_path()
    if found is None:
        pytest.skip(f"no Chromium here: none of {', '.join(NAMES)} is on the path, and UNDERLID_CHROMIUM is not set")
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as play:
        # One process for all pages of a server: to start one for each took a fifth of the browser's time.
        several = ["--process-per-site", "--renderer-process-limit=1"]
        browser = play.chromium.launch(executable_path=found, args=["--no-sandbox", *several])
        yield browser
        browser.close()


@pytest.fixture(scope="package")
def built(tmp_path_factory, chromium):
    """A journal that tests copy."""
    return kept.build(tmp_path_factory.mktemp("built") / "journal", datetime.now(UTC).replace(microsecond=0))


@pytest.fixture(scope="package")
def reading(built):
    """A server for tests that only look, or whose writing disturbs no other."""
    server = Served(built, built.parent / "server.log")
    try:
        server.start()
        yield server
    finally:
        server.stop()


@pytest.fixture
def own(built, tmp_path):
    """A server with a journal of the test's own, which the test starts."""
    server = Served(shutil.copytree(built, tmp_path / "journal"), tmp_path / "server.log")
    try:
        yield server
    finally:
        server.stop()


@pytest.fixture
def wired():
    """Lay a wire to a server: `wired(server)`."""
    laid = []

    def wire_to(server):
        laid.append(Wire(server.port))
        return laid[-1]

    try:
        yield wire_to
    finally:
        for one in laid:
            one.close()


@pytest.fixture
def opened(chromium):
    """Open a page: `opened(address, size=(390, 844), dark=False, touch=True)`; scripts that fail make the test fail."""
    contexts, faults = [], []

    def page_at(address, size=PHONES["phone"], *, dark=False, touch=True, **more):
        context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]}, color_scheme="dark" if dark else "light", has_touch=touch,
            is_mobile=touch, timezone_id=kept.ZONE, locale="en-GB", reduced_motion="reduce", **more,
        )  # fmt: skip
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        context.set_default_navigation_timeout(PATIENCE_MS)
        context.on("weberror", lambda error: faults.append(str(error.error)))
        context.on("console", lambda said: faults.append(said.text) if "Content Security" in said.text else None)
        page = context.new_page()
        page.goto(address)
        return page

    yield page_at
    for context in contexts:
        context.close()
    assert faults == []
