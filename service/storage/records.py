"""Records: added in bulk, never changed, and read as evidence for judging."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any, NamedTuple
from uuid import UUID

import orjson
from sqlalchemy import (
    JSON,
    Integer,
    Select,
    Subquery,
    Text,
    Uuid,
    and_,
    any_,
    bindparam,
    cast,
    column,
    func,
    literal,
    select,
)
from sqlalchemy import insert as plain_insert
from sqlalchemy.dialects.postgresql import ARRAY, insert
from sqlalchemy.orm import aliased
from sqlalchemy.sql.dml import ReturningInsert
from sqlmodel import Session, col

from service.storage.tables import WHOLE_SITE, Record, RecordEnd, RecordFibre, Route, SubmissionRecord
from service.vocabulary.words import RecordKind


def _add_all() -> ReturningInsert[Any]:
    """Return the statement that adds records from one JSON array: a parameter for each of their columns is slower."""
    table = Record.metadata.tables["record"]
    columns = [column(one.name, one.type) for one in table.columns]
    posted = func.json_to_recordset(cast(bindparam("rows", type_=Text), JSON))
    sent = posted.table_valued(*columns, name="sent").render_derived(with_types=True)
    # In order of id: two routes sent the same records at once would otherwise wait for each other.
    statement = insert(table).from_select([one.name for one in columns], select(sent).order_by(sent.c.id))
    return statement.on_conflict_do_nothing(index_elements=["project_id", "id"]).returning(table.c.id)


_ADD = _add_all()
_SPLICING = (RecordKind.SPLICE.value, RecordKind.TERMINATION.value)


class StoredEvidence(NamedTuple):
    """A stored record as judging takes it: the fibres it is about (0: all), its canonical text, what is known of it."""

    fibres: Sequence[int]
    body: str
    clock_is_flagged: bool
    is_ended: bool
    sha256: str


def known_digests(session: Session, project_id: UUID, ids: Collection[UUID]) -> dict[UUID, str]:
    """Return the content digests of those ids that are stored."""
    # One array, not a parameter for each: taking a statement of hundreds apart costs more than running it.
    statement = select(col(Record.id), col(Record.sha256)).where(
        col(Record.project_id) == project_id, col(Record.id) == any_(literal(list(ids), ARRAY(Uuid)))
    )
    return {row.id: row.sha256 for row in session.execute(statement)}


def add_records(session: Session, rows: Sequence[Mapping[str, Any]]) -> set[UUID]:
    """Add records and return the ids that are new; another transaction may have added the rest in the meantime."""
    return set(session.execute(_ADD, {"rows": orjson.dumps(list(rows)).decode()}).scalars())


def link_fibres(session: Session, links: Sequence[Mapping[str, Any]]) -> None:
    """Say which fibres of which routes records are about."""
    if links:
        session.execute(plain_insert(RecordFibre), list(links))


def link_lids(session: Session, route: Route, sites: Collection[str]) -> None:
    """Link what was recorded of closures to a route that has only now come to pass them."""
    lids = select(literal(route.project_id), literal(route.id), literal(WHOLE_SITE), col(Record.id)).where(
        col(Record.project_id) == route.project_id, col(Record.lid_site).in_(sites)
    )
    statement = insert(RecordFibre).from_select(["project_id", "route_id", "fibre", "record_id"], lids)
    session.execute(statement.on_conflict_do_nothing())


def links_of(route: Route, record_id: UUID, fibres: Collection[int]) -> list[dict[str, Any]]:
    """Return the links of a record to fibres of a route; to the whole route where it names no fibre."""
    return [
        {"project_id": route.project_id, "route_id": route.id, "fibre": fibre, "record_id": record_id}
        for fibre in (fibres or {WHOLE_SITE})
    ]


def link_calibrations(session: Session, route: Route, serials: Collection[str]) -> None:
    """Link all calibrations of some splicers to a locked route that they work on."""
    calibrations = select(literal(route.project_id), literal(route.id), literal(WHOLE_SITE), col(Record.id)).where(
        col(Record.project_id) == route.project_id,
        col(Record.splicer_serial).in_(serials),
        col(Record.kind) == RecordKind.ARC_CALIBRATION.value,
    )
    statement = insert(RecordFibre).from_select(["project_id", "route_id", "fibre", "record_id"], calibrations)
    session.execute(statement.on_conflict_do_nothing())


def routes_worked_on(session: Session, project_id: UUID, serials: Collection[str]) -> set[tuple[UUID, str]]:
    """Return, for some splicers, the routes that each has worked on."""
    statement = (
        select(col(Record.route_id), col(Record.splicer_serial))
        .distinct()
        .where(
            col(Record.project_id) == project_id,
            col(Record.splicer_serial).in_(serials),
            col(Record.kind).in_(_SPLICING),
        )
    )
    return {(row[0], row[1]) for row in session.execute(statement)}


def fibres_spliced_since(session: Session, route: Route, calibrations: Collection[UUID]) -> set[int]:
    """Return the fibres of a route that a splicer has spliced since a calibration, or may have by a wrong clock."""
    calibration = aliased(Record)
    statement = (
        select(col(RecordFibre.fibre))
        .distinct()
        .join(
            Record,
            and_(col(Record.project_id) == col(RecordFibre.project_id), col(Record.id) == col(RecordFibre.record_id)),
        )
        .join(
            calibration,
            and_(
                col(calibration.project_id) == col(Record.project_id),
                col(calibration.splicer_serial) == col(Record.splicer_serial),
            ),
        )
        .where(
            col(RecordFibre.project_id) == route.project_id,
            col(RecordFibre.route_id) == route.id,
            col(calibration.id).in_(calibrations),
            col(Record.kind).in_(_SPLICING),
            (col(Record.made_at) >= col(calibration.made_at))
            | col(Record.clock_is_flagged)
            | col(calibration.clock_is_flagged),
        )
    )
    return set(session.execute(statement).scalars())


def read_evidence(
    session: Session, route: Route, numbers: Collection[int], *, with_every_splice: bool
) -> list[StoredEvidence]:
    """Return what is recorded of some fibres of a route and of its sites as a whole."""
    wanted = [WHOLE_SITE, *numbers]
    links = _links_by_record(route, None if with_every_splice else wanted)
    is_ended = col(RecordEnd.record_id).is_not(None)
    statement = _evidence(route, links, is_ended).outerjoin(
        RecordEnd,
        and_(
            col(RecordEnd.project_id) == col(Record.project_id),
            col(RecordEnd.record_id) == col(Record.id),
        ),
    )
    if with_every_splice:
        is_splice = col(Record.kind) == RecordKind.SPLICE.value
        statement = statement.where(is_splice | links.c.fibres.overlap(wanted))
    return [StoredEvidence(*row) for row in session.execute(statement)]


def read_frozen_evidence(session: Session, route: Route, submission_id: UUID) -> list[StoredEvidence]:
    """Return the record set that a submission froze."""
    statement = _evidence(route, _links_by_record(route, None), col(SubmissionRecord.is_ended)).join(
        SubmissionRecord,
        and_(
            col(SubmissionRecord.project_id) == col(Record.project_id),
            col(SubmissionRecord.record_id) == col(Record.id),
            col(SubmissionRecord.submission_id) == submission_id,
        ),
    )
    # Row by row from the server: else the client holds all of them twice.
    return [StoredEvidence(*row) for row in session.execute(statement, execution_options={"yield_per": 500})]


def end_reasons(session: Session, project_id: UUID, submission_id: UUID) -> dict[str, str]:
    """Return, by record id, why the records of a frozen set that had ended did so."""
    statement = (
        select(col(RecordEnd.record_id), col(RecordEnd.reason))
        .join(
            SubmissionRecord,
            and_(
                col(SubmissionRecord.project_id) == col(RecordEnd.project_id),
                col(SubmissionRecord.record_id) == col(RecordEnd.record_id),
            ),
        )
        .where(
            col(SubmissionRecord.project_id) == project_id,
            col(SubmissionRecord.submission_id) == submission_id,
            col(SubmissionRecord.is_ended),
        )
    )
    return {str(row.record_id): row.reason for row in session.execute(statement)}


def freeze_records(session: Session, route: Route, submission_id: UUID) -> None:
    """Freeze every record of a locked route as a submission's set, with whether it has ended by now."""
    ids = (
        select(col(RecordFibre.record_id))
        .where(col(RecordFibre.project_id) == route.project_id, col(RecordFibre.route_id) == route.id)
        .distinct()
        .subquery()
    )
    rows = (
        select(
            literal(route.project_id), literal(submission_id), ids.c.record_id, col(RecordEnd.record_id).is_not(None)
        )
        .select_from(ids)
        .outerjoin(
            RecordEnd,
            and_(col(RecordEnd.project_id) == route.project_id, col(RecordEnd.record_id) == ids.c.record_id),
        )
    )
    session.execute(
        plain_insert(SubmissionRecord).from_select(["project_id", "submission_id", "record_id", "is_ended"], rows)
    )


def _links_by_record(route: Route, numbers: Collection[int] | None) -> Subquery:
    """Return each record of a route with the fibres it is about, all of them or some."""
    fibre = col(RecordFibre.fibre)
    of_route = and_(col(RecordFibre.project_id) == route.project_id, col(RecordFibre.route_id) == route.id)
    statement = select(col(RecordFibre.record_id), func.array_agg(fibre, type_=ARRAY(Integer)).label("fibres")).where(
        of_route
    )
    if numbers is not None:
        statement = statement.where(fibre.in_(numbers))
    return statement.group_by(col(RecordFibre.record_id)).subquery()


def _evidence(route: Route, links: Subquery, is_ended: Any) -> Select[Any]:
    # A record once, not once for each fibre: the texts of ribbon splices would be most of what is read.
    return (
        select(links.c.fibres, col(Record.body), col(Record.clock_is_flagged), is_ended, col(Record.sha256))
        .select_from(links)
        .join(Record, and_(col(Record.project_id) == route.project_id, col(Record.id) == links.c.record_id))
    )
