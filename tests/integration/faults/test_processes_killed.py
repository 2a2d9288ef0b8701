"""Redis and workers die at any moment; what was recorded is judged and what was submitted is signed, once."""

import os
import random
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID, uuid4

import httpx
import pytest
from sqlalchemy import text
from sqlmodel import select

from service.storage.jobs import make_due
from service.storage.session import transaction
from service.storage.tables import AuditEntry, Package
from service.vocabulary.states import JobKind
from tests.conftest import Servers
from tests.factories import make_splice
from tests.integration.faults.acts import finished_route, job_of, package_file, submission, submit
from tests.integration.faults.processes import Part, wait_until
from tests.world import World
from worker.demo.embedded.redis import RedisServer
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust

pytestmark = pytest.mark.timeout(180)


@pytest.fixture
def redis(servers: Servers) -> Iterator[RedisServer]:
    """Lend the session's Redis, empty."""
    servers.redis.start()
    yield servers.redis
    servers.redis.start()


@pytest.fixture
def relay(world: World, redis: RedisServer, tmp_path: Path) -> Iterator[Part]:
    with Part("relay", world.settings, tmp_path / "relay.log") as relay:
        yield relay


@pytest.fixture
def worker(world: World, relay: Part, tmp_path: Path) -> Iterator[Part]:
    with Part("worker", world.settings, tmp_path / "worker.log") as worker:
        yield worker


def test_posting_goes_on_without_redis_and_judging_when_it_is_back_empty(
    world: World, redis: RedisServer, relay: Part, worker: Part
) -> None:
    _post_and_wait(world)
    redis.stop()
    assert _seconds_to_post(world) < 2
    time.sleep(1.5)
    assert not world.status()["is_judged"]
    redis.start()
    wait_until(lambda: bool(world.status()["is_judged"]))

    # A Redis that takes the connection and never answers is the worse case.
    assert redis.pid is not None
    os.kill(redis.pid, signal.SIGSTOP)
    try:
        for _ in range(8):
            assert _seconds_to_post(world) < 2
            time.sleep(0.3)
    finally:
        os.kill(redis.pid, signal.SIGCONT)
    wait_until(lambda: bool(world.status()["is_judged"]))
    assert relay.is_running
    assert worker.is_running
    assert relay.stop() == 0


def test_redis_killed_under_a_running_task_leaves_a_worker_that_takes_the_next(
    world: World, redis: RedisServer, relay: Part, worker: Part
) -> None:
    world.post_records(finished_route())
    wait_until(lambda: bool(world.status()["is_judged"]))
    relay_pid, worker_pid = relay.pid, worker.pid
    made = submit(world)
    wait_until(lambda: job_of(world, JobKind.PACKAGE).state == "leased", every_s=0.002)
    redis.kill()
    time.sleep(1)
    redis.start()
    wait_until(lambda: submission(world, made)["state"] == "issued")
    _post_and_wait(world)
    assert (relay.is_running, worker.is_running) == (True, True)
    assert (relay.pid, worker.pid) == (relay_pid, worker_pid)
    assert job_of(world, JobKind.PACKAGE).fence == 1


def test_workers_killed_in_the_middle_of_judging_leave_one_right_verdict(
    world: World, relay: Part, worker: Part
) -> None:
    draw = random.Random(7)
    records = finished_route()
    for number in range(3):
        world.post_records(records[number::3])
        wait_until(lambda: job_of(world, JobKind.JUDGE).state == "leased", every_s=0.001)
        time.sleep(draw.uniform(0, 0.05))
        worker.kill()
        worker.start()
    wait_until(lambda: bool(world.status()["is_judged"]))
    assert [one["status"] for one in world.status()["segments"]] == ["conforming"]
    # The package step judges everything from scratch and refuses to sign unless it comes to the same verdict.
    made = submit(world)
    wait_until(lambda: submission(world, made)["state"] != "queued")
    assert submission(world, made)["state"] == "issued"


def test_workers_killed_in_the_middle_of_signing_leave_one_package_that_verifies(
    world: World, relay: Part, worker: Part
) -> None:
    draw = random.Random(11)
    world.post_records(finished_route())
    wait_until(lambda: bool(world.status()["is_judged"]))
    made = submit(world)
    for fence in range(3):
        _wait_for_next_attempt(world, fence)
        time.sleep(draw.uniform(0, 0.2))
        if fence == 2:
            # The main process lives on and puts another in its place.
            worker.signal_children(signal.SIGKILL)
        else:
            worker.kill()
            worker.start()
    wait_until(lambda: submission(world, made)["state"] == "issued")
    time.sleep(1.5)
    with transaction(world.engine) as session:
        [package] = session.exec(select(Package)).all()
        signed = [one for one in session.exec(select(AuditEntry.entry)) if '"package.signed"' in one]
    assert len(signed) == 1
    assert job_of(world, JobKind.PACKAGE).fence > 1
    assert job_of(world, JobKind.PACKAGE).state == "done"
    assert world.settings.signing_trust_file is not None
    trust = [world.settings.signing_trust_file.read_bytes()]
    report = verify(package_file(world, str(package.id)), trust=RoleTrust(service=trust), now=datetime.now(UTC))
    assert report.problems == ()
    assert report.certified_sha256 == package.certified_sha256


def test_a_frozen_worker_loses_its_job_to_another(world: World, relay: Part, worker: Part, tmp_path: Path) -> None:
    world.post_records(finished_route())
    wait_until(lambda: bool(world.status()["is_judged"]))
    with _package_begun(world, relay) as made:
        worker.signal_children(signal.SIGSTOP)
    with Part("worker", world.settings, tmp_path / "another.log"):
        wait_until(lambda: submission(world, made)["state"] == "issued")
    assert job_of(world, JobKind.PACKAGE).fence > 1


def test_a_job_that_hangs_ends_its_process_says_where_and_is_done_by_the_next(
    world: World, relay: Part, worker: Part
) -> None:
    _post_and_wait(world)
    main = worker.pid
    with transaction(world.engine) as session:
        # Longer than the lease, and shorter than any limit of the database's: nothing comes forward meanwhile.
        session.connection().execute(text("SELECT 1 FROM route FOR UPDATE"))
        session.connection().execute(text("UPDATE fibre SET evidence_version = evidence_version + 1 WHERE number = 1"))
        with transaction(world.engine) as other:
            make_due(other, JobKind.JUDGE, project_id=UUID(world.project_id), subject_id=UUID(world.route_id))
        wait_until(lambda: job_of(world, JobKind.JUDGE).state == "leased", every_s=0.002)
        first = job_of(world, JobKind.JUDGE).fence
        wait_until(lambda: "Timeout" in worker.log.read_text(), within_s=20)
    wait_until(lambda: bool(world.status()["is_judged"]))
    assert job_of(world, JobKind.JUDGE).fence > first
    assert (worker.pid, worker.is_running) == (main, True)
    assert "worker/steps/judge.py" in worker.log.read_text()


def test_an_orderly_stop_gives_a_job_back_at_once(world: World, relay: Part, worker: Part, tmp_path: Path) -> None:
    world.post_records(finished_route())
    wait_until(lambda: bool(world.status()["is_judged"]))
    with _package_begun(world, relay) as made:
        os.kill(worker.pid, signal.SIGTERM)
    assert worker.stop() == 0
    given_back = job_of(world, JobKind.PACKAGE)
    assert (given_back.state, given_back.attempts) == ("due", 0)
    with Part("worker", world.settings, tmp_path / "another.log"):
        wait_until(lambda: submission(world, made)["state"] == "issued")


@pytest.mark.parametrize("part", ["worker", "child"])
def test_the_job_of_a_killed_worker_goes_on_within_twenty_seconds(
    world: World, redis: RedisServer, tmp_path: Path, part: str
) -> None:
    ordinary = {"LEASE_S": "15", "HINT_AGAIN_S": "10"}
    with ExitStack() as parts:
        relay = parts.enter_context(Part("relay", world.settings, tmp_path / "relay.log", environment=ordinary))
        first = parts.enter_context(Part("worker", world.settings, tmp_path / "first.log", environment=ordinary))
        world.post_records(finished_route())
        wait_until(lambda: bool(world.status()["is_judged"]))
        with _package_begun(world, relay):
            if part == "child":
                first.signal_children(signal.SIGKILL)
            else:
                first.kill()
                first.start()
        killed_at = time.monotonic()
        wait_until(lambda: job_of(world, JobKind.PACKAGE).fence > 1, within_s=30)
        assert time.monotonic() - killed_at < 20


@contextmanager
def _package_begun(world: World, relay: Part) -> Iterator[httpx.Response]:
    """Submit, and hold the package's job at its beginning while the block runs."""
    relay.kill()
    made = submit(world)
    with transaction(world.engine) as session:
        session.connection().execute(text("SELECT 1 FROM route FOR UPDATE"))
        relay.start()
        wait_until(lambda: job_of(world, JobKind.PACKAGE).state == "leased", every_s=0.002)
        yield made


def _wait_for_next_attempt(world: World, fence: int) -> None:
    """Wait until the package job is taken once more than so often, or is done."""

    def is_taken_or_done() -> bool:
        job = job_of(world, JobKind.PACKAGE)
        return job.fence > fence or job.state == "done"

    wait_until(is_taken_or_done, every_s=0.002)


def _post_and_wait(world: World) -> None:
    world.post_records([make_splice(id=str(uuid4()))])
    wait_until(lambda: bool(world.status()["is_judged"]))


def _seconds_to_post(world: World) -> float:
    started_at = time.monotonic()
    [answer] = world.post_records([make_splice(id=str(uuid4()))])["results"]
    assert answer["status"] == 201
    return time.monotonic() - started_at
