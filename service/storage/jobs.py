"""Jobs: rows that say what is to be done. They alone retry; a queue's message is only a hint to look here.

A job is idle (nothing to do), due, leased (a worker has it until a time), done, or parked (given up, with the reason).
Times are the database's, so that hosts with different clocks agree.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from uuid import UUID, uuid4

from sqlalchemy import ColumnElement, and_, func, or_, text, update
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import Session, col, select

from service.storage.tables import Job

DUE_CHANNEL = "job_due"
_LONGEST_DELAY_S = 300


class JobKind(StrEnum):
    """What there is to do."""

    JUDGE = "judge"
    SETTLE = "settle"
    PACKAGE = "package"
    COUNTERSIGN = "countersign"
    TRIAL = "trial"
    DEEM = "deem"
    CHECK_UPLOAD = "check_upload"


class JobState(StrEnum):
    """Where a job is."""

    IDLE = "idle"
    DUE = "due"
    LEASED = "leased"
    DONE = "done"
    PARKED = "parked"


@dataclass(frozen=True, kw_only=True)
class Lease:
    """A worker's hold on a job; a later holder has a higher fence, and then this one may write nothing."""

    job_id: UUID
    project_id: UUID
    kind: JobKind
    subject_id: UUID
    fence: int
    attempts: int


class LeaseLostError(Exception):
    """Another worker holds the job now."""


def make_due(
    session: Session, kind: JobKind, *, project_id: UUID, subject_id: UUID, delay: timedelta = timedelta()
) -> None:
    """Make a subject's job due after a delay, if it is not already, and wake the relay at commit.

    A leased job is left alone: before its holder lets go, it looks again, under the lock of the row that this
    transaction holds too.
    """
    due_at = func.now() + delay
    row = {
        "id": uuid4(),
        "project_id": project_id,
        "kind": kind.value,
        "subject_id": subject_id,
        "state": JobState.DUE.value,
        "due_at": due_at,
        "fence": 0,
        "attempts": 0,
    }
    statement = insert(Job).values(**row)
    is_waiting = col(Job.state) == JobState.DUE.value
    statement = statement.on_conflict_do_update(
        index_elements=["kind", "subject_id"],
        set_={
            "state": JobState.DUE.value,
            "due_at": func.least(statement.excluded.due_at, text("CASE WHEN job.state = 'due' THEN job.due_at END")),
            "hinted_at": text("CASE WHEN job.state = 'due' AND job.due_at <= now() THEN job.hinted_at END"),
            "attempts": text("CASE WHEN job.state = 'due' THEN job.attempts ELSE 0 END"),
        },
        where=or_(is_waiting, col(Job.state).in_([JobState.IDLE.value, JobState.DONE.value, JobState.PARKED.value])),
    )
    session.execute(statement)
    wake_relay(session)


def wake_relay(session: Session) -> None:
    """Tell the relay, at commit, that something is due."""
    session.execute(text(f"NOTIFY {DUE_CHANNEL}"))


def take_lease(session: Session, job_id: UUID, *, lease: timedelta) -> Lease | None:
    """Take a due job, or one whose holder's time has run out; None if there is nothing to take."""
    row = session.execute(
        update(Job)
        .where(col(Job.id) == job_id, _is_takeable())
        .values(
            state=JobState.LEASED.value,
            leased_until=func.now() + lease,
            fence=col(Job.fence) + 1,
            attempts=col(Job.attempts) + 1,
        )
        .returning(Job.project_id, Job.kind, Job.subject_id, Job.fence, Job.attempts)  # type: ignore[call-overload]
    ).one_or_none()
    if row is None:
        return None
    return Lease(
        job_id=job_id,
        project_id=row.project_id,
        kind=JobKind(row.kind),
        subject_id=row.subject_id,
        fence=row.fence,
        attempts=row.attempts,
    )


def release(session: Session, lease: Lease, state: JobState, *, delay: timedelta = timedelta()) -> None:
    """Let go of a job in a state, if it is still held; a job let go as due starts its attempts anew."""
    _write_held(session, lease, state=state.value, due_at=func.now() + delay, attempts=0, last_error=None)
    if state is JobState.DUE:
        wake_relay(session)


def put_back(session: Session, lease: Lease, reason: str) -> None:
    """Put a failed job back with a delay that grows with its attempts."""
    delay = timedelta(seconds=min(2**lease.attempts, _LONGEST_DELAY_S))
    _write_held(session, lease, state=JobState.DUE.value, due_at=func.now() + delay, last_error=reason)
    wake_relay(session)


def park(session: Session, lease: Lease, reason: str) -> None:
    """Give a job up, with the reason, until something makes it due anew."""
    _write_held(session, lease, state=JobState.PARKED.value, last_error=reason)


def hold(session: Session, lease: Lease) -> None:
    """Lock the job's row and make sure that it is still held: a lost fence may write nothing."""
    held = session.exec(
        select(Job.id).where(Job.id == lease.job_id, Job.fence == lease.fence, Job.state == "leased").with_for_update()
    ).one_or_none()
    if held is None:
        raise LeaseLostError(str(lease.job_id))


def claim_hints(session: Session, *, again_after: timedelta, limit: int = 100) -> Sequence[tuple[UUID, JobKind]]:
    """Return jobs to hint at, stamped as hinted; two relays get disjoint ones."""
    rows = session.execute(
        select(Job.id, Job.kind)
        .where(
            _is_takeable(),
            or_(col(Job.hinted_at).is_(None), col(Job.hinted_at) < func.now() - again_after),
        )
        .order_by(col(Job.due_at))
        .limit(limit)
        .with_for_update(skip_locked=True)
    ).all()
    if rows:
        session.execute(update(Job).where(col(Job.id).in_([row.id for row in rows])).values(hinted_at=func.now()))
    return [(row.id, JobKind(row.kind)) for row in rows]


def forget_hints(session: Session, job_ids: Collection[UUID]) -> None:
    """Say that hints were not given after all."""
    # A row that somebody has locked is passed over, it is hinted at later: to wait for many rows is to risk a deadlock.
    free = select(Job.id).where(col(Job.id).in_(job_ids)).with_for_update(skip_locked=True)
    session.execute(update(Job).where(col(Job.id).in_(free)).values(hinted_at=None))


def seconds_to_next(session: Session, *, again_after: timedelta) -> float | None:
    """Return how long until a job needs a hint, None if none is open."""
    opens_at = func.least(
        text("CASE WHEN state = 'due' THEN due_at END"), text("CASE WHEN state = 'leased' THEN leased_until END")
    )
    next_at = func.min(func.greatest(opens_at, col(Job.hinted_at) + again_after))
    seconds = session.execute(
        select(func.extract("epoch", next_at - func.now())).where(col(Job.state).in_(["due", "leased"]))
    ).scalar_one()
    return None if seconds is None else max(0.0, float(seconds))


def state_of(session: Session, kind: JobKind, subject_id: UUID) -> JobState:
    """Return where a subject's job is; idle if it never had one."""
    state = session.exec(select(Job.state).where(Job.kind == kind.value, Job.subject_id == subject_id)).one_or_none()
    return JobState.IDLE if state is None else JobState(state)


def _is_takeable() -> ColumnElement[bool]:
    return or_(
        and_(col(Job.state) == JobState.DUE.value, col(Job.due_at) <= func.now()),
        and_(col(Job.state) == JobState.LEASED.value, col(Job.leased_until) < func.now()),
    )


def _write_held(session: Session, lease: Lease, **values: object) -> None:
    result = session.execute(
        update(Job)
        .where(col(Job.id) == lease.job_id, col(Job.fence) == lease.fence, col(Job.state) == JobState.LEASED.value)
        .values(leased_until=None, hinted_at=None, **values)
        .returning(col(Job.id))
    )
    if result.one_or_none() is None:
        raise LeaseLostError(str(lease.job_id))
