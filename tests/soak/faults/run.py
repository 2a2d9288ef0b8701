"""One run, from the first server to the last check."""

import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx
from pydantic import SecretStr

from service.settings import WorkerSettings
from service.storage.migrations import migrate
from tests.soak.faults import checks
from tests.soak.faults.fresh import engine_of, judge_from_scratch, read_judged
from tests.soak.faults.outcome import Outcome
from tests.soak.faults.plan import CONCURRENCY, Plan
from tests.soak.faults.site import Site, open_site
from tests.soak.faults.work import Stage, do_the_work
from worker.demo.authority.throwaway import make_demonstration_authority
from worker.demo.embedded.postgres import PostgresServer, run_postgres
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import private_folder
from worker.demo.stack import environment_of, issue_administrator, plan_parts, wait_until_ready
from worker.demo.supervisor import Supervisor

_DATABASE = "acceptance"


@dataclass(frozen=True, kw_only=True)
class _Servers:
    folder: Path
    postgres: PostgresServer
    redis: RedisServer
    settings: WorkerSettings


def run_faults(plan: Plan, *, say: Callable[[str], object]) -> Outcome:
    """Post and kill, wait until all is done, and look at everything."""
    outcome, begun = Outcome(plan=plan), time.monotonic()
    with _running_servers() as servers:
        with _running_parts(plan, servers, say) as stage:
            told = do_the_work(stage, outcome)
        _look_at_everything(outcome, servers, stage.site, told)
    outcome.seconds = time.monotonic() - begun
    return outcome


@contextmanager
def _running_servers() -> Iterator[_Servers]:
    with private_folder() as folder, run_postgres(folder) as postgres, RedisServer(folder) as redis:
        authority = make_demonstration_authority(folder / "authority", now=datetime.now(UTC))
        settings = WorkerSettings(
            database_url=SecretStr(postgres.application_url),
            redis_url=SecretStr(redis.url),
            blob_dir=folder / "blobs",
            signing_pkcs12_file=authority.pkcs12_file,
            signing_passphrase_file=authority.passphrase_file,
            signing_trust_file=authority.root_file,
        )
        migrate(postgres.owner_url, application_role=settings.application_role)
        yield _Servers(folder=folder, postgres=postgres, redis=redis, settings=settings)


@contextmanager
def _running_parts(plan: Plan, servers: _Servers, say: Callable[[str], object]) -> Iterator[Stage]:
    """Run what `make serve` runs, under the same supervisor; describe the project before anything fails."""
    logs = servers.folder / "logs"
    logs.mkdir()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        base_url = "http://{}:{}".format(*listener.getsockname())
        plans = plan_parts(listener=listener, heartbeats=logs, concurrency=CONCURRENCY)
        environment = {**environment_of(servers.settings), **plan.environment}
        with Supervisor(plans, environment=environment, logs=logs, say=say) as supervisor:
            wait_until_ready(base_url)
            with httpx.Client(base_url=base_url, timeout=30) as http:
                site = open_site(http, issue_administrator(servers.settings), plan)
            yield Stage(
                plan=plan,
                base_url=base_url,
                site=site,
                supervisor=supervisor,
                postgres=servers.postgres,
                redis=servers.redis,
                settings=servers.settings,
            )


def _look_at_everything(outcome: Outcome, servers: _Servers, site: Site, told: list[Any]) -> None:
    engine, settings = engine_of(servers.settings), servers.settings
    routes = sum(len(crew) for crew in site.crews)
    answered = {record_id: record for route in site.routes for record_id, record in route.answered.items()}
    outcome.answered = len(answered)
    fresh = judge_from_scratch(servers.postgres, settings, database=_DATABASE, name="fresh")
    outcome.checks += [
        checks.check_records(engine, answered),
        checks.check_judged(read_judged(engine), fresh),
        checks.check_packages(engine, settings, expected=routes),
        checks.check_notices(engine, told, expected=routes),
        checks.check_audit(settings),
    ]
    engine.dispose()
