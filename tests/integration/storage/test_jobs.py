"""The jobs table: one row per subject, one holder at a time, and nothing that is due is forgotten."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from sqlalchemy import Engine
from sqlmodel import select

from service.storage import jobs
from service.storage.jobs import Lease, LeaseLostError
from service.storage.session import transaction
from service.storage.tables import Job
from service.vocabulary.states import JobState
from tests.integration.storage.job_acts import (
    LEASE,
    NEVER_AGAIN,
    claim,
    job_of,
    let_time_pass,
    make_due,
    seconds_to_next,
    seconds_until_due,
    take,
)


def test_a_subject_made_due_many_times_has_one_job_and_the_earliest_time(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    for delay_s in (50, 20, 40):
        make_due(engine, project_id, subject, delay_s=delay_s)
    job = job_of(engine, subject)
    assert (job.state, job.attempts) == ("due", 0)
    assert 10 < seconds_until_due(engine, subject) <= 20
    make_due(engine, project_id, subject)
    assert seconds_until_due(engine, subject) <= 0


def test_many_at_once_make_one_job(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    with ThreadPoolExecutor(8) as threads:
        list(threads.map(lambda _: make_due(engine, project_id, subject), range(40)))
    with transaction(engine) as session:
        assert len(session.exec(select(Job).where(Job.subject_id == subject)).all()) == 1


def test_a_leased_job_is_left_alone(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    lease = take(engine, subject)
    assert lease is not None
    before = job_of(engine, subject)
    make_due(engine, project_id, subject)
    assert job_of(engine, subject) == before
    with transaction(engine) as session:
        jobs.release(session, lease, JobState.IDLE)
    make_due(engine, project_id, subject)
    assert job_of(engine, subject).state == "due"


def test_of_two_who_reach_for_a_job_one_gets_it(engine: Engine, project_id: UUID) -> None:
    for _ in range(10):
        subject = uuid4()
        make_due(engine, project_id, subject)
        job_id = job_of(engine, subject).id
        start = threading.Barrier(2)

        def reach(job_id: UUID = job_id, start: threading.Barrier = start) -> Lease | None:
            start.wait()
            with transaction(engine) as session:
                return jobs.take_lease(session, job_id, lease=LEASE)

        with ThreadPoolExecutor(2) as threads:
            leases = [threads.submit(reach).result for _ in range(2)]
            assert sorted(lease() is None for lease in leases) == [False, True]


def test_a_job_is_not_taken_before_its_time(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject, delay_s=30)
    assert take(engine, subject) is None


def test_a_lease_that_ran_out_is_taken_over_and_its_first_holder_may_write_nothing(
    engine: Engine, project_id: UUID
) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    first = take(engine, subject, lease=timedelta(milliseconds=50))
    assert first is not None
    time.sleep(0.06)
    second = take(engine, subject)
    assert second is not None
    assert (second.fence, second.attempts) == (first.fence + 1, 2)
    with pytest.raises(LeaseLostError), transaction(engine) as session:
        jobs.hold(session, first)
    with pytest.raises(LeaseLostError), transaction(engine) as session:
        jobs.release(session, first, JobState.IDLE)
    with pytest.raises(LeaseLostError), transaction(engine) as session:
        jobs.put_back(session, first, "late")
    with pytest.raises(LeaseLostError), transaction(engine) as session:
        jobs.park(session, first, "late")
    with transaction(engine) as session:
        jobs.hold(session, second)


def test_where_no_work_ends_a_worker_one_that_ended_is_no_attempt(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    job_id, short = job_of(engine, subject).id, timedelta(milliseconds=20)
    for fence in range(1, 10):
        with transaction(engine) as session:
            lease = jobs.take_lease(session, job_id, lease=short, counts_ended=False)
        assert lease is not None
        assert (lease.fence, lease.attempts) == (fence, 1)
        time.sleep(0.03)
    # A failure of its own is one.
    lease = take(engine, subject)
    assert lease is not None
    with transaction(engine) as session:
        jobs.put_back(session, lease, "a fault")
    let_time_pass(engine, subject)
    with transaction(engine) as session:
        again = jobs.take_lease(session, job_id, lease=short, counts_ended=False)
    assert again is not None
    assert again.attempts == lease.attempts + 1


def test_a_lease_that_runs_is_not_taken_over(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    assert take(engine, subject) is not None
    assert take(engine, subject) is None


def test_a_failing_job_waits_longer_each_time_up_to_an_end(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    waits_s = []
    for attempt in range(1, 11):
        lease = take(engine, subject)
        assert lease is not None
        assert lease.attempts == attempt
        with transaction(engine) as session:
            jobs.put_back(session, lease, f"attempt {attempt}")
        waits_s.append(round(seconds_until_due(engine, subject)))
        assert take(engine, subject) is None
        let_time_pass(engine, subject)
    assert waits_s == [2, 4, 8, 16, 32, 64, 128, 256, 300, 300]


def test_a_parked_job_says_why_and_rests_until_something_makes_it_due(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    lease = take(engine, subject)
    assert lease is not None
    with transaction(engine) as session:
        jobs.park(session, lease, "the key is gone")
    let_time_pass(engine, subject)
    assert take(engine, subject) is None
    assert claim(engine, again_after=timedelta()) == []
    assert (job_of(engine, subject).state, job_of(engine, subject).last_error) == ("parked", "the key is gone")
    make_due(engine, project_id, subject)
    assert (job_of(engine, subject).state, job_of(engine, subject).attempts) == ("due", 0)


def test_two_relays_get_different_jobs_and_miss_none(engine: Engine, project_id: UUID) -> None:
    subjects = {uuid4() for _ in range(30)}
    for subject in subjects:
        make_due(engine, project_id, subject)
    with transaction(engine) as one, transaction(engine) as other:
        first = jobs.claim_hints(one, again_after=NEVER_AGAIN, limit=20)
        second = jobs.claim_hints(other, again_after=NEVER_AGAIN, limit=20)
    ids = [job_id for job_id, _ in (*first, *second)]
    assert len(ids) == len(set(ids)) == len(subjects)


def test_a_hint_is_given_again_only_after_its_time(engine: Engine, project_id: UUID) -> None:
    make_due(engine, project_id, uuid4())
    assert len(claim(engine, again_after=timedelta(seconds=0.3))) == 1
    assert len(claim(engine, again_after=timedelta(seconds=0.3))) == 0
    time.sleep(0.31)
    assert len(claim(engine, again_after=timedelta(seconds=0.3))) == 1


def test_a_relay_that_fails_leaves_its_hints_to_the_next(engine: Engine, project_id: UUID) -> None:
    make_due(engine, project_id, uuid4())
    with pytest.raises(RuntimeError, match="gone"), transaction(engine) as session:
        assert len(jobs.claim_hints(session, again_after=NEVER_AGAIN)) == 1
        raise RuntimeError("gone")
    assert len(claim(engine, again_after=NEVER_AGAIN)) == 1


def test_an_expired_lease_is_hinted_at(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    make_due(engine, project_id, subject)
    assert len(claim(engine, again_after=timedelta(milliseconds=10))) == 1
    assert take(engine, subject, lease=timedelta(milliseconds=200)) is not None
    time.sleep(0.02)
    assert claim(engine, again_after=timedelta(milliseconds=10)) == []
    time.sleep(0.2)
    assert len(claim(engine, again_after=timedelta(milliseconds=10))) == 1


def test_the_next_moment_is_the_earliest_at_which_a_hint_is_owed(engine: Engine, project_id: UUID) -> None:
    again = timedelta(seconds=15)
    assert seconds_to_next(engine, again) is None
    later, soon = uuid4(), uuid4()
    make_due(engine, project_id, later, delay_s=50)
    assert 49 < (seconds_to_next(engine, again) or 0) <= 50
    make_due(engine, project_id, soon)
    assert seconds_to_next(engine, again) == 0
    assert len(claim(engine, again_after=again)) == 1
    assert 14 < (seconds_to_next(engine, again) or 0) <= 15
    lease = take(engine, soon, lease=timedelta(seconds=30))
    assert lease is not None
    assert 29 < (seconds_to_next(engine, again) or 0) <= 30
    with transaction(engine) as session:
        jobs.release(session, lease, JobState.DONE)
    assert 48 < (seconds_to_next(engine, again) or 0) <= 50
