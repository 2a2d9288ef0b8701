"""A worker whose clock is wrong states no time and decides nothing by the clock; it judges all the same."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from service.vocabulary.states import JobKind
from tests.integration.faults.acts import finished_route, hurry, job_of, submission, submit
from tests.world import World

WRONG = pytest.mark.parametrize("error", [timedelta(minutes=-3), timedelta(minutes=3)], ids=["behind", "ahead"])


def off_by(error: timedelta) -> Callable[[], datetime]:
    return lambda: datetime.now(UTC) + error


@WRONG
def test_nothing_is_signed_by_a_clock_that_is_not_the_databases(world: World, error: timedelta) -> None:
    right = world.context
    world.context = replace(right, clock=off_by(error))
    world.post_records(finished_route())
    world.drain()
    # Judging needs no clock.
    assert [one["status"] for one in world.status()["segments"]] == ["conforming"]
    made = submit(world)
    world.drain()
    assert submission(world, made)["state"] == "queued"
    job = job_of(world, JobKind.PACKAGE)
    assert (job.state, job.attempts) == ("due", 0)
    assert "clock is 180 s" in (job.last_error or "")
    world.context = right
    hurry(world, JobKind.PACKAGE)
    world.drain()
    assert submission(world, made)["state"] == "issued"


def test_a_minute_is_no_matter(world: World) -> None:
    world.context = replace(world.context, clock=off_by(timedelta(minutes=1)))
    world.post_records(finished_route())
    world.drain()
    made = submit(world)
    world.drain()
    assert submission(world, made)["state"] == "issued"
