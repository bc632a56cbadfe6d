"""The service: wiring only."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Depends, FastAPI
from fastapi.responses import FileResponse, JSONResponse, Response
from starlette.formparsers import MultiPartParser
from starlette.middleware.gzip import GZipMiddleware

from service.readers.earlier.phones import look_at_earlier
from service.readers.watch import Watcher
from service.settings import Settings
from service.web.asking.asker import Askers
from service.web.asking.roles import decided
from service.web.assistant.numbers import ADDRESS as NUMBERS_ADDRESS
from service.web.assistant.numbers import script as numbers_script
from service.web.components import Service
from service.web.guard import Guard
from service.web.page_states import page_files
from service.web.page_words import page_words
from service.web.problems import add_handlers, described
from service.web.routes import (
    batches,
    bench,
    finding,
    labels,
    pictures,
    plan,
    procedures,
    readings,
    reminders,
    timeline,
    vessels,
)
from service.web.routes.first_day import calibrations, card, liquids, profiles, strip_kinds
from service.web.routes.host import backup, benches, demo, join, trust, watching
from service.web.routes.planning import acid, dose, melt, silver
from service.web.tongue import Tongue
from service.web.watching.counted import Counted
from stripread import __version__
from stripread.words import LANGUAGES, SOURCE

PAGE = Path(__file__).resolve().parents[1] / "page"
# A photo stays in memory until it is written to its place: in a temporary file each 64 KB would cost a hop to a thread.
# `Settings.coming_in` bounds how many there are; larger ones go to a temporary file all the same.
MultiPartParser.spool_max_size = 8 * 1024 * 1024
_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".json": "application/manifest+json",
    ".txt": "text/plain; charset=utf-8",
}


class _Described(FastAPI):
    """With the shape of problems in its description."""

    def openapi(self) -> dict[str, Any]:
        return described(super().openapi())


def create_app(settings: Settings) -> FastAPI:
    """Build the service. Opens the log and starts the workers at once, so that a wrong call fails before it serves."""
    service = Service.start(settings)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        service.readers.warm()
        looking = asyncio.create_task(look_at_earlier(service.database, service.blobs, service.pictures))
        folder = None
        if settings.watch is not None:
            watcher = Watcher(settings.watch, settings.watch_every, service.database, service.intake)
            folder = asyncio.create_task(watcher.run())
        try:
            yield
        finally:
            for task in (looking, folder):
                if task is not None:
                    task.cancel()
                    with contextlib.suppress(asyncio.CancelledError):
                        await task
            await service.stop()

    app = _Described(
        title="stripread",
        summary="pH, tint and solid readings from phone photos, logged by batch.",
        version=__version__,
        lifespan=lifespan,
        dependencies=[Depends(decided)],  # of every address, whoever adds one
        docs_url=None,  # their pages load scripts from outside; the description itself is at /openapi.json
        redoc_url=None,
        form_limits={"max_files": 1, "max_fields": settings.max_parts, "max_part_size": 16 * 1024},
    )
    app.state.service = service
    add_handlers(app, settings.data)
    # The limit sits on the routes, inside the guard: around the app it would answer in plain text.
    api = APIRouter(max_body_size=settings.max_body)
    # Addresses are tried in this order: photos come first, they are the many.
    for routes in (
        readings,
        pictures,
        batches,
        timeline,
        bench,
        reminders,
        vessels,
        labels,
        procedures,
        plan,
        silver,
        dose,
        acid,
        melt,
        finding,
        calibrations,
        profiles,
        liquids,
        card,
        strip_kinds,
        join,
        benches,
        trust,
        demo,
        backup,
        watching,
    ):
        api.include_router(routes.router)
    app.include_router(api)
    files = _add_page(app) | _add_words(app)
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    askers = Askers(service.database, service.pairing, settings)
    app.add_middleware(Guard, settings=settings, askers=askers, stopping=service.stopping, page_files=files)
    app.add_middleware(Tongue)
    app.add_middleware(Counted, metrics=service.metrics)
    return app


def _add_page(app: FastAPI) -> frozenset[str]:
    """Serve the page's files by exact name: there is no path from outside to look up."""
    addresses = set()
    for path in sorted(PAGE.iterdir()):
        if path.suffix not in _TYPES:
            continue
        address = "/" if path.name == "index.html" else f"/{path.name}"
        addresses.add(address)
        app.add_api_route(address, _file(path), methods=["GET", "HEAD"], include_in_schema=False)
    made = page_files() | {NUMBERS_ADDRESS: (numbers_script(), "text/javascript; charset=utf-8")}
    for address, (text, media_type) in made.items():
        addresses.add(address)
        app.add_api_route(address, _text(text, media_type), methods=["GET", "HEAD"], include_in_schema=False)
    return frozenset(addresses)


def _add_words(app: FastAPI) -> frozenset[str]:
    """Serve the page's words in every language but the one that it is written in."""
    addresses = set()
    for language in LANGUAGES:
        if language != SOURCE:
            addresses.add(f"/words/{language}.json")
            app.add_api_route(f"/words/{language}.json", _words(language), methods=["GET"], include_in_schema=False)
    return frozenset(addresses)


def _words(language: str) -> Callable[[], Awaitable[Response]]:
    async def serve() -> Response:
        return JSONResponse(page_words(language), headers={"Cache-Control": "no-cache"})

    return serve


def _file(path: Path) -> Callable[[], Awaitable[Response]]:
    async def serve() -> Response:
        # Always asked for again, answered 304 by its ETag: a new version of the page must not mix with an old one.
        return FileResponse(path, media_type=_TYPES[path.suffix], headers={"Cache-Control": "no-cache"})

    return serve


def _text(text: str, media_type: str) -> Callable[[], Awaitable[Response]]:
    async def serve() -> Response:
        return Response(text, media_type=media_type, headers={"Cache-Control": "no-cache"})

    return serve
