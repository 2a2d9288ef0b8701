"""What every test may ask for: real servers, started once and only when somebody asks."""

import gc
import signal
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest
from pydantic import SecretStr

from service.api.app import create_app
from service.settings import WorkerSettings
from service.storage.migrations import migrate
from tests.api_server import serve
from tests.factories import make_criteria, make_design
from tests.world import World, describe_route, make_world, open_project, read_demo
from worker.demo.authority.throwaway import DemonstrationAuthority, make_demonstration_authority
from worker.demo.embedded.postgres import PostgresServer, create_database, run_postgres
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import private_folder


@dataclass(frozen=True, kw_only=True)
class Servers:
    """The session's PostgreSQL and Redis, and the private folder they live in."""

    folder: Path
    postgres: PostgresServer
    redis: RedisServer


def pytest_sessionstart() -> None:
    """Take interrupts again: in a shell's background they are ignored, and so by all that tests start."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Keep the garbage collector away from thousands of collected tests, which it looked through again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(scope="session")
def servers() -> Iterator[Servers]:
    """Run PostgreSQL and Redis for the whole session."""
    with private_folder() as folder, run_postgres(folder) as postgres, RedisServer(folder) as redis:
        _forget_durability(postgres)
        yield Servers(folder=folder, postgres=postgres, redis=redis)


def _forget_durability(postgres: PostgresServer) -> None:
    # A database for each test: without this, stopping alone was seen to take 37 s. Tests that crash PostgreSQL run
    # one of their own.
    with postgres.connect(database="postgres") as superuser:
        for setting in ("fsync", "synchronous_commit", "full_page_writes"):
            superuser.execute(f"ALTER SYSTEM SET {setting} = off")
        superuser.execute("SELECT pg_reload_conf()")


@pytest.fixture(scope="session")
def redis_server(servers: Servers) -> RedisServer:
    """Lend the session's Redis; whoever stops or kills it starts it again."""
    return servers.redis


@pytest.fixture(scope="session")
def database_template(servers: Servers) -> str:
    """Return the name of a migrated database that each test's own is copied from."""
    owner_url, _ = create_database(servers.postgres, "acceptance_template")
    migrate(owner_url, application_role="acceptance_app")
    return "acceptance_template"


@pytest.fixture(scope="session")
def authority(servers: Servers) -> DemonstrationAuthority:
    """Make the throwaway authority that signs the session's packages."""
    folder = servers.folder / "authority"
    folder.mkdir(mode=0o700)
    return make_demonstration_authority(folder, now=datetime.now(UTC))


@pytest.fixture
def settings(
    servers: Servers, database_template: str, authority: DemonstrationAuthority, tmp_path: Path
) -> WorkerSettings:
    """Give the test a database, a folder and a queue of its own."""
    name = f"test_{uuid4().hex[:12]}"
    _, application_url = create_database(servers.postgres, name, template=database_template)
    return WorkerSettings(
        database_url=SecretStr(application_url),
        redis_url=SecretStr(servers.redis.url),
        blob_dir=tmp_path / "blobs",
        signing_pkcs12_file=authority.pkcs12_file,
        signing_passphrase_file=authority.passphrase_file,
        signing_trust_file=authority.root_file,
        settle_interval_s=0,
    )


@pytest.fixture
def bare_world(settings: WorkerSettings) -> Iterator[World]:
    """Serve the API with an administrator and nothing else."""
    app = create_app(settings)
    with serve(app) as http:
        world = make_world(settings, http, app)
        try:
            yield world
        finally:
            world.context.engine.dispose()


@pytest.fixture
def world(bare_world: World) -> World:
    """Serve the API with the factories' route, bound to the factories' criteria, nothing recorded yet."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    describe_route(bare_world, design=make_design(), criteria=make_criteria())
    bare_world.drain()
    return bare_world


@pytest.fixture
def demo_world(bare_world: World) -> World:
    """Serve the API with the demo's route, nothing recorded yet."""
    open_project(bare_world, project=read_demo("project"), people=read_demo("people"))
    describe_route(bare_world, design=read_demo("route"), criteria=read_demo("criteria"))
    bare_world.drain()
    return bare_world
