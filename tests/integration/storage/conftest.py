"""A database for a module of tests, as the application's role and as a superuser reach it; a project for each test."""

from collections.abc import Iterator
from datetime import UTC, datetime
from uuid import UUID, uuid4

import psycopg
import pytest
from sqlalchemy import Engine

from service.storage.audit import FIRST_HASH
from service.storage.session import make_engine, transaction
from service.storage.tables import Project, ProjectHead
from tests.conftest import Servers
from worker.demo.embedded.postgres import create_database

Superuser = psycopg.Connection[tuple[object, ...]]


@pytest.fixture(scope="module")
def superuser(servers: Servers, database_template: str) -> Iterator[Superuser]:
    # A space, for a name is not always one word.
    name = f"storage {uuid4().hex[:12]}"
    create_database(servers.postgres, name, template=database_template)
    with servers.postgres.connect(database=name) as connection:
        yield connection


@pytest.fixture(scope="module")
def shared_engine(servers: Servers, superuser: Superuser) -> Iterator[Engine]:
    url = servers.postgres.url(role="acceptance_app", database=superuser.info.dbname)
    engine = make_engine(url, pool_size=12)
    yield engine
    engine.dispose()


@pytest.fixture
def engine(shared_engine: Engine, superuser: Superuser) -> Engine:
    """Lend the module's database without a job in it."""
    superuser.execute("DELETE FROM job")
    return shared_engine


@pytest.fixture
def project_id(engine: Engine) -> UUID:
    id_ = uuid4()
    with transaction(engine) as session:
        session.add(
            Project(id=id_, code=str(id_), name="Plan", owner="Owner", contractor="Crew", created_at=datetime.now(UTC))
        )
        session.flush()
        session.add(ProjectHead(project_id=id_, audit_hash=FIRST_HASH))
    return id_
