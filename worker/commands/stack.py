"""The whole stack on one machine: servers, schema, a throwaway key, API, relay and worker; gone when we are gone."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import httpx
from pydantic import SecretStr

from service.actions.tokens import issue_token
from service.settings import WorkerSettings
from service.storage.migrations import migrate
from service.storage.session import make_engine, transaction
from service.vocabulary.words import TokenKind
from worker.commands.embedded import private_folder, run_postgres, run_redis, serve_time
from worker.signing.authority import DemonstrationAuthority, make_demonstration_authority

_READY_WITHIN_S = 60.0
_STOP_WITHIN_S = 20.0


class StackNotReadyError(RuntimeError):
    """A part of the stack ended, or did not answer in time."""


@dataclass(frozen=True, kw_only=True)
class Stack:
    """A running stack, and how to reach it."""

    base_url: str
    settings: WorkerSettings
    authority: DemonstrationAuthority
    administrator: str
    logs: Path


@contextmanager
def run_stack(*, port: int = 0, concurrency: int = 1) -> Iterator[Stack]:
    """Run everything that a deployment runs, on sockets and files of our own."""
    with ExitStack() as parts:
        folder = parts.enter_context(private_folder())
        settings, authority = _prepare(parts, folder)
        listener = parts.enter_context(socket.create_server(("127.0.0.1", port)))
        logs = folder / "logs"
        logs.mkdir()
        environment = _environment(settings)
        host, bound_port = listener.getsockname()
        for name, arguments in (
            ("api", ["--descriptor", str(listener.fileno())]),
            ("relay", []),
            ("worker", ["--concurrency", str(concurrency)]),
            ("reader", []),
        ):
            handed = [listener.fileno()] if name == "api" else []
            parts.enter_context(_run_part(name, arguments, environment, logs, handed))
        base_url = f"http://{host}:{bound_port}"
        _wait_until_ready(base_url)
        yield Stack(
            base_url=base_url,
            settings=settings,
            authority=authority,
            administrator=_issue_administrator(settings),
            logs=logs,
        )


def _prepare(parts: ExitStack, folder: Path) -> tuple[WorkerSettings, DemonstrationAuthority]:
    """Start the servers that the environment does not name, and bring the schema up to date."""
    database_url, owner_url = os.environ.get("DATABASE_URL"), os.environ.get("MIGRATION_DATABASE_URL")
    if database_url is None:
        postgres = parts.enter_context(run_postgres(folder))
        database_url, owner_url = postgres.application_url, postgres.owner_url
    redis_url = os.environ.get("REDIS_URL") or parts.enter_context(run_redis(folder))
    authority = make_demonstration_authority(folder / "authority", now=datetime.now(UTC))
    settings = WorkerSettings(
        database_url=SecretStr(database_url),
        redis_url=SecretStr(redis_url),
        blob_dir=folder / "blobs",
        signing_pkcs12_file=authority.pkcs12_file,
        signing_passphrase_file=authority.passphrase_file,
        signing_trust_file=authority.root_file,
        timestamp_url=SecretStr(parts.enter_context(serve_time(authority))),
    )
    if owner_url is not None:
        migrate(owner_url, application_role=settings.application_role)
    return settings, authority


def _environment(settings: WorkerSettings) -> dict[str, str]:
    assert settings.timestamp_url is not None
    return {
        **os.environ,
        "TIMESTAMP_URL": settings.timestamp_url.get_secret_value(),
        # Empty is not set: whoever else the environment trusts for the time does not state it here.
        "TIMESTAMP_TRUST_FILE": "",
        "DATABASE_URL": settings.database_url.get_secret_value(),
        "REDIS_URL": settings.redis_url.get_secret_value(),
        "BLOB_DIR": str(settings.blob_dir),
        "SIGNING_PKCS12_FILE": str(settings.signing_pkcs12_file),
        "SIGNING_PASSPHRASE_FILE": str(settings.signing_passphrase_file),
        "SIGNING_TRUST_FILE": str(settings.signing_trust_file),
    }


@contextmanager
def _run_part(
    name: str, arguments: list[str], environment: Mapping[str, str], logs: Path, handed: list[int]
) -> Iterator[None]:
    with (logs / f"{name}.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "worker.commands.main", name, "--end-with-input", *arguments],
            env=dict(environment),
            stdin=subprocess.PIPE,
            stdout=log,
            stderr=log,
            pass_fds=handed,
            # Control-C in a terminal reaches the whole group: the parts end when we end them, in order.
            start_new_session=True,
        )
    try:
        yield
    finally:
        _end(process)


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.send_signal(signal.SIGTERM)
    try:
        process.wait(timeout=_STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
    if process.stdin is not None:
        process.stdin.close()


def _wait_until_ready(base_url: str) -> None:
    give_up_at = time.monotonic() + _READY_WITHIN_S
    while time.monotonic() < give_up_at:
        try:
            if httpx.get(f"{base_url}/health/ready", timeout=5).is_success:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.05)
    raise StackNotReadyError("the API did not become ready")


def _issue_administrator(settings: WorkerSettings) -> str:
    engine = make_engine(settings.database_url.get_secret_value(), pool_size=1)
    with transaction(engine) as session:
        _, text = issue_token(
            session,
            kind=TokenKind.ADMINISTRATOR,
            projects=[],
            holder=None,
            expires_at=None,
            now=datetime.now(UTC),
            issuer=None,
        )
    engine.dispose()
    return text
