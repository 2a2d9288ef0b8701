"""Submissions: their segments, and the record set that each of them froze."""

from collections.abc import Collection, Sequence
from typing import Any
from uuid import UUID

import orjson
from sqlalchemy import ColumnElement, and_, func, literal, update
from sqlalchemy import insert as plain_insert
from sqlalchemy import select as plain_select
from sqlmodel import Session, col, select

from service.storage.records import StoredEvidence, evidence_statement, links_by_record
from service.storage.rows import by_id, of_route, required
from service.storage.session import add_rows
from service.storage.tables import (
    Package,
    Record,
    RecordAnnulment,
    RecordEnd,
    RecordFibre,
    Route,
    Submission,
    SubmissionRecord,
    SubmissionSegment,
)
from service.vocabulary.evidence import NAMING, files_named
from service.vocabulary.states import SubmissionState


def find_submission(session: Session, projects: Collection[UUID] | None, submission_id: UUID) -> Submission:
    """Return a submission of the caller's projects, as it is now."""
    found = session.exec(by_id(Submission, projects, submission_id)).one_or_none()
    return required(found, "submission", submission_id)


def next_number(session: Session, route: Route) -> int:
    """Return the number of a locked route's next submission."""
    return (session.exec(select(func.max(Submission.number)).where(*of_route(Submission, route))).one() or 0) + 1


def add_submission(session: Session, submission: Submission) -> None:
    """Add a submission, which holds its segments from now on."""
    add_rows(session, [submission])
    session.add_all(
        SubmissionSegment(
            project_id=submission.project_id,
            submission_id=submission.id,
            segment_id=segment,
            route_id=submission.route_id,
        )
        for segment in submission.segments
    )


def hold_segments(session: Session, submission: Submission, *, is_open: bool) -> None:
    """Hold a submission's segments while it is open, so that no other takes them; else let them be submitted again."""
    is_own = (
        col(SubmissionSegment.project_id) == submission.project_id,
        col(SubmissionSegment.submission_id) == submission.id,
    )
    session.execute(update(SubmissionSegment).where(*is_own).values(is_open=is_open))


def segments_held(session: Session, route: Route) -> set[str]:
    """Return those segments of a route that are in an open submission."""
    held = select(SubmissionSegment.segment_id).where(*of_route(SubmissionSegment, route))
    return set(session.exec(held.where(col(SubmissionSegment.is_open))))


def submissions_after(session: Session, submission: Submission) -> Sequence[Submission]:
    """Return a route's later submissions that were not given up, oldest first."""
    later = select(Submission).where(
        Submission.project_id == submission.project_id,
        Submission.route_id == submission.route_id,
        Submission.number > submission.number,
        Submission.state != SubmissionState.PARKED,
    )
    return session.exec(later.order_by(col(Submission.number))).all()


def latest_submissions(session: Session, route: Route) -> dict[str, tuple[Submission, Package | None]]:
    """Return the newest submission of each segment, with its package if it is issued."""
    statement = (
        select(SubmissionSegment.segment_id, Submission, Package)
        .join_from(SubmissionSegment, Submission)
        .outerjoin(Package)
        .where(*of_route(SubmissionSegment, route))
        .order_by(col(Submission.number))
    )
    return {row[0]: (row[1], row[2]) for row in session.execute(statement)}


def read_frozen_evidence(session: Session, route: Route, submission_id: UUID) -> list[StoredEvidence]:
    """Return the record set that a submission froze."""
    statement = evidence_statement(
        route.project_id,
        route.id,
        links_by_record(route.project_id, route.id, None),
        col(SubmissionRecord.is_ended),
        col(SubmissionRecord.is_annulled),
    ).join(SubmissionRecord, _is_frozen(route.project_id, submission_id, col(Record.id)))
    # Row by row from the server: else the client holds all of them twice.
    return [StoredEvidence(*row) for row in session.execute(statement, execution_options={"yield_per": 500})]


def end_reasons(session: Session, project_id: UUID, submission_id: UUID) -> dict[str, str]:
    """Return, by record id, why the records of a frozen set that had ended did so."""
    return _reasons(session, project_id, submission_id, RecordEnd, col(SubmissionRecord.is_ended).is_(True))


def annulment_reasons(session: Session, project_id: UUID, submission_id: UUID) -> dict[str, str]:
    """Return, by record id, why the engineer annulled those of a frozen set that were annulled."""
    return _reasons(session, project_id, submission_id, RecordAnnulment, col(SubmissionRecord.is_annulled).is_(True))


def _reasons(
    session: Session,
    project_id: UUID,
    submission_id: UUID,
    table: type[RecordEnd] | type[RecordAnnulment],
    was_so: ColumnElement[bool],
) -> dict[str, str]:
    statement = (
        plain_select(col(table.record_id), col(table.reason))
        .join(SubmissionRecord, _is_frozen(project_id, submission_id, col(table.record_id)))
        .where(col(table.project_id) == project_id, was_so)
    )
    return {str(row.record_id): row.reason for row in session.execute(statement)}


def freeze_records(session: Session, route: Route, submission_id: UUID) -> None:
    """Freeze every record of a locked route as a submission's set, with whether it has ended or is annulled by now."""
    ids = plain_select(col(RecordFibre.record_id)).where(*of_route(RecordFibre, route)).distinct().subquery()
    is_end = and_(col(RecordEnd.project_id) == route.project_id, col(RecordEnd.record_id) == ids.c.record_id)
    is_word = and_(
        col(RecordAnnulment.project_id) == route.project_id, col(RecordAnnulment.record_id) == ids.c.record_id
    )
    ended, annulled = (col(table.record_id).is_not(None) for table in (RecordEnd, RecordAnnulment))
    rows = plain_select(literal(route.project_id), literal(submission_id), ids.c.record_id, ended, annulled)
    names = ["project_id", "submission_id", "record_id", "is_ended", "is_annulled"]
    frozen = rows.select_from(ids).outerjoin(RecordEnd, is_end).outerjoin(RecordAnnulment, is_word)
    session.execute(plain_insert(SubmissionRecord).from_select(names, frozen))


def files_named_in(session: Session, package: Package) -> list[str]:
    """Return, in order, the SHA-256 of all files that the frozen records behind a package name, ended ones too."""
    statement = (
        plain_select(col(Record.body))
        .join(SubmissionRecord, _is_frozen(package.project_id, package.submission_id, col(Record.id)))
        .where(col(Record.project_id) == package.project_id, col(Record.kind).in_([kind.value for kind in NAMING]))
    )
    bodies = session.execute(statement, execution_options={"yield_per": 500}).scalars()
    return sorted({sha256 for body in bodies for sha256 in files_named(orjson.loads(body))})


def frozen_among(
    session: Session, project_id: UUID, ids: Collection[UUID], *, by: Collection[UUID]
) -> set[tuple[UUID, UUID]]:
    """Return which of some submissions froze which of some records, as pairs."""
    frozen = plain_select(col(SubmissionRecord.submission_id), col(SubmissionRecord.record_id)).where(
        col(SubmissionRecord.project_id) == project_id,
        col(SubmissionRecord.submission_id).in_(by),
        col(SubmissionRecord.record_id).in_(ids),
    )
    return {(row.submission_id, row.record_id) for row in session.execute(frozen)}


def is_submitted(session: Session, record: Record) -> bool:
    """Tell whether any submission froze a record."""
    frozen = select(SubmissionRecord.record_id).where(
        SubmissionRecord.project_id == record.project_id, SubmissionRecord.record_id == record.id
    )
    return session.exec(frozen.limit(1)).first() is not None


def _is_frozen(project_id: UUID, submission_id: UUID, record_id: Any) -> ColumnElement[bool]:
    """Return the condition that a submission froze a record of its project."""
    return and_(
        col(SubmissionRecord.project_id) == project_id,
        col(SubmissionRecord.submission_id) == submission_id,
        col(SubmissionRecord.record_id) == record_id,
    )
