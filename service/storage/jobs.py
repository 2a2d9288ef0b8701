"""Jobs: rows that say what is to be done. They alone retry; a queue's message is only a hint to look here.

Times are the database's, so that hosts with different clocks agree. Each function is one statement, which tells the
relay at commit where it made something due.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import ColumnElement, Executable, Float, and_, case, cast, func, literal, or_, text, update
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import Session, select

from service.storage.tables import Job
from service.vocabulary.states import JobKind, JobState

# The table itself, not its class: that spares 4,000 of the 57,000 calls of judging and settling one fibre.
_JOB = Job.metadata.tables["job"]
_NOW = func.now()
DUE_CHANNEL = "job_due"
_SHORTEST_PAUSE_S, _LONGEST_PAUSE_S = 2, 300
# How often a waiting job looks whether what it waits for is back.
_WAITING_PAUSE = timedelta(minutes=10)
# Returned by the statements that write jobs: PostgreSQL tells the relay at commit, once for however many rows.
_WAKE = func.pg_notify(DUE_CHANNEL, "")
# States in which a job will be taken by itself, sooner or later.
OPEN_STATES = (JobState.DUE, JobState.LEASED, JobState.WAITING)


@dataclass(frozen=True, kw_only=True)
class Lease:
    """A worker's hold on a job; a later holder has a higher fence, and then this one may write nothing.

    `outage_s` is for how long something outside has kept it from being done; 0 where nothing does.
    """

    job_id: UUID
    project_id: UUID
    kind: JobKind
    subject_id: UUID
    fence: int
    attempts: int
    outage_s: float = 0


class LeaseLostError(Exception):
    """Another worker holds the job now."""


def make_due(
    session: Session, kind: JobKind, *, project_id: UUID, subject_id: UUID, delay: timedelta = timedelta()
) -> None:
    """Make a subject's job due after a delay, as `make_due_at` does."""
    make_due_at(session, kind, project_id=project_id, subject_id=subject_id, due_at=_NOW + delay)


def make_due_at(
    session: Session, kind: JobKind, *, project_id: UUID, subject_id: UUID, due_at: ColumnElement[Any]
) -> None:
    """Make a subject's job due at a time, if it is not already due before it, and wake the relay at commit.

    A leased job is left alone: before its holder lets go, it looks again, under the lock of the row that this
    transaction holds too.
    """
    row = {
        "id": uuid4(),
        "project_id": project_id,
        "kind": kind,
        "subject_id": subject_id,
        "state": JobState.DUE,
        "due_at": due_at,
        "fence": 0,
        "attempts": 0,
    }
    statement = insert(_JOB).values(row)
    statement = statement.on_conflict_do_update(
        index_elements=["kind", "subject_id"],
        set_={
            "state": JobState.DUE,
            "due_at": func.least(statement.excluded.due_at, text("CASE WHEN job.state = 'due' THEN job.due_at END")),
            "hinted_at": text("CASE WHEN job.state = 'due' AND job.due_at <= now() THEN job.hinted_at END"),
            "attempts": text("CASE WHEN job.state = 'due' THEN job.attempts ELSE 0 END"),
            "outage_since": text("CASE WHEN job.state = 'due' THEN job.outage_since END"),
        },
        where=_JOB.c.state != JobState.LEASED,
    )
    session.execute(statement.returning(_WAKE))


def take_lease(session: Session, job_id: UUID, *, lease: timedelta, counts_ended: bool = True) -> Lease | None:
    """Take a due job, or one whose holder's time has run out; None if there is nothing to take.

    A job that is still leased was left by a worker that ended or hung. Taking it again counts as an attempt, unless
    `counts_ended` is false.
    """
    is_attempt = or_(literal(counts_ended), _JOB.c.state != JobState.LEASED)
    row = session.execute(
        update(_JOB)
        .where(_JOB.c.id == job_id, _is_takeable())
        .values(
            state=JobState.LEASED,
            leased_until=_NOW + lease,
            fence=_JOB.c.fence + 1,
            attempts=_JOB.c.attempts + case((is_attempt, 1), else_=0),
        )
        .returning(
            _JOB.c.project_id,
            _JOB.c.kind,
            _JOB.c.subject_id,
            _JOB.c.fence,
            _JOB.c.attempts,
            func.coalesce(cast(func.extract("epoch", _NOW - _JOB.c.outage_since), Float), 0).label("outage_s"),
        )
    ).one_or_none()
    return None if row is None else Lease(job_id=job_id, **row._asdict())


def renew(session: Session, lease: Lease, *, until: timedelta) -> None:
    """Hold a job for so long from now."""
    held = update(_JOB).where(_is_held(lease)).values(leased_until=_NOW + until)
    _require_held(session, lease, held.returning(_JOB.c.id))


def release(session: Session, lease: Lease, state: JobState, *, delay: timedelta = timedelta()) -> None:
    """Let go of a job in a state, if it is still held; a job let go as due starts its attempts anew."""
    _write_held(session, lease, state=state, due_at=_NOW + delay, attempts=0, last_error=None)


def release_unless(session: Session, lease: Lease, goes_on: ColumnElement[bool]) -> None:
    """Let go of a job that is done, if it is still held; where a condition holds at this moment it is due again."""
    state = case((goes_on, JobState.DUE.value), else_=JobState.IDLE.value)
    _write_held(session, lease, state=state, due_at=_NOW, attempts=0, last_error=None)


def give_back(session: Session, lease: Lease, *, delay: timedelta = timedelta()) -> None:
    """Let another worker have a job that this one began and will not do; that is no attempt."""
    _write_held(session, lease, state=JobState.DUE, due_at=_NOW + delay, attempts=lease.attempts - 1)


def put_back(session: Session, lease: Lease, reason: str, *, longest_pause_s: float = _LONGEST_PAUSE_S) -> None:
    """Put a failed job back with a pause that grows with its attempts."""
    pause = timedelta(seconds=min(2**lease.attempts, longest_pause_s))
    _write_held(session, lease, state=JobState.DUE, due_at=_NOW + pause, last_error=reason)


def wait_out(session: Session, lease: Lease, reason: str, *, longest_pause_s: float = _LONGEST_PAUSE_S) -> None:
    """Put a job back that something outside keeps from being done, with a pause that grows while that lasts.

    That is no attempt: nothing is wrong with the job.
    """
    pause = timedelta(seconds=min(max(_SHORTEST_PAUSE_S, lease.outage_s / 2), longest_pause_s))
    values = {"state": JobState.DUE, "due_at": _NOW + pause, "attempts": lease.attempts - 1, "last_error": reason}
    _write_held(session, lease, **values, outage_since=_outage_since(lease))


def park(session: Session, lease: Lease, reason: str) -> None:
    """Give a job up, with the reason, until something makes it due anew."""
    _write_held(session, lease, state=JobState.PARKED, last_error=reason)


def park_for_outage(session: Session, lease: Lease, reason: str) -> None:
    """Give a job up for as long as something outside is away, with the reason; it is tried again now and then."""
    values = {"state": JobState.WAITING, "due_at": _NOW + _WAITING_PAUSE, "attempts": 0, "last_error": reason}
    _write_held(session, lease, **values, outage_since=_outage_since(lease))


def hold(session: Session, lease: Lease) -> None:
    """Lock the job's row and make sure that it is still held: a lost fence may write nothing."""
    _require_held(session, lease, select(Job.id).where(_is_held(lease)).with_for_update())


def claim_hints(
    session: Session, *, again_after: timedelta, kinds: Collection[JobKind] = frozenset(JobKind), limit: int = 100
) -> Sequence[tuple[UUID, JobKind]]:
    """Return jobs of some kinds to hint at, stamped as hinted; two relays get disjoint ones."""
    to_hint = (
        select(Job.id)
        .where(
            _is_takeable(),
            _JOB.c.kind.in_(kinds),
            or_(_JOB.c.hinted_at.is_(None), _JOB.c.hinted_at < _NOW - again_after),
        )
        .order_by(_JOB.c.due_at)
        .limit(limit)
        .with_for_update(skip_locked=True)
        .cte("to_hint")
    )
    stamped = update(_JOB).where(_JOB.c.id == to_hint.c.id).values(hinted_at=_NOW)
    rows = session.execute(stamped.returning(_JOB.c.id, _JOB.c.kind, _JOB.c.due_at))
    return [(row.id, row.kind) for row in sorted(rows, key=lambda row: row.due_at)]


def forget_hints(session: Session, job_ids: Collection[UUID]) -> None:
    """Say that hints were not given after all."""
    # A row that somebody has locked is passed over, it is hinted at later: to wait for many rows is to risk a deadlock.
    free = select(Job.id).where(_JOB.c.id.in_(job_ids)).with_for_update(skip_locked=True)
    session.execute(update(_JOB).where(_JOB.c.id.in_(free)).values(hinted_at=None))


def seconds_to_next(session: Session, *, again_after: timedelta) -> float | None:
    """Return how long until a job needs a hint, None if none is open."""
    opens_at = func.least(
        text("CASE WHEN state <> 'leased' THEN due_at END"), text("CASE WHEN state = 'leased' THEN leased_until END")
    )
    next_at = func.min(func.greatest(opens_at, _JOB.c.hinted_at + again_after))
    seconds = session.execute(
        select(func.extract("epoch", next_at - _NOW)).where(_JOB.c.state.in_(OPEN_STATES))
    ).scalar_one()
    return None if seconds is None else max(0.0, float(seconds))


def seconds_untaken(
    session: Session, *, kinds: Collection[JobKind], hinted_for: timedelta, hinted_within: timedelta
) -> float:
    """Return for how long some job of these kinds could have been taken, was hinted at, and was not; 0 where none.

    A hint younger than `hinted_for` may still be on its way; one older than `hinted_within` is another relay's matter.
    """
    opened_at = func.greatest(_JOB.c.due_at, _JOB.c.leased_until)
    statement = select(func.extract("epoch", _NOW - func.min(opened_at))).where(
        _is_takeable(),
        _JOB.c.kind.in_(kinds),
        _JOB.c.hinted_at.between(_NOW - hinted_within, _NOW - hinted_for),
    )
    seconds = session.execute(statement).scalar_one()
    return 0.0 if seconds is None else max(0.0, float(seconds))


def given_up_jobs(session: Session) -> Sequence[Job]:
    """Return the jobs that are parked, or wait for something outside, in order of time."""
    given_up = select(Job).where(_JOB.c.state.in_([JobState.PARKED, JobState.WAITING]))
    return session.exec(given_up.order_by(_JOB.c.due_at)).all()


def state_of(session: Session, kind: JobKind, subject_id: UUID) -> JobState:
    """Return where a subject's job is; idle if it never had one."""
    statement = select(Job).where(Job.kind == kind, Job.subject_id == subject_id)
    job = session.exec(statement.execution_options(populate_existing=True)).one_or_none()
    return JobState.IDLE if job is None else job.state


def _is_takeable() -> ColumnElement[bool]:
    waits = _JOB.c.state.in_([JobState.DUE, JobState.WAITING])
    return or_(
        and_(waits, _JOB.c.due_at <= _NOW),
        and_(_JOB.c.state == JobState.LEASED, _JOB.c.leased_until < _NOW),
    )


def _is_held(lease: Lease) -> ColumnElement[bool]:
    return and_(_JOB.c.id == lease.job_id, _JOB.c.fence == lease.fence, _JOB.c.state == JobState.LEASED)


def _outage_since(lease: Lease) -> ColumnElement[Any]:
    return _NOW - timedelta(seconds=lease.outage_s)


def _write_held(session: Session, lease: Lease, **values: object) -> None:
    values = {"leased_until": None, "hinted_at": None, "outage_since": None, **values}
    woken = case((_JOB.c.state == JobState.DUE, _WAKE))
    written = update(_JOB).where(_is_held(lease)).values(**values)
    _require_held(session, lease, written.returning(_JOB.c.id, woken))


def _require_held(session: Session, lease: Lease, statement: Executable) -> None:
    if session.execute(statement).one_or_none() is None:
        raise LeaseLostError(str(lease.job_id))
