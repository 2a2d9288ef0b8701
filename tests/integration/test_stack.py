"""The stack that `make serve` runs goes on whatever of it is killed."""

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import httpx
import pytest

from service.settings import WorkerSettings
from service.vocabulary.words import TokenKind
from tests.factories import make_splice
from tests.integration.faults.processes import wait_until
from worker.demo import supervisor
from worker.demo.parties import Parties, agree_on_criteria, open_project
from worker.demo.stack import Stack, environment_of, run_stack
from worker.demo.supervisor import Plan, Supervisor


@pytest.fixture(scope="module")
def said() -> list[str]:
    """Return what the supervisor says in the terminal."""
    return []


@pytest.fixture(scope="module")
def stack(said: list[str]) -> Iterator[Stack]:
    with run_stack(say=said.append) as stack:
        yield stack


@pytest.fixture(scope="module")
def parties(stack: Stack) -> Iterator[Parties]:
    with httpx.Client(base_url=stack.base_url, timeout=30) as http:
        parties = open_project(http, stack.administrator)
        agree_on_criteria(parties)
        yield parties


@pytest.mark.parametrize("name", ["api", "relay", "worker"])
def test_a_part_that_is_killed_comes_back_and_work_goes_on(
    stack: Stack, parties: Parties, said: list[str], name: str
) -> None:
    before = stack.supervisor.pids
    os.killpg(before[name], signal.SIGKILL)
    # The listening socket is not the API's own: who connects meanwhile waits, and is not refused.
    assert httpx.get(f"{stack.base_url}/health/ready", timeout=60).is_success
    splice = make_splice(id=str(uuid4()), site="C2", fibres=[7])
    form = {"sent_at": splice["made_at"], "records": [splice]}
    path = f"/v1/routes/{parties.route_id}/records"
    assert [one["status"] for one in parties.ask(TokenKind.CREW, "POST", path, json=form)["results"]] == [201]
    assert parties.status()["is_judged"]
    wait_until(lambda: stack.supervisor.pids.keys() == before.keys())
    assert {part for part, pid in stack.supervisor.pids.items() if pid != before[part]} == {name}
    assert said[-1] == f"{name} has ended (-9), and is started again"


def test_a_relay_that_hangs_is_ended_and_started_again(
    settings: WorkerSettings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(supervisor, "STOP_WITHIN_S", 0.5)
    said: list[str] = []
    plan = Plan(name="relay", heartbeat=tmp_path / "beat", silent_after_s=7.0)
    with Supervisor([plan], environment=environment_of(settings), logs=tmp_path, say=said.append) as kept:
        wait_until((tmp_path / "beat").exists)
        hung = kept.pids["relay"]
        os.kill(hung, signal.SIGSTOP)
        wait_until(lambda: kept.pids.get("relay", hung) != hung)
        assert said == ["relay has done nothing for 7 s: it is ended", "relay has ended (-9), and is started again"]
