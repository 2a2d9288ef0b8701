"""A job that fails is tried again, then parked where somebody sees why; other jobs go on meanwhile."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Never
from uuid import UUID, uuid4

import pytest
from sqlalchemy import text
from sqlmodel import select

from service.storage import jobs
from service.storage.blobs import BlobStore
from service.storage.jobs import Lease
from service.storage.session import transaction
from service.storage.tables import Job, Package
from service.vocabulary.states import JobKind
from service.vocabulary.words import TokenKind
from tests.factories import make_design, make_splice, on_other_cable
from tests.integration.faults.acts import expire, finished_route, hurry, job_of, package_file, submission, submit
from tests.integration.small_disks import small_disk
from tests.world import World
from worker.jobs.context import StepContext
from worker.jobs.runner import run_job
from worker.sealing.trust_services import trust_of
from worker.signing.check.verify import verify
from worker.signing.trust.role_trust import RoleTrust
from worker.steps import judge
from worker.tasks import STEPS

_LEFT = text("SELECT extract(epoch FROM leased_until - now()) FROM job WHERE id = :id")


class WorkerDiesError(BaseException):
    """Ends a run as SIGKILL does: nothing after it is done."""


def test_a_job_that_kills_its_worker_is_given_up_after_so_many_attempts(world: World) -> None:
    tried = []

    def die(_: StepContext, lease: Lease) -> Never:
        tried.append(lease.attempts)
        raise WorkerDiesError

    world.post_records([make_splice()])
    job_id = job_of(world, JobKind.JUDGE).id
    for _ in range(world.settings.max_attempts):
        with pytest.raises(WorkerDiesError):
            run_job(world.context, replace(judge.STEP, run=die), job_id)
        expire(world, JobKind.JUDGE)
    run_job(world.context, replace(judge.STEP, run=die), job_id)
    assert tried == list(range(1, world.settings.max_attempts + 1))
    job = job_of(world, JobKind.JUDGE)
    assert (job.state, "the worker ended" in (job.last_error or "")) == ("parked", True)
    world.post_records([make_splice(fibres=[2])])
    world.drain()
    assert world.status()["is_judged"]


def test_a_route_that_can_not_be_judged_is_parked_and_another_is_judged(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = f"/v1/projects/{world.project_id}"
    other = world.ask(TokenKind.CONTRACTOR, "POST", f"{path}/routes", json=on_other_cable(make_design(), "R2"))["id"]
    for kind, way in ((TokenKind.ENGINEER, "criteria"), (TokenKind.CONTRACTOR, "criteria/acknowledgement")):
        world.ask(kind, "PUT", f"/v1/routes/{other}/{way}", json={"version": 1})
    broken = UUID(world.route_id)

    def judge_all_but_one(context: StepContext, lease: Lease) -> None:
        if lease.subject_id == broken:
            raise ZeroDivisionError("a fault of ours")
        judge.run(context, lease)

    world.post_records([make_splice()])
    step = replace(judge.STEP, run=judge_all_but_one)
    for _ in range(world.settings.max_attempts):
        for job in _jobs(world, JobKind.JUDGE):
            run_job(world.context, step, job.id)
        _hurry_all(world)
    states = {job.subject_id: (job.state, job.attempts, job.last_error) for job in _jobs(world, JobKind.JUDGE)}
    assert states[broken] == ("parked", world.settings.max_attempts, "ZeroDivisionError: a fault of ours")
    assert states[UUID(other)][0] == "idle"
    assert not world.status()["is_judged"]
    world.post_records([make_splice(fibres=[2])])
    world.drain()
    assert world.status()["is_judged"]


def test_a_package_without_a_place_to_keep_it_is_put_back_and_made_when_there_is_one(world: World) -> None:
    world.post_records(finished_route())
    world.drain()
    blobs: Path = world.settings.blob_dir
    blobs.rmdir()
    blobs.write_text("a file where the folder should be")
    made = submit(world)
    world.drain()
    job = job_of(world, JobKind.PACKAGE)
    assert (job.state, job.attempts, job.outage_since is not None) == ("due", 0, True)
    assert "Files cannot be kept" in (job.last_error or "")
    assert submission(world, made)["state"] == "queued"
    blobs.unlink()
    hurry(world, JobKind.PACKAGE)
    world.drain()
    assert submission(world, made)["state"] == "issued"
    assert (job_of(world, JobKind.PACKAGE).state, job_of(world, JobKind.PACKAGE).last_error) == ("done", None)


def test_a_full_disk_is_waited_for_and_judging_goes_on_meanwhile(world: World, tmp_path: Path) -> None:
    world.post_records(finished_route())
    world.drain()
    with small_disk(tmp_path / "disk", size_bytes=400_000) as disk:
        world.context = replace(world.context, blobs=BlobStore(disk))
        filler = disk / "filler"
        filler.write_bytes(bytes(380_000))
        made = submit(world)
        for _ in range(world.settings.max_attempts + 1):
            world.drain()
            job = job_of(world, JobKind.PACKAGE)
            assert (job.state, job.attempts) == ("due", 0)
            hurry(world, JobKind.PACKAGE)
        assert "Files cannot be kept" in (job.last_error or "")
        world.post_records([make_splice(id=str(uuid4()))])
        filler.unlink()
        world.drain()
        assert world.status()["is_judged"]
        assert submission(world, made)["state"] == "issued"


def test_a_package_that_can_not_be_made_is_parked_and_its_segments_are_free_again(world: World) -> None:
    def no_key() -> Never:
        raise FileNotFoundError("the key is gone")

    world.post_records(finished_route())
    world.drain()
    made = submit(world)
    etags = {_status_etag(world)}
    without_key = replace(world.context, load_key=no_key)
    job_id = job_of(world, JobKind.PACKAGE).id
    for attempt in range(1, world.settings.max_attempts + 1):
        run_job(without_key, STEPS[JobKind.PACKAGE], job_id)
        if attempt < world.settings.max_attempts:
            assert submission(world, made)["state"] == "queued"
            hurry(world, JobKind.PACKAGE)
    state = submission(world, made)
    assert (state["state"], state["problem"]) == ("parked", "FileNotFoundError: the key is gone")
    etags.add(_status_etag(world))
    assert len(etags) == 2
    again = submit(world)
    world.drain()
    assert submission(world, again)["state"] == "issued"


def test_a_trust_file_that_is_gone_fails_the_job_and_is_seen(world: World) -> None:
    gone = world.settings.model_copy(update={"signing_trust_file": Path("/nowhere/root.pem")})
    world.context = replace(world.context, trust=lambda: trust_of(gone))
    world.post_records(finished_route())
    world.drain()
    # What needs no trust goes on.
    assert world.status()["is_judged"]
    made = submit(world)
    world.drain()
    _accept(world, submission(world, made)["package_id"])
    for _ in range(world.settings.max_attempts):
        world.drain()
        job = job_of(world, JobKind.COUNTERSIGN)
        assert "/nowhere/root.pem" in (job.last_error or "")
        if job.state == "due":
            hurry(world, JobKind.COUNTERSIGN)
    assert (job.state, job.attempts) == ("parked", world.settings.max_attempts)


def test_a_package_whose_lease_ran_out_at_the_end_is_issued_once(world: World) -> None:
    world.post_records(finished_route())
    world.drain()
    made = submit(world)
    job_id = job_of(world, JobKind.PACKAGE).id

    def lose_lease(context: StepContext, lease: Lease) -> None:
        expire(world, JobKind.PACKAGE)
        run_job(context, STEPS[JobKind.PACKAGE], job_id)
        STEPS[JobKind.PACKAGE].run(context, lease)

    run_job(world.context, replace(STEPS[JobKind.PACKAGE], run=lose_lease), job_id)
    with transaction(world.engine) as session:
        [package] = session.exec(select(Package)).all()
    state = submission(world, made)
    assert (state["state"], state["package_id"]) == ("issued", str(package.id))
    assert job_of(world, JobKind.PACKAGE).state == "done"
    report = verify(
        package_file(world, str(package.id)), trust=RoleTrust(service=world.context.trust()), now=datetime.now(UTC)
    )
    assert report.is_sound


@pytest.mark.parametrize("error", [timedelta(hours=-1), timedelta(hours=1)], ids=["slow", "fast"])
def test_leases_follow_the_databases_clock_and_not_the_workers(world: World, error: timedelta) -> None:
    wrong = replace(world.context, clock=lambda: datetime.now(UTC) + error)
    world.post_records([make_splice()])
    job_id = job_of(world, JobKind.JUDGE).id
    held = []

    def look(context: StepContext, lease: Lease) -> None:
        with transaction(world.engine) as session:
            left = session.connection().execute(_LEFT, {"id": job_id})
            held.append(float(left.scalar_one()))
        with transaction(world.engine) as session:
            assert jobs.take_lease(session, job_id, lease=timedelta(seconds=1)) is None
        judge.run(context, lease)

    run_job(wrong, replace(judge.STEP, run=look), job_id)
    assert world.settings.lease_s - 5 < held[0] <= world.settings.lease_s
    run_job(wrong, STEPS[JobKind.SETTLE], job_of(world, JobKind.SETTLE).id)
    assert world.status()["is_judged"]
    # A verdict settled "in an hour" or "an hour ago" does not keep the next one from being settled at once.
    world.post_records([make_splice(id=str(uuid4()), fibres=[2])])
    run_job(world.context, judge.STEP, job_id)
    assert (job_of(world, JobKind.SETTLE).due_at - datetime.now(UTC)) < timedelta(seconds=2)


def _accept(world: World, package_id: str) -> None:
    package = world.ask(TokenKind.ENGINEER, "GET", f"/v1/packages/{package_id}")
    form = {"package_sha256": package["certified_sha256"], "segments": {"SEG1": "accepted"}}
    headers = {"If-Match": f'"{package["current_sha256"]}"'}
    path = f"/v1/packages/{package_id}/decision"
    assert world.call(TokenKind.ENGINEER, "POST", path, json=form, headers=headers).is_success


def _jobs(world: World, kind: JobKind) -> list[Job]:
    with transaction(world.engine) as session:
        return list(session.exec(select(Job).where(Job.kind == kind.value)))


def _hurry_all(world: World) -> None:
    with transaction(world.engine) as session:
        for job in session.exec(select(Job).where(Job.state == "due")):
            job.due_at = job.due_at.replace(year=2000)


def _status_etag(world: World) -> str:
    return world.call(TokenKind.CONTRACTOR, "GET", f"/v1/routes/{world.route_id}/acceptance").headers["ETag"]
