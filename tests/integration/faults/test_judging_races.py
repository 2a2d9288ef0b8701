"""What is recorded while its route is judged is judged too, and no slow worker writes over a faster one."""

from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlmodel import col, select, update

from service.storage.session import transaction
from service.storage.tables import Fibre, Job, Route
from service.vocabulary.states import JobKind
from tests.factories import finished_fibre, make_splice
from tests.integration.faults.pausing import before_write
from tests.world import World
from worker.jobs.runner import run_job
from worker.steps import judge, settle
from worker.tasks import STEPS


def test_a_record_committed_while_its_route_is_judged_is_judged_next(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    late = make_splice(id=str(uuid4()), estimate_db=0.2, made_at="2025-03-04T08:00:00Z")
    before_write(monkeypatch, judge, lambda: world.post_records([late]))
    world.post_records([make_splice()])
    _run(world, JobKind.JUDGE)
    fibre = _fibre(world)
    assert late["id"] not in (fibre.content or "")
    assert fibre.judged_version < fibre.evidence_version
    assert _job(world, JobKind.JUDGE).state == "due"
    assert not world.status()["is_judged"]
    world.drain()
    fibre = _fibre(world)
    assert late["id"] in (fibre.content or "")
    assert fibre.judged_version == fibre.evidence_version
    assert world.status()["is_judged"]


def test_a_lower_version_is_not_written_over_a_higher_one(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def judge_higher() -> None:
        with transaction(world.engine) as session:
            session.execute(
                update(Fibre)
                .where(col(Fibre.number) == 1)
                .values(evidence_version=1000, judged_version=1000, content="higher", digest="higher")
            )

    before_write(monkeypatch, judge, judge_higher)
    world.post_records([make_splice(), make_splice(fibres=[2])])
    _run(world, JobKind.JUDGE)
    assert (_fibre(world).content, _fibre(world).judged_version) == ("higher", 1000)
    other = _fibre(world, number=2)
    assert other.judged_version == other.evidence_version > 1


def test_a_worker_whose_lease_was_taken_over_writes_nothing(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    left: list[Any] = []

    def take_over() -> None:
        world.post_records([make_splice(id=str(uuid4()), estimate_db=0.2)])
        _expire(world, JobKind.JUDGE)
        _run(world, JobKind.JUDGE)
        left.extend((_fibre(world), _route(world), _job(world, JobKind.JUDGE)))

    before_write(monkeypatch, judge, take_over)
    world.post_records([make_splice()])
    _run(world, JobKind.JUDGE)
    assert left == [_fibre(world), _route(world), _job(world, JobKind.JUDGE)]
    assert left[0].judged_version == left[0].evidence_version
    assert left[2].fence == 3
    world.drain()
    assert world.status()["is_judged"]


def test_a_worker_that_fails_after_its_lease_was_taken_over_changes_nothing(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    left: list[Any] = []

    def take_over_and_fail() -> None:
        _expire(world, JobKind.JUDGE)
        _run(world, JobKind.JUDGE)
        left.extend((_fibre(world), _route(world), _job(world, JobKind.JUDGE)))
        raise RuntimeError("too late")

    before_write(monkeypatch, judge, take_over_and_fail)
    world.post_records([make_splice()])
    _run(world, JobKind.JUDGE)
    assert left == [_fibre(world), _route(world), _job(world, JobKind.JUDGE)]


@pytest.mark.parametrize("count", [1, 12])
def test_a_route_that_changes_while_it_is_settled_is_settled_again(
    world: World, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    def go_on() -> None:
        for fibre in range(1, count + 1):
            world.post_records(finished_fibre(fibre=fibre))
        _run(world, JobKind.JUDGE)

    world.post_records([make_splice()])
    _run(world, JobKind.JUDGE)
    before = world.status()["verdict_digest"]
    before_write(monkeypatch, settle, go_on)
    _run(world, JobKind.SETTLE)
    assert not world.status()["is_judged"]
    world.drain()
    assert world.status()["is_judged"]
    assert world.status()["verdict_digest"] != before
    assert (world.status()["segments"][0]["status"] == "conforming") == (count == 12)


def test_a_route_whose_last_fibres_are_judged_while_it_is_settled_comes_to_a_verdict(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As on a route of more than 64 fibres: settling was due after the first run and finds fibres never judged.
    with transaction(world.engine) as session:
        session.execute(update(Fibre).where(col(Fibre.number) > 6).values(digest=None, judged_version=0))
    world.post_records([make_splice(fibres=[1])])
    _run(world, JobKind.JUDGE)
    with transaction(world.engine) as session:
        session.execute(update(Fibre).where(col(Fibre.number) > 6).values(digest=None, judged_version=0))
    world.post_records([make_splice(fibres=[7])])
    before_write(monkeypatch, settle, lambda: _run(world, JobKind.JUDGE))
    _run(world, JobKind.SETTLE)
    assert world.status()["fibres_waiting"] == 0
    before = world.status()["verdict_digest"]
    world.drain()
    assert world.status()["is_judged"]
    assert world.status()["verdict_digest"] != before


def _run(world: World, kind: JobKind) -> None:
    run_job(world.context, STEPS[kind], _job(world, kind).id)


def _job(world: World, kind: JobKind) -> Job:
    with transaction(world.engine) as session:
        return session.exec(select(Job).where(Job.kind == kind.value, Job.subject_id == UUID(world.route_id))).one()


def _expire(world: World, kind: JobKind) -> None:
    with transaction(world.engine) as session:
        job = session.exec(select(Job).where(Job.kind == kind.value, Job.state == "leased")).one()
        assert job.leased_until is not None
        job.leased_until = job.leased_until.replace(year=2000)


def _fibre(world: World, *, number: int = 1) -> Fibre:
    with transaction(world.engine) as session:
        return session.exec(select(Fibre).where(Fibre.number == number)).one()


def _route(world: World) -> Route:
    with transaction(world.engine) as session:
        return session.exec(select(Route)).one()
