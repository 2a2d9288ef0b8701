"""The whole stack on one machine: servers, schema, a throwaway key, and its parts; all end with this process."""

import os
import socket
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import httpx
from pydantic import SecretStr

from service.actions.access.tokens import TokenForm, issue_token
from service.settings import WorkerSettings
from service.storage.migrations import migrate
from service.storage.session import make_engine, transaction
from service.vocabulary.words import TokenKind
from worker.demo import DemoNotPossibleError
from worker.demo.authority.server import serve_time
from worker.demo.authority.throwaway import DemonstrationAuthority, make_demonstration_authority
from worker.demo.embedded.postgres import run_postgres
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import private_folder
from worker.demo.supervisor import Plan, Supervisor

_READY_WITHIN_S = 60.0


@dataclass(frozen=True, kw_only=True)
class Stack:
    """A running stack, and how to reach it."""

    base_url: str
    settings: WorkerSettings
    authority: DemonstrationAuthority
    administrator: str
    logs: Path
    supervisor: Supervisor


def plan_parts(*, listener: socket.socket, heartbeats: Path, concurrency: int) -> Sequence[Plan]:
    """Return every part of a stack; the listening socket is ours, so that no caller is lost with an API that ends."""
    return (
        Plan(
            name="api",
            arguments=("--descriptor", str(listener.fileno())),
            descriptors=(listener.fileno(),),
            heartbeat=heartbeats / "api",
        ),
        Plan(name="relay", heartbeat=heartbeats / "relay"),
        Plan(name="worker", arguments=("--concurrency", str(concurrency)), heartbeat=heartbeats / "worker"),
        Plan(name="reader", heartbeat=heartbeats / "reader"),
    )


@contextmanager
def run_stack(*, port: int = 0, concurrency: int = 1, say: Callable[[str], object] = lambda _: None) -> Iterator[Stack]:
    """Run everything that a deployment runs, on sockets and files of our own; what had to be mended is said."""
    with ExitStack() as parts:
        folder = parts.enter_context(private_folder())
        settings, authority = _prepare(parts, folder)
        listener = parts.enter_context(socket.create_server(("127.0.0.1", port)))
        logs, heartbeats = folder / "logs", folder / "heartbeats"
        logs.mkdir()
        heartbeats.mkdir()
        plans = plan_parts(listener=listener, heartbeats=heartbeats, concurrency=concurrency)
        supervisor = parts.enter_context(Supervisor(plans, environment=environment_of(settings), logs=logs, say=say))
        host, bound_port = listener.getsockname()
        base_url = f"http://{host}:{bound_port}"
        wait_until_ready(base_url)
        yield Stack(
            base_url=base_url,
            settings=settings,
            authority=authority,
            administrator=issue_administrator(settings),
            logs=logs,
            supervisor=supervisor,
        )


def _prepare(parts: ExitStack, folder: Path) -> tuple[WorkerSettings, DemonstrationAuthority]:
    """Start the servers that the environment does not name, and bring the schema up to date."""
    database_url, owner_url = os.environ.get("DATABASE_URL"), os.environ.get("MIGRATION_DATABASE_URL")
    if database_url is None:
        postgres = parts.enter_context(run_postgres(folder))
        database_url, owner_url = postgres.application_url, postgres.owner_url
    redis_url = os.environ.get("REDIS_URL") or parts.enter_context(RedisServer(folder)).url
    authority = make_demonstration_authority(folder / "authority", now=datetime.now(UTC))
    settings = WorkerSettings(
        database_url=SecretStr(database_url),
        redis_url=SecretStr(redis_url),
        blob_dir=folder / "blobs",
        signing_pkcs12_file=authority.pkcs12_file,
        signing_passphrase_file=authority.passphrase_file,
        signing_trust_file=authority.root_file,
        timestamp_url=SecretStr(parts.enter_context(serve_time(authority))),
        # Whoever else the environment trusts for the time, or signs by, does not here.
        timestamp_trust_file=None,
        signing_pkcs11_module=None,
    )
    if owner_url is not None:
        migrate(owner_url, application_role=settings.application_role)
    return settings, authority


def environment_of(settings: WorkerSettings) -> dict[str, str]:
    """Return the environment that gives a part these settings, beside our own."""
    told = dict(os.environ)
    for name, value in settings:
        plain = value.get_secret_value() if isinstance(value, SecretStr) else value
        # Empty is not set.
        told[name.upper()] = "" if plain is None else str(plain)
    return told


def wait_until_ready(base_url: str) -> None:
    """Wait until the API answers and has its database."""
    give_up_at = time.monotonic() + _READY_WITHIN_S
    while time.monotonic() < give_up_at:
        try:
            if httpx.get(f"{base_url}/health/ready", timeout=5).is_success:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.05)
    raise DemoNotPossibleError("the API did not become ready")


def issue_administrator(settings: WorkerSettings) -> str:
    """Issue a token that opens everything, and return its text."""
    engine = make_engine(settings.database_url.get_secret_value(), pool_size=1)
    with transaction(engine) as session:
        form = TokenForm(kind=TokenKind.ADMINISTRATOR)
        _, text = issue_token(session, form, now=datetime.now(UTC), issuer=None)
    engine.dispose()
    return text
