"""What was judged: read for status, work lists, findings and submissions."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import orjson
from sqlalchemy import func
from sqlmodel import Session, col, select

from service.storage.jobs import JobKind, JobState, state_of
from service.storage.tables import (
    Acceptance,
    Fibre,
    Job,
    Package,
    Route,
    StandingVerdict,
    Submission,
    SubmissionSegment,
)
from service.vocabulary.findings.finding import VerdictDocument


@dataclass(frozen=True, kw_only=True)
class FibreVersions:
    """A fibre to judge, and the evidence version it is judged for."""

    number: int
    evidence_version: int


def waiting_fibres(session: Session, route: Route, *, limit: int, engine: int) -> Sequence[FibreVersions]:
    """Return fibres that wait to be judged and that no newer engine has judged, urgent ones first."""
    rows = session.execute(
        select(Fibre.number, Fibre.evidence_version)
        .where(
            *_of(route),
            col(Fibre.judged_version) < col(Fibre.evidence_version),
            col(Fibre.engine_version) <= engine,
        )
        .order_by(col(Fibre.is_urgent).desc(), col(Fibre.number))
        .limit(limit)
    )
    return [FibreVersions(number=row.number, evidence_version=row.evidence_version) for row in rows]


def count_waiting(session: Session, route: Route) -> int:
    """Return how many fibres wait to be judged."""
    statement = select(func.count()).select_from(Fibre)
    return session.exec(statement.where(*_of(route), col(Fibre.judged_version) < col(Fibre.evidence_version))).one()


def is_settled(session: Session, route: Route) -> bool:
    """Tell, under the route's lock, whether its standing verdict takes in everything that is recorded."""
    return (
        route.criteria_version is not None
        and count_waiting(session, route) == 0
        and state_of(session, JobKind.SETTLE, route.id) is JobState.IDLE
        and state_of(session, JobKind.JUDGE, route.id) is JobState.IDLE
        and _fibre_problem(session, route) is None
    )


def judging_problem(session: Session, route: Route) -> str | None:
    """Return why judging or settling a route, or a fibre of it, was given up; None while it goes on."""
    statement = select(Job.last_error).where(
        Job.subject_id == route.id,
        Job.state == JobState.PARKED.value,
        col(Job.kind).in_([JobKind.JUDGE.value, JobKind.SETTLE.value]),
    )
    return session.exec(statement.limit(1)).first() or _fibre_problem(session, route)


def standing_verdict(session: Session, route: Route) -> StandingVerdict | None:
    """Return the verdict the route has now."""
    return session.get(StandingVerdict, (route.project_id, route.id), populate_existing=True)


def verdict_document(session: Session, route: Route) -> VerdictDocument | None:
    """Return the verdict the route has now, as its parts."""
    standing = standing_verdict(session, route)
    if standing is None:
        return None
    document: VerdictDocument = orjson.loads(standing.document)
    return document


def fibre_documents(session: Session, route: Route, *, after: int = 0, limit: int | None = None) -> Sequence[Any]:
    """Return number, digest, content and counts of judged fibres in order of number."""
    statement = (
        select(Fibre.number, Fibre.digest, Fibre.content, Fibre.counts)
        .where(*_of(route), col(Fibre.number) > after, col(Fibre.content).is_not(None))
        .order_by(col(Fibre.number))
    )
    return session.execute(statement if limit is None else statement.limit(limit)).all()


def fibre_row(session: Session, route: Route, number: int) -> Fibre | None:
    """Return a fibre's row."""
    return session.get(Fibre, (route.project_id, route.id, number))


def work_documents(session: Session, route: Route) -> Sequence[str]:
    """Return the work of each fibre that has any, as JSON arrays, in order of fibre number."""
    statement = select(Fibre.work).where(*_of(route), col(Fibre.work).is_not(None)).order_by(col(Fibre.number))
    return [work for work in session.exec(statement) if work is not None]


def standing_acceptances(session: Session, route: Route) -> dict[str, Acceptance]:
    """Return the acceptance that stands of each accepted segment."""
    statement = select(Acceptance).where(
        Acceptance.project_id == route.project_id,
        Acceptance.route_id == route.id,
        col(Acceptance.withdrawn_at).is_(None),
    )
    return {acceptance.segment_id: acceptance for acceptance in session.exec(statement)}


def latest_submissions(session: Session, route: Route) -> dict[str, tuple[Submission, Package | None]]:
    """Return the newest submission of each segment, with its package if it is issued."""
    statement = (
        select(SubmissionSegment.segment_id, Submission, Package)
        .join(
            Submission,
            (col(Submission.project_id) == col(SubmissionSegment.project_id))
            & (col(Submission.id) == col(SubmissionSegment.submission_id)),
        )
        .outerjoin(
            Package,
            (col(Package.project_id) == col(Submission.project_id))
            & (col(Package.submission_id) == col(Submission.id)),
        )
        .where(SubmissionSegment.project_id == route.project_id, SubmissionSegment.route_id == route.id)
        .order_by(col(Submission.number))
    )
    return {row[0]: (row[1], row[2]) for row in session.execute(statement)}


def submission_of_package(session: Session, package: Package) -> Submission:
    """Return the submission that a package answers."""
    return session.exec(
        select(Submission).where(Submission.project_id == package.project_id, Submission.id == package.submission_id)
    ).one()


def packages_beside(session: Session, submission: Submission) -> Sequence[tuple[Package, Submission]]:
    """Return the other packages of a route that share a segment with a submission, with theirs, newest first."""
    others = other_packages(session, submission)
    return [one for one in others if not set(one[1].segments).isdisjoint(submission.segments)]


def other_packages(session: Session, submission: Submission) -> Sequence[tuple[Package, Submission]]:
    """Return all packages of a route but a submission's, each with its own submission, newest first."""
    rows = session.execute(
        select(Package, Submission)
        .join(
            Submission,
            (col(Submission.project_id) == Package.project_id) & (col(Submission.id) == Package.submission_id),
        )
        .where(
            Package.project_id == submission.project_id,
            Package.route_id == submission.route_id,
            Submission.id != submission.id,
        )
        .order_by(col(Submission.number).desc())
    )
    return [(row[0], row[1]) for row in rows]


def package_of_submission(session: Session, submission: Submission) -> Package | None:
    """Return a submission's package, None until it is issued."""
    return session.exec(
        select(Package).where(Package.project_id == submission.project_id, Package.submission_id == submission.id)
    ).one_or_none()


def _of(route: Route) -> tuple[Any, Any]:
    return col(Fibre.project_id) == route.project_id, col(Fibre.route_id) == route.id


def _fibre_problem(session: Session, route: Route) -> str | None:
    statement = select(Fibre.number, Fibre.problem, func.count().over().label("fibres"))
    found = session.execute(
        statement.where(*_of(route), col(Fibre.problem).is_not(None)).order_by(col(Fibre.number)).limit(1)
    ).one_or_none()
    if found is None:
        return None
    others = f", and {found.fibres - 1} more fibres" if found.fibres > 1 else ""
    return f"fibre {found.number} can not be judged: {found.problem}{others}"
