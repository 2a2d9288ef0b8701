"""A worker that takes nothing of what is due says so and ends; one that knows what it waits for stays."""

import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from service.storage.session import transaction
from service.vocabulary.states import JobKind
from tests.conftest import Servers
from tests.factories import make_splice
from tests.integration.faults.acts import job_of
from tests.integration.faults.processes import Part, wait_until
from tests.world import World
from worker.app import redis_client
from worker.commands.liveness import EXIT_DEAF, WorkerWatch, beat_into, watch_rounds

pytestmark = pytest.mark.timeout(120)


class Watched:
    """A worker's watch in this process, which begins nothing, and what it did."""

    def __init__(self, world: World, folder: Path, **changes: Any) -> None:
        self.file, self.ends, self.now_s = folder / "heartbeat", 0, 0.0
        known: dict[str, Any] = {"kinds": frozenset(JobKind), "places": 1, "slowest_s": 60.0, "taken_within_s": 20.0}
        self.watch = WorkerWatch(
            engine=world.engine,
            redis=redis_client(world.settings),
            beat=beat_into(self.file),
            end=self._end,
            stopwatch=lambda: self.now_s,
            **known | changes,
        )

    def look(self, *, after_s: float = 0) -> tuple[str | None, int]:
        """Look once, so much later; return what it said, up to the first colon, and how often it ended the process."""
        self.now_s += after_s
        self.file.unlink(missing_ok=True)
        self.watch.look()
        said = self.file.read_text().split(":")[0].strip() if self.file.exists() else None
        return said, self.ends

    def _end(self) -> None:
        self.ends += 1


@pytest.fixture
def redis(servers: Servers) -> Iterator[None]:
    servers.redis.start()
    yield
    servers.redis.start()


def _hint_in_vain(world: World, *, due_s: float = 30, hinted_s: float = 10) -> None:
    """Leave a job as it is when its hint reached nobody."""
    world.post_records([make_splice()])
    _stamp(world, due_s=due_s, hinted_s=hinted_s)


def _stamp(world: World, *, due_s: float, hinted_s: float) -> None:
    statement = text("UPDATE job SET due_at = now() - :due, hinted_at = now() - :hinted WHERE state = 'due'")
    with transaction(world.engine) as session:
        ago = {"due": timedelta(seconds=due_s), "hinted": timedelta(seconds=hinted_s)}
        session.connection().execute(statement, ago)


def test_a_worker_with_nothing_to_do_is_well(world: World, redis: None, tmp_path: Path) -> None:
    watched = Watched(world, tmp_path)
    assert watched.look(after_s=30) == ("ready", 0)


def test_a_worker_that_takes_nothing_of_what_is_due_ends(world: World, redis: None, tmp_path: Path) -> None:
    watched = Watched(world, tmp_path)
    _hint_in_vain(world)
    assert watched.look(after_s=30) == (None, 1)


def test_a_hint_on_its_way_and_other_workers_jobs_are_no_reason(world: World, redis: None, tmp_path: Path) -> None:
    _hint_in_vain(world, due_s=30, hinted_s=2)
    assert Watched(world, tmp_path).look(after_s=30) == ("ready", 0)
    _hint_in_vain(world)
    foreign = Watched(world, tmp_path, kinds=frozenset({JobKind.CHECK_UPLOAD}))
    assert foreign.look(after_s=30) == ("ready", 0)


def test_a_relay_that_hints_no_more_is_no_fault_of_a_workers(world: World, redis: None, tmp_path: Path) -> None:
    watched = Watched(world, tmp_path)
    _hint_in_vain(world, due_s=120, hinted_s=60)
    assert watched.look(after_s=30) == ("ready", 0)


def test_a_queue_or_a_database_that_is_away_and_a_wrong_clock_are_waited_for_in_silence(
    world: World, servers: Servers, redis: None, tmp_path: Path
) -> None:
    watched = Watched(world, tmp_path)
    wrong = Watched(world, tmp_path, clock=lambda: datetime.now(UTC) + timedelta(minutes=3))
    _hint_in_vain(world)
    assert wrong.look(after_s=30) == ("waits", 0)
    servers.redis.stop()
    assert watched.look(after_s=30) == ("waits", 0)
    servers.redis.start()
    # Back a moment ago: hints are on their way again.
    assert watched.look() == (None, 0)
    assert watched.look(after_s=30) == (None, 1)


def test_a_real_worker_that_hears_no_hint_ends_by_itself(world: World, redis: None, tmp_path: Path) -> None:
    beats = tmp_path / "heartbeat"
    with Part("worker", world.settings, tmp_path / "worker.log", arguments=["--heartbeat-file", str(beats)]) as worker:
        wait_until(beats.exists)
        wait_until(lambda: bool(worker.children()))
        children = worker.children()
        # No relay runs: the job is due and said to be hinted at, and no hint is in the queue.
        _hint_in_vain(world)

        def has_ended() -> bool:
            _stamp(world, due_s=30, hinted_s=10)
            return not worker.is_running

        wait_until(has_ended, every_s=1)
        assert worker.exit_code == EXIT_DEAF
        assert "worker.deaf" in worker.log.read_text()
        wait_until(lambda: not any(Path(f"/proc/{child}").exists() for child in children))
    assert job_of(world, JobKind.JUDGE).state == "due"


def test_a_relay_whose_loop_stands_still_ends_and_one_that_moves_does_not() -> None:
    stuck, moving, stood_at = threading.Event(), threading.Event(), time.monotonic()
    watch_rounds(time.monotonic, end=moving.set, stuck_after_s=0.2)
    watch_rounds(lambda: stood_at, end=stuck.set, stuck_after_s=0.2)
    assert stuck.wait(5)
    assert not moving.wait(0.5)
