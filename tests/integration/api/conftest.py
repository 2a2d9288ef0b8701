"""The demo route at six points of its way, each kept as a database that tests copy.

`bound`: described, its design agreed to, and bound to criteria. `proposed`: a revision of the design waits for the
engineer; the contractor takes it back. `waiting`: spliced, nothing judged yet, a trial of criteria asked for.
`judged`: every record of the first visit judged, one of the photographs that they name sent in; fibre 20 at C5 does
not conform. `issued`: both segments submitted, with a concession for it; the package waits. `decided`: west accepted,
east refused, to be signed by a key of the engineer's own; a file that is no package was sent in as if it were signed.
"""

from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from uuid import uuid4

import pytest
from fastapi import FastAPI
from pydantic import SecretStr

from service.api.app import create_app
from service.api.openapi import read_examples
from service.settings import WorkerSettings
from service.vocabulary.words import TokenKind
from tests.api_server import serve
from tests.conftest import Servers
from tests.integration.api.acts import (
    PHOTOGRAPH,
    decide,
    newest_package,
    register_certificate,
    send_evidence,
    send_in,
    submit,
)
from tests.signing_people import make_signatory
from tests.world import World, describe_route, make_world, open_project, propose_design, read_demo
from worker.demo.authority.throwaway import DemonstrationAuthority
from worker.demo.embedded.postgres import create_database
from worker.tasks import make_context

OpenWorld = Callable[[str], World]

NO_PACKAGE = b"%PDF-1.7\n%%EOF\n"


@dataclass(frozen=True, kw_only=True)
class Stage:
    """A database to copy, and what a copy's world knows."""

    database: str
    settings: WorkerSettings
    project_id: str
    route_id: str
    tokens: Mapping[TokenKind, str]


@pytest.fixture(scope="session")
def stages(
    servers: Servers,
    database_template: str,
    authority: DemonstrationAuthority,
    tmp_path_factory: pytest.TempPathFactory,
) -> Mapping[str, Stage]:
    """Take the demo's route from its description to a decision, and keep a copy of the database at each point."""
    folder = tmp_path_factory.mktemp("stages")
    source = f"walk_{uuid4().hex[:12]}"
    _, url = create_database(servers.postgres, source, template=database_template)
    settings = _settings(servers, url, authority, folder / "blobs")
    app = create_app(settings)
    with serve(app) as http:
        world = make_world(settings, http, app)
        return {name: _keep(servers, world, name, source=source) for name in _walk(world)}


@pytest.fixture(scope="module")
def open_world(servers: Servers, stages: Mapping[str, Stage]) -> Iterator[OpenWorld]:
    """Open worlds that last as long as the module: a copy of a stage each."""
    with ExitStack() as stack:
        yield lambda name: stack.enter_context(_copy_of(servers, stages[name]))


@pytest.fixture
def fresh_world(servers: Servers, stages: Mapping[str, Stage]) -> Iterator[OpenWorld]:
    """Open worlds that last as long as the test."""
    with ExitStack() as stack:
        yield lambda name: stack.enter_context(_copy_of(servers, stages[name]))


def _walk(world: World) -> Iterator[str]:
    open_project(world, project=read_demo("project"), people=read_demo("people"))
    register_certificate(world, "p-9e6", make_signatory())
    describe_route(world, design=read_demo("route"), criteria=read_demo("criteria"))
    world.drain()
    yield "bound"
    propose_design(world, read_examples()["propose_design"]["proposed"]["body"])
    yield "proposed"
    propose_design(world, read_demo("route"))
    world.post_records(read_demo("01_splicing")["records"])
    form = {"route_id": world.route_id, "criteria": read_demo("criteria")}
    world.ask(TokenKind.ENGINEER, "POST", f"/v1/projects/{world.project_id}/criteria/trial", json=form)
    yield "waiting"
    for name in ("02_re_splices", "03_sealing", "04_otdr", "05_attenuation"):
        world.post_records(read_demo(name)["records"])
    send_evidence(world, PHOTOGRAPH)
    world.drain()
    yield "judged"
    submit(world)
    world.drain()
    yield "issued"
    decide(world, signature="own_key")
    world.drain()
    send_in(world, newest_package(world), "engineer", NO_PACKAGE)
    world.drain()
    yield "decided"


def _keep(servers: Servers, world: World, name: str, *, source: str) -> Stage:
    # PostgreSQL copies a database only while nobody is connected to it.
    _disconnect(world.app, world)
    database = f"stage_{name}_{uuid4().hex[:8]}"
    create_database(servers.postgres, database, template=source)
    return Stage(
        database=database,
        settings=world.settings,
        project_id=world.project_id,
        route_id=world.route_id,
        tokens=dict(world.tokens),
    )


@contextmanager
def _copy_of(servers: Servers, stage: Stage) -> Iterator[World]:
    _, url = create_database(servers.postgres, f"copy_{uuid4().hex[:12]}", template=stage.database)
    settings = stage.settings.model_copy(update={"database_url": SecretStr(url)})
    app = create_app(settings)
    with serve(app) as http:
        world = World(
            settings=settings,
            http=http,
            app=app,
            context=make_context(settings),
            project_id=stage.project_id,
            route_id=stage.route_id,
            tokens=dict(stage.tokens),
        )
        try:
            yield world
        finally:
            _disconnect(app, world)


def _disconnect(app: FastAPI, world: World) -> None:
    world.engine.dispose()
    app.state.engine.dispose()


def _settings(servers: Servers, url: str, authority: DemonstrationAuthority, blobs: Path) -> WorkerSettings:
    return WorkerSettings(
        database_url=SecretStr(url),
        redis_url=SecretStr(servers.redis.url),
        blob_dir=blobs,
        signing_pkcs12_file=authority.pkcs12_file,
        signing_passphrase_file=authority.passphrase_file,
        signing_trust_file=authority.root_file,
        settle_interval_s=0,
    )
