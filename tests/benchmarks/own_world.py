"""A served project on a database of its own, where nobody works but the benchmark itself."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from pydantic import SecretStr

from service.api.app import create_app
from service.settings import WorkerSettings
from service.storage.migrations import migrate
from tests.api_server import serve
from tests.world import World, make_world, open_project, read_demo
from worker.demo.authority.throwaway import make_demonstration_authority
from worker.demo.embedded.postgres import run_postgres
from worker.demo.embedded.stack_folder import private_folder


@contextmanager
def run_own_world() -> Iterator[World]:
    """Run PostgreSQL and the API without relay or worker: jobs stay due until the benchmark does them."""
    with private_folder() as folder, run_postgres(folder) as postgres:
        authority = make_demonstration_authority(folder / "authority", now=datetime.now(UTC))
        settings = WorkerSettings(
            database_url=SecretStr(postgres.application_url),
            redis_url=SecretStr("redis://nobody.invalid"),
            blob_dir=folder / "blobs",
            signing_pkcs12_file=authority.pkcs12_file,
            signing_passphrase_file=authority.passphrase_file,
            signing_trust_file=authority.root_file,
            settle_interval_s=0,
        )
        migrate(postgres.owner_url, application_role=settings.application_role)
        app = create_app(settings)
        with serve(app) as http:
            world = make_world(settings, http, app)
            open_project(world, project=read_demo("project"), people=read_demo("people"))
            yield world
            world.context.engine.dispose()
