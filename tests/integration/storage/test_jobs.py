"""The jobs table: one row per subject, one holder at a time, and nothing that is due is forgotten."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from sqlalchemy import Engine, text
from sqlmodel import col, select

from service.storage import jobs
from service.storage.jobs import JobKind, JobState, Lease, LeaseLostError
from service.storage.session import transaction
from service.storage.tables import Job
from worker.relay import HintNotTakenError, Relay

pytestmark = pytest.mark.slow
LEASE = timedelta(seconds=60)
NEVER_AGAIN = timedelta(hours=1)


def test_a_subject_made_due_many_times_has_one_job_and_the_earliest_time(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    for delay_s in (50, 20, 40):
        _make_due(engine, project_id, subject, delay_s=delay_s)
    job = _job(engine, subject)
    assert (job.state, job.attempts) == ("due", 0)
    assert 10 < _seconds_until_due(engine, subject) <= 20
    _make_due(engine, project_id, subject)
    assert _seconds_until_due(engine, subject) <= 0


def test_many_at_once_make_one_job(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    with ThreadPoolExecutor(8) as threads:
        list(threads.map(lambda _: _make_due(engine, project_id, subject), range(40)))
    with transaction(engine) as session:
        assert len(session.exec(select(Job).where(Job.subject_id == subject)).all()) == 1


def test_a_leased_job_is_left_alone(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    _make_due(engine, project_id, subject)
    lease = _take(engine, subject)
    assert lease is not None
    before = _job(engine, subject)
    _make_due(engine, project_id, subject)
    assert _job(engine, subject) == before
    with transaction(engine) as session:
        jobs.release(session, lease, JobState.IDLE)
    _make_due(engine, project_id, subject)
    assert _job(engine, subject).state == "due"


def test_of_two_who_reach_for_a_job_one_gets_it(engine: Engine, project_id: UUID) -> None:
    for _ in range(10):
        subject = uuid4()
        _make_due(engine, project_id, subject)
        job_id = _job(engine, subject).id
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
    _make_due(engine, project_id, subject, delay_s=30)
    assert _take(engine, subject) is None


def test_a_lease_that_ran_out_is_taken_over_and_its_first_holder_may_write_nothing(
    engine: Engine, project_id: UUID
) -> None:
    subject = uuid4()
    _make_due(engine, project_id, subject)
    first = _take(engine, subject, lease=timedelta(milliseconds=50))
    assert first is not None
    time.sleep(0.06)
    second = _take(engine, subject)
    assert second is not None
    assert (second.fence, second.attempts) == (first.fence + 1, 2)
    for write in (
        lambda session: jobs.hold(session, first),
        lambda session: jobs.release(session, first, JobState.IDLE),
        lambda session: jobs.put_back(session, first, "late"),
        lambda session: jobs.park(session, first, "late"),
    ):
        with pytest.raises(LeaseLostError), transaction(engine) as session:
            write(session)
    with transaction(engine) as session:
        jobs.hold(session, second)


def test_a_lease_that_runs_is_not_taken_over(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    _make_due(engine, project_id, subject)
    assert _take(engine, subject) is not None
    assert _take(engine, subject) is None


def test_a_failing_job_waits_longer_each_time_up_to_an_end(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    _make_due(engine, project_id, subject)
    waits_s = []
    for attempt in range(1, 11):
        lease = _take(engine, subject)
        assert lease is not None
        assert lease.attempts == attempt
        with transaction(engine) as session:
            jobs.put_back(session, lease, f"attempt {attempt}")
        waits_s.append(round(_seconds_until_due(engine, subject)))
        assert _take(engine, subject) is None
        _let_time_pass(engine, subject)
    assert waits_s == [2, 4, 8, 16, 32, 64, 128, 256, 300, 300]


def test_a_parked_job_says_why_and_rests_until_something_makes_it_due(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    _make_due(engine, project_id, subject)
    lease = _take(engine, subject)
    assert lease is not None
    with transaction(engine) as session:
        jobs.park(session, lease, "the key is gone")
    _let_time_pass(engine, subject)
    assert _take(engine, subject) is None
    assert _claim(engine, again_after=timedelta()) == []
    assert (_job(engine, subject).state, _job(engine, subject).last_error) == ("parked", "the key is gone")
    _make_due(engine, project_id, subject)
    assert (_job(engine, subject).state, _job(engine, subject).attempts) == ("due", 0)


def test_two_relays_get_different_jobs_and_miss_none(engine: Engine, project_id: UUID) -> None:
    subjects = {uuid4() for _ in range(30)}
    for subject in subjects:
        _make_due(engine, project_id, subject)
    with transaction(engine) as one, transaction(engine) as other:
        first = jobs.claim_hints(one, again_after=NEVER_AGAIN, limit=20)
        second = jobs.claim_hints(other, again_after=NEVER_AGAIN, limit=20)
    ids = [job_id for job_id, _ in (*first, *second)]
    assert len(ids) == len(set(ids)) == len(subjects)


def test_a_hint_is_given_again_only_after_its_time(engine: Engine, project_id: UUID) -> None:
    _make_due(engine, project_id, uuid4())
    assert len(_claim(engine, again_after=timedelta(seconds=0.3))) == 1
    assert len(_claim(engine, again_after=timedelta(seconds=0.3))) == 0
    time.sleep(0.31)
    assert len(_claim(engine, again_after=timedelta(seconds=0.3))) == 1


def test_a_relay_that_fails_leaves_its_hints_to_the_next(engine: Engine, project_id: UUID) -> None:
    _make_due(engine, project_id, uuid4())
    with pytest.raises(RuntimeError, match="gone"), transaction(engine) as session:
        assert len(jobs.claim_hints(session, again_after=NEVER_AGAIN)) == 1
        raise RuntimeError("gone")
    assert len(_claim(engine, again_after=NEVER_AGAIN)) == 1


def test_an_expired_lease_is_hinted_at(engine: Engine, project_id: UUID) -> None:
    subject = uuid4()
    _make_due(engine, project_id, subject)
    assert len(_claim(engine, again_after=timedelta(milliseconds=10))) == 1
    assert _take(engine, subject, lease=timedelta(milliseconds=200)) is not None
    time.sleep(0.02)
    assert _claim(engine, again_after=timedelta(milliseconds=10)) == []
    time.sleep(0.2)
    assert len(_claim(engine, again_after=timedelta(milliseconds=10))) == 1


def test_the_next_moment_is_the_earliest_at_which_a_hint_is_owed(engine: Engine, project_id: UUID) -> None:
    again = timedelta(seconds=15)
    assert _seconds_to_next(engine, again) is None
    later, soon = uuid4(), uuid4()
    _make_due(engine, project_id, later, delay_s=50)
    assert 49 < (_seconds_to_next(engine, again) or 0) <= 50
    _make_due(engine, project_id, soon)
    assert _seconds_to_next(engine, again) == 0
    assert len(_claim(engine, again_after=again)) == 1
    assert 14 < (_seconds_to_next(engine, again) or 0) <= 15
    lease = _take(engine, soon, lease=timedelta(seconds=30))
    assert lease is not None
    assert 29 < (_seconds_to_next(engine, again) or 0) <= 30
    with transaction(engine) as session:
        jobs.release(session, lease, JobState.DONE)
    assert 48 < (_seconds_to_next(engine, again) or 0) <= 50


def test_the_relay_is_woken_at_commit_and_sleeps_otherwise(engine: Engine, project_id: UUID) -> None:
    hinted: list[tuple[float, UUID]] = []
    waits_s: list[float] = []
    stop = threading.Event()
    relay = Relay(engine, lambda _, job_id: hinted.append((time.monotonic(), job_id)), hint_again_s=3600)
    thread = threading.Thread(target=relay.run, args=(stop,))
    thread.start()
    try:
        time.sleep(0.5)
        for number in range(1, 6):
            _make_due(engine, project_id, uuid4())
            committed_at = time.monotonic()
            _wait_until(lambda expected=number: len(hinted) == expected)
            waits_s.append(hinted[-1][0] - committed_at)
    finally:
        stop.set()
        thread.join(10)
    assert len({job_id for _, job_id in hinted}) == len(hinted)
    # Far below the second after which it sweeps without any word.
    assert sorted(waits_s)[len(waits_s) // 2] < 0.2


def test_the_relay_hints_at_what_becomes_due_by_time(engine: Engine, project_id: UUID) -> None:
    hinted: list[UUID] = []
    stop = threading.Event()
    relay = Relay(engine, lambda _, job_id: hinted.append(job_id), hint_again_s=3600)
    _make_due(engine, project_id, uuid4(), delay_s=0.7)
    thread = threading.Thread(target=relay.run, args=(stop,))
    thread.start()
    try:
        time.sleep(0.3)
        assert hinted == []
        _wait_until(lambda: len(hinted) == 1, within_s=2)
    finally:
        stop.set()
        thread.join(10)


def test_a_hint_that_the_queue_did_not_take_is_given_again_at_once(engine: Engine, project_id: UUID) -> None:
    for _ in range(3):
        _make_due(engine, project_id, uuid4())
    taken: list[UUID] = []

    def take_one(_: JobKind, job_id: UUID) -> None:
        if taken:
            raise HintNotTakenError("away")
        taken.append(job_id)

    with pytest.raises(HintNotTakenError):
        Relay(engine, take_one, hint_again_s=3600).sweep()
    again = [job_id for job_id, _ in _claim(engine, again_after=NEVER_AGAIN)]
    assert len(again) == 2
    assert taken[0] not in again


def test_a_queue_that_hangs_keeps_no_lock_on_a_job(engine: Engine, project_id: UUID) -> None:
    subject, reached, let_go = uuid4(), threading.Event(), threading.Event()

    def hang(*_: object) -> None:
        reached.set()
        let_go.wait(20)

    _make_due(engine, project_id, subject)
    sweep = threading.Thread(target=Relay(engine, hang, hint_again_s=3600).sweep)
    sweep.start()
    try:
        assert reached.wait(5)
        started_at = time.monotonic()
        _make_due(engine, project_id, subject)
        assert time.monotonic() - started_at < 1
    finally:
        let_go.set()
        sweep.join(30)


def _make_due(engine: Engine, project_id: UUID, subject: UUID, *, delay_s: float = 0) -> None:
    with transaction(engine) as session:
        jobs.make_due(
            session, JobKind.JUDGE, project_id=project_id, subject_id=subject, delay=timedelta(seconds=delay_s)
        )


def _take(engine: Engine, subject: UUID, *, lease: timedelta = LEASE) -> Lease | None:
    with transaction(engine) as session:
        return jobs.take_lease(session, _job(engine, subject).id, lease=lease)


def _job(engine: Engine, subject: UUID) -> Job:
    with transaction(engine) as session:
        return session.exec(select(Job).where(Job.subject_id == subject)).one()


def _claim(engine: Engine, *, again_after: timedelta) -> list[tuple[UUID, JobKind]]:
    with transaction(engine) as session:
        return list(jobs.claim_hints(session, again_after=again_after))


def _seconds_to_next(engine: Engine, again_after: timedelta) -> float | None:
    with transaction(engine) as session:
        return jobs.seconds_to_next(session, again_after=again_after)


def _seconds_until_due(engine: Engine, subject: UUID) -> float:
    statement = text("SELECT extract(epoch FROM due_at - now()) FROM job WHERE subject_id = :subject")
    with transaction(engine) as session:
        return float(session.connection().execute(statement, {"subject": subject}).scalar_one())


def _let_time_pass(engine: Engine, subject: UUID) -> None:
    with transaction(engine) as session:
        job = session.exec(select(Job).where(col(Job.subject_id) == subject)).one()
        job.due_at -= timedelta(hours=1)


def _wait_until(is_so: object, *, within_s: float = 5) -> None:
    assert callable(is_so)
    give_up_at = time.monotonic() + within_s
    while not is_so():
        assert time.monotonic() < give_up_at
        time.sleep(0.005)
