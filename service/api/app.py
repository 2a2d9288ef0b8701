"""The application: everything that answers requests, put together."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from fastapi.routing import APIRoute

from service.api import (
    certificates,
    criteria,
    evidence,
    health,
    notices,
    packages,
    problems,
    projects,
    records,
    routes,
    signatures,
    status,
    submissions,
    trials,
    verifications,
)
from service.api.gate import now
from service.api.openapi import DESCRIPTION, install_document
from service.settings import ServiceSettings
from service.storage.blobs import BlobStore
from service.storage.session import make_engine

_AREAS = (
    projects,
    certificates,
    criteria,
    trials,
    routes,
    records,
    evidence,
    status,
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

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        engine.dispose()

    app = FastAPI(
        title="Route acceptance",
        version="1.0.0",
        description=DESCRIPTION,
        lifespan=lifespan,
        redoc_url=None,
        generate_unique_id_function=_name_operation,
    )
    app.state.engine, app.state.blobs, app.state.clock = engine, BlobStore(settings.blob_dir), now
    app.state.max_evidence_bytes = settings.max_evidence_bytes
    routers = [module.router for module in _AREAS]
    problems.install(app, [one for router in routers for one in router.routes if isinstance(one, APIRoute)])
    for router in routers:
        app.include_router(router)
    install_document(app)
    return app


def _name_operation(route: APIRoute) -> str:
    return route.name
