"""The app: its routes, what guards them, and how what goes wrong is told.

app = create_app(Settings(journal=Path("journal")))
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from fastapi import Depends, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from starlette.exceptions import HTTPException

from underlid import __version__
from underlid.web import binpage, calendar, composing, entering, fleet, guard, photos, trying
from underlid.web.asked import Problem
from underlid.web.keepers import permitted
from underlid.web.looking import Looking
from underlid.web.parts import refused, static_response, told
from underlid.web.settings import Settings
from underlid.web.work import Worker

#: What no route sees: an address or a body that cannot be read.
UNREADABLE: dict[int | str, dict[str, Any]] = {
    400: {"model": Problem, "description": "It cannot be read as what it is sent as."}
}


#: How words are written that have a form of their own.
WRITTEN = {"month": "write a month as year and month, “2026-01”"}


def create_app(settings: Settings) -> FastAPI:
    """The app that serves one journal."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        app.state.worker = Worker(settings)
        try:
            yield
        finally:
            app.state.looking.end()
            app.state.worker.stop()

    app = FastAPI(
        title="underlid", version=__version__, lifespan=lifespan, docs_url=None, redoc_url=None,
        openapi_url="/api/openapi.json",
        description="The journal of worm-composting bins: what the pages themselves use.",
    )  # fmt: skip
    app.state.settings, app.state.looking = settings, Looking()
    guard.protect(app, settings)
    for part in (entering, binpage, fleet, composing, trying, photos, calendar):
        app.include_router(part.router, responses=UNREADABLE, dependencies=[Depends(permitted)])

    @app.get("/static/{name}", include_in_schema=False)
    def static(name: str) -> Response:
        return static_response(name)

    _tell_errors(app)
    return app


def _tell_errors(app: FastAPI) -> None:
    @app.exception_handler(ValueError)
    def mend(request: Request, error: ValueError) -> Response:
        return refused(request, error)

    @app.exception_handler(RequestValidationError)
    def invalid(request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"] if part != "body") or "the request"
        pattern = first["type"] == "string_pattern_mismatch"  # which is no sentence
        says = WRITTEN.get(str(first["loc"][-1]), "it holds signs that it may not hold") if pattern else first["msg"]
        return told(request, f"{where}: {says}.", 422)

    @app.exception_handler(HTTPException)
    def http(request: Request, error: HTTPException) -> Response:
        response = told(request, str(error.detail), error.status_code)
        response.headers.update(error.headers or {})
        return response
