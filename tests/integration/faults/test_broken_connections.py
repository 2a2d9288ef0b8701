"""A worker tries no connection before it uses it: one that broke costs no attempt, and no work."""

import pytest
from sqlalchemy.engine import make_url

from service.vocabulary.states import JobKind, JobState
from tests.conftest import Servers
from tests.factories import make_splice
from tests.integration.faults.acts import hurry, job_of
from tests.integration.faults.pausing import before_write
from tests.world import World
from worker.jobs.runner import run_job
from worker.steps import judge
from worker.tasks import STEPS


def test_connections_that_broke_while_nobody_used_them_cost_a_job_nothing(world: World, servers: Servers) -> None:
    world.post_records([make_splice()])
    world.drain()
    world.post_records([make_splice(fibres=[2])])
    job_id = job_of(world, JobKind.JUDGE).id
    assert _break_connections(world, servers) > 0
    run_job(world.context, STEPS[JobKind.JUDGE], job_id)
    assert job_of(world, JobKind.JUDGE).state is JobState.IDLE
    assert world.status()["fibres_waiting"] == 0


def test_a_connection_that_breaks_within_a_step_is_an_outage_and_no_attempt(
    world: World, servers: Servers, monkeypatch: pytest.MonkeyPatch
) -> None:
    world.post_records([make_splice()])
    before_write(monkeypatch, judge, lambda: _break_connections(world, servers))
    run_job(world.context, STEPS[JobKind.JUDGE], job_of(world, JobKind.JUDGE).id)
    job = job_of(world, JobKind.JUDGE)
    assert (job.state, job.attempts) == (JobState.DUE, 0)
    assert job.outage_since is not None
    assert "database is away" in str(job.last_error)
    hurry(world, JobKind.JUDGE)
    world.drain()
    assert world.status()["is_judged"]


def _break_connections(world: World, servers: Servers) -> int:
    """Kill every backend of the world's database, and return how many there were."""
    database = make_url(world.settings.database_url.get_secret_value()).database
    statement = (
        "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = %s AND pid <> pg_backend_pid()"
    )
    with servers.postgres.connect(database="postgres") as superuser:
        return len(superuser.execute(statement, [database]).fetchall())
