"""The commands of the compose file, with its environment, as processes of another user who has no capability."""

import os
import signal
import socket
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest

from service.vocabulary.words import TokenKind
from tests.compose import OURS, SECRETS, read_compose
from tests.factories import make_splice
from tests.integration.faults.processes import wait_until
from tests.other_user import OtherUser, make_other_user
from worker.demo.authority.throwaway import make_demonstration_authority
from worker.demo.embedded.account import give
from worker.demo.embedded.postgres import PostgresServer, run_postgres
from worker.demo.embedded.redis import RedisServer
from worker.demo.embedded.stack_folder import private_folder
from worker.demo.parties import agree_on_criteria, open_project

pytestmark = pytest.mark.timeout(240)


@dataclass(frozen=True, kw_only=True)
class Deployment:
    """What stands on this machine for what the compose file names."""

    user: OtherUser
    folder: Path
    places: Mapping[str, str]
    services: Any
    port: int

    def command(self, part: str) -> list[str]:
        """Return a part's command, with our places in it."""
        return [self._here(word, part) for word in self.services[part]["command"]]

    def environment(self, part: str) -> dict[str, str]:
        """Return a part's environment, with our places in it."""
        return {name: self._here(value, part) for name, value in self.services[part]["environment"].items()}

    def log(self, part: str) -> Path:
        return self.folder / f"{part}.log"

    def _here(self, word: str, part: str) -> str:
        for place, ours in {**self.places, "/tmp/heartbeat": str(self.folder / f"beat-{part}")}.items():
            word = word.replace(place, ours)
        return word

    @contextmanager
    def running(self, part: str) -> Iterator[int]:
        """Run a part; give its number."""
        with self.log(part).open("wb") as log:
            process = self.user.popen(*self.command(part), environment=self.environment(part), stdout=log, stderr=log)
        try:
            yield process.pid
        finally:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@pytest.fixture
def deployment() -> Iterator[Deployment]:
    with private_folder() as folder, run_postgres(folder) as postgres, RedisServer(folder) as redis:
        user = make_other_user(folder)
        authority = make_demonstration_authority(folder / "secrets", now=datetime.now(UTC))
        for name in ("files", "trust"):
            (folder / name).mkdir()
        authority.root_file.rename(folder / "trust" / authority.root_file.name)
        for name in ("secrets", "files", "trust"):
            give(folder / name, owner=user.account)
        with socket.create_server(("127.0.0.1", 0)) as listener:
            port = listener.getsockname()[1]
        services = read_compose(SECRETS)["services"]
        assert {one.name for one in (authority.root_file, authority.pkcs12_file, authority.passphrase_file)} == {
            Path(services["worker"]["environment"][name]).name
            for name in ("SIGNING_TRUST_FILE", "SIGNING_PKCS12_FILE", "SIGNING_PASSPHRASE_FILE")
        }
        yield Deployment(
            user=user, folder=folder, places=_places(postgres, redis.url, folder, port), services=services, port=port
        )


def _places(postgres: PostgresServer, redis_url: str, folder: Path, port: int) -> dict[str, str]:
    return {
        "postgresql+psycopg://acceptance_app:a@postgres/acceptance": postgres.application_url,
        "postgresql+psycopg://acceptance_owner:o@postgres/acceptance": postgres.owner_url,
        "redis://redis:6379/0": redis_url,
        "/var/lib/acceptance": str(folder / "files"),
        "/run/acceptance": str(folder / "secrets"),
        "/run/trust": str(folder / "trust"),
        "0.0.0.0": "127.0.0.1",
        "8080": str(port),
    }


def test_the_parts_judge_a_record_as_a_user_without_capabilities(deployment: Deployment) -> None:
    user = deployment.user
    user.run(*deployment.command("migrate"), environment=deployment.environment("migrate"))
    with ExitStack() as parts:
        pids = {name: parts.enter_context(deployment.running(name)) for name in OURS if name != "migrate"}
        url = f"http://127.0.0.1:{deployment.port}"
        wait_until(lambda: _is_ready(url))
        for name, pid in pids.items():
            _has_no_rights(pid, user)
            wait_until((deployment.folder / f"beat-{name}").exists)
        token = user.run("token", "administrator", environment=deployment.environment("api")).strip()
        with httpx.Client(base_url=url, timeout=30) as http:
            parties = open_project(http, token)
            agree_on_criteria(parties)
            splice = make_splice(id=str(uuid4()), site="C2", fibres=[7])
            form = {"sent_at": splice["made_at"], "records": [splice]}
            answer = parties.ask(TokenKind.CREW, "POST", f"/v1/routes/{parties.route_id}/records", json=form)
            assert [one["status"] for one in answer["results"]] == [201]
            assert parties.status()["is_judged"]
    for name in pids:
        # Not even a warning; the queue's library prints a banner.
        said = deployment.log(name).read_text()
        assert '"level":' not in said and "Traceback" not in said, said


def _is_ready(url: str) -> bool:
    try:
        return httpx.get(f"{url}/health/ready", timeout=5).is_success
    except httpx.TransportError:
        return False


def _has_no_rights(pid: int, user: OtherUser) -> None:
    """See what the kernel says of a process: whose it is, that it has no capability and can never have one."""
    status = dict(
        line.split(":\t", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines() if ":\t" in line
    )
    assert set(status["Uid"].split()) == {str(user.account.uid)} != {"0"}
    assert int(status["CapEff"], 16) == int(status["CapPrm"], 16) == 0
    assert status["NoNewPrivs"] == "1"
    if user.account.is_other_user:
        assert int(status["CapBnd"], 16) == 0
