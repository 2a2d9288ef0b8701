"""The application: everything that answers requests, put together."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime
from functools import partial

import structlog
from fastapi import FastAPI
from fastapi.routing import APIRoute

from service.api import health, problems
from service.api.acceptance import packages, signatures, status, submissions, verifications, worklist
from service.api.access import certificates, projects
from service.api.billing import notices
from service.api.gate import now
from service.api.openapi import API_VERSION, DESCRIPTION, install_document
from service.api.records import evidence, records
from service.api.routes import assignments, criteria, trials
from service.api.routes import design as routes
from service.settings import ServiceSettings
from service.storage.blobs import BlobStorageError, BlobStore
from service.storage.session import ClockWatch, make_engine

log = structlog.get_logger()

_AREAS = (
    projects,
    certificates,
    criteria,
    trials,
    routes,
    assignments,
    records,
    evidence,
    status,
    worklist,
    submissions,
    packages,
    signatures,
    verifications,
    notices,
    health,
)


def create_app(settings: ServiceSettings | None = None) -> FastAPI:
    """Return the application, with its settings from the environment unless they are given."""
    settings = settings or ServiceSettings()
    engine = make_engine(settings.database_url.get_secret_value(), pool_size=settings.pool_size)
    blobs = BlobStore(settings.blob_dir, reserve_bytes=settings.blob_reserve_bytes)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        _sweep(blobs)
        yield
        engine.dispose()

    app = FastAPI(
        title="Route acceptance",
        version=API_VERSION,
        description=DESCRIPTION,
        lifespan=lifespan,
        redoc_url=None,
        generate_unique_id_function=_name_operation,
    )
    app.state.engine, app.state.blobs, app.state.clock = engine, blobs, now
    app.state.clock_watch = ClockWatch(partial(_time_of, app))
    app.state.max_evidence_bytes = settings.max_evidence_bytes
    routers = [module.router for module in _AREAS]
    problems.install(app, [one for router in routers for one in router.routes if isinstance(one, APIRoute)])
    for router in routers:
        app.include_router(router)
    install_document(app)
    return app


def _time_of(app: FastAPI) -> datetime:
    time: datetime = app.state.clock()
    return time


def _sweep(blobs: BlobStore) -> None:
    try:
        left = blobs.sweep()
    except BlobStorageError as error:
        # Records are taken all the same; readiness says it too.
        log.error("files.not_kept", reason=str(error))
    else:
        if left:
            log.info("files.swept", left_behind=left)


def _name_operation(route: APIRoute) -> str:
    return route.name
