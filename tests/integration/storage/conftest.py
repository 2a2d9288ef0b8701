"""A database with one project in it, as the application's role and as a superuser reach it."""

from collections.abc import Iterator
from datetime import UTC, datetime
from uuid import UUID, uuid4

import psycopg
import pytest
from sqlalchemy import Engine
from sqlalchemy.engine import make_url

from service.settings import WorkerSettings
from service.storage.head import FIRST_HASH
from service.storage.session import make_engine, transaction
from service.storage.tables import Project, ProjectHead
from tests.conftest import Servers


@pytest.fixture
def engine(settings: WorkerSettings) -> Iterator[Engine]:
    engine = make_engine(settings.database_url.get_secret_value(), pool_size=12)
    yield engine
    engine.dispose()


@pytest.fixture
def superuser(servers: Servers, settings: WorkerSettings) -> Iterator["psycopg.Connection[tuple[object, ...]]"]:
    database = make_url(settings.database_url.get_secret_value()).database
    assert database is not None
    with servers.postgres.server.connect(database=database) as connection:
        yield connection


@pytest.fixture
def project_id(engine: Engine) -> UUID:
    id_ = uuid4()
    with transaction(engine) as session:
        session.add(
            Project(id=id_, code="P1", name="Plan", owner="Owner", contractor="Crew", created_at=datetime.now(UTC))
        )
        session.flush()
        session.add(ProjectHead(project_id=id_, audit_hash=FIRST_HASH))
    return id_
