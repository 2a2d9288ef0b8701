"""Records: added in bulk, never changed; how they end, the files that they name, and what judging reads of them."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import (
    Integer,
    Select,
    String,
    Subquery,
    Table,
    Uuid,
    and_,
    any_,
    bindparam,
    cast,
    column,
    func,
    literal,
    select,
    tuple_,
)
from sqlalchemy.dialects.postgresql import ARRAY, JSONB, Insert, array, insert
from sqlmodel import Session, SQLModel, col

from service.errors import NotFoundError
from service.storage.rows import of_route
from service.storage.tables import (
    WHOLE_SITE,
    EvidenceFile,
    Project,
    Record,
    RecordAnnulment,
    RecordEnd,
    RecordFibre,
    Route,
)
from service.vocabulary.canonical import sha256_hex
from service.vocabulary.evidence import EvidenceType
from service.vocabulary.records.words import RecordKind


def _add_from_arrays(table: Table) -> Insert:
    """Return the statement that adds rows, given as one array for each column.

    Arrays travel in binary form and are read as they come: bulk text in JSON took twice as long, a parameter for each
    value longer still.
    """
    arrays = [bindparam(one.name, type_=ARRAY(one.type)) for one in table.columns]
    names = [one.name for one in table.columns]
    columns = [column(one.name, one.type) for one in table.columns]
    sent = func.unnest(*arrays).table_valued(*columns, name="sent").render_derived()
    # In the order of the key: two routes sent the same records at once would otherwise wait for each other.
    return insert(table).from_select(names, select(sent).order_by(*(sent.c[key.name] for key in table.primary_key)))


_RECORD, _LINK = (SQLModel.metadata.tables[name] for name in ("record", "record_fibre"))
_ADD = _add_from_arrays(_RECORD).on_conflict_do_nothing().returning(_RECORD.c.id)
_ADD_LINKS = _add_from_arrays(_LINK)


class StoredEvidence(NamedTuple):
    """A stored record as judging takes it: the fibres it is about (0: all), its canonical text, what is known of it.

    One `is_of_other_route` was posted to another: the fibres that it names are that one's.
    """

    fibres: Sequence[int]
    body: str
    clock_is_flagged: bool
    is_ended: bool
    sha256: str
    is_annulled: bool = False
    is_of_other_route: bool = False

    @property
    def is_altered(self) -> bool:
        """Whether the content is no longer what was hashed when the record came."""
        return sha256_hex(self.body.encode()) != self.sha256


class ListedRecord(NamedTuple):
    """A record, how it ended if it did, and the engineer's word on that."""

    record: Record
    end: RecordEnd | None
    annulment: RecordAnnulment | None


def list_records(session: Session, route: Route, *, after: tuple[int, UUID] | None, limit: int) -> list[ListedRecord]:
    """Return records of a route that arrived after a position: a route version and an id.

    The version, and not a time: it is given under the route's lock, so a slow commit is never stepped over.
    """
    statement = (
        select(Record, RecordEnd, RecordAnnulment)
        .outerjoin(RecordEnd, _is_end_of_record())
        .outerjoin(RecordAnnulment, _is_annulment_of_record())
        .where(*of_route(Record, route))
        .order_by(col(Record.route_version), col(Record.id))
    )
    if after is not None:
        statement = statement.where(tuple_(col(Record.route_version), col(Record.id)) > after)
    return [ListedRecord(*row) for row in session.execute(statement.limit(limit))]


def records_posted(session: Session, route: Route, ids: Collection[UUID]) -> Sequence[Record]:
    """Return those records that were posted to a route."""
    return session.execute(select(Record).where(*of_route(Record, route), col(Record.id).in_(ids))).scalars().all()


def records_naming(session: Session, route: Route, sites: Collection[str]) -> dict[str, int]:
    """Return how many records of a route name each of some sites; none of those that no record names."""
    if not sites:
        return {}
    body = cast(col(Record.body), JSONB)
    names = array([body[name].astext for name in ("site", "from_site", "to_site")])
    named = func.unnest(names).table_valued("site").render_derived(name="named")
    statement = (
        select(named.c.site, func.count(col(Record.id).distinct()).label("number"))
        .select_from(Record)
        .join(named, named.c.site.in_(sites))
        .where(*of_route(Record, route))
        .group_by(named.c.site)
    )
    return {row.site: row.number for row in session.execute(statement)}


def known_digests(session: Session, project_id: UUID, ids: Collection[UUID]) -> dict[UUID, str]:
    """Return the content digests of those ids that are stored."""
    if not ids:
        return {}
    # One array, not a parameter for each: taking a statement of hundreds apart costs more than running it.
    statement = select(col(Record.id), col(Record.sha256)).where(
        col(Record.project_id) == project_id, col(Record.id) == any_(literal(list(ids), ARRAY(Uuid)))
    )
    return {row.id: row.sha256 for row in session.execute(statement)}


def ids_of_other_routes(session: Session, route: Route, ids: Collection[UUID]) -> set[UUID]:
    """Return those stored records that are not a route's: posted to another, and about nothing of this one."""
    # A calibration is every route's that its splicer works on, now or later.
    statement = select(col(Record.id)).where(
        col(Record.project_id) == route.project_id,
        col(Record.route_id) != route.id,
        col(Record.id).in_(ids),
        col(Record.kind) != RecordKind.ARC_CALIBRATION.value,
        # A lid's record is on every route through its closure, whichever it was posted to. A splice is known there too,
        # and stays the other route's.
        (col(Record.kind) == RecordKind.SPLICE.value)
        | ~_links(route.project_id, route.id).where(col(RecordFibre.record_id) == col(Record.id)).exists(),
    )
    return set(session.execute(statement).scalars())


def add_records(session: Session, rows: Sequence[Mapping[str, Any]]) -> set[UUID]:
    """Add records and return the ids that are new; another transaction may have added the rest in the meantime."""
    return set(session.execute(_ADD, _arrays(_RECORD, rows)).scalars())


def link_fibres(session: Session, links: Sequence[Mapping[str, Any]]) -> None:
    """Say which fibres of which routes records are about."""
    if links:
        session.execute(_ADD_LINKS, _arrays(_LINK, links))


def links_of(route: Route, record_id: UUID, fibres: Collection[int]) -> list[dict[str, Any]]:
    """Return the links of a record to fibres of a route; to the whole route where it names no fibre."""
    return [
        {"project_id": route.project_id, "route_id": route.id, "fibre": fibre, "record_id": record_id}
        for fibre in (fibres or {WHOLE_SITE})
    ]


def end_of(session: Session, project_id: UUID, record_id: UUID) -> RecordEnd | None:
    """Return how a record ended; None while it counts."""
    return session.get(RecordEnd, (project_id, record_id))


def ended_among(session: Session, project_id: UUID, ids: Collection[UUID]) -> set[UUID]:
    """Return those records that have ended."""
    statement = select(col(RecordEnd.record_id)).where(
        col(RecordEnd.project_id) == project_id, col(RecordEnd.record_id).in_(ids)
    )
    return set(session.execute(statement).scalars())


def annulled_among(session: Session, project_id: UUID, ids: Collection[UUID]) -> set[UUID]:
    """Return those records that the engineer annulled."""
    statement = select(col(RecordAnnulment.record_id)).where(
        col(RecordAnnulment.project_id) == project_id, col(RecordAnnulment.record_id).in_(ids)
    )
    return set(session.execute(statement).scalars())


def routes_linked(session: Session, project_id: UUID, ids: Collection[UUID]) -> set[tuple[UUID, UUID]]:
    """Return which routes some records are about, as pairs of record and route."""
    statement = select(col(RecordFibre.record_id), col(RecordFibre.route_id)).where(
        col(RecordFibre.project_id) == project_id, col(RecordFibre.record_id).in_(ids)
    )
    return {(row[0], row[1]) for row in session.execute(statement)}


def add_file(session: Session, file: EvidenceFile) -> bool:
    """Add a file unless its project has it, or another request gives it one right now. Say whether it is new."""
    statement = insert(EvidenceFile).values(**file.model_dump()).on_conflict_do_nothing()
    return session.execute(statement.returning(col(EvidenceFile.sha256))).one_or_none() is not None


def find_file(session: Session, project: Project, sha256: str) -> EvidenceFile:
    """Return what is known of a file that was sent in to a project."""
    file = session.get(EvidenceFile, (project.id, sha256))
    if file is None:
        raise NotFoundError("No file with this SHA-256 was sent in.")
    return file


def files_here(session: Session, project_id: UUID, digests: Collection[str]) -> dict[str, EvidenceType]:
    """Return those of some files that a project has, with what they are."""
    statement = select(col(EvidenceFile.sha256), col(EvidenceFile.media_type)).where(
        col(EvidenceFile.project_id) == project_id,
        col(EvidenceFile.sha256) == any_(literal(list(digests), ARRAY(String))),
    )
    return {row.sha256: row.media_type for row in session.execute(statement)}


def read_evidence(
    session: Session, project_id: UUID, route_id: UUID, numbers: Collection[int], *, with_every_splice: bool
) -> list[StoredEvidence]:
    """Return what is recorded of some fibres of a route and of its sites as a whole."""
    wanted = [WHOLE_SITE, *numbers]
    links = links_by_record(project_id, route_id, None if with_every_splice else wanted)
    ended, annulled = (col(table.record_id).is_not(None) for table in (RecordEnd, RecordAnnulment))
    statement = (
        evidence_statement(project_id, route_id, links, ended, annulled)
        .outerjoin(RecordEnd, _is_end_of_record())
        .outerjoin(RecordAnnulment, _is_annulment_of_record())
    )
    if with_every_splice:
        is_splice = col(Record.kind) == RecordKind.SPLICE.value
        statement = statement.where(is_splice | links.c.fibres.overlap(wanted))
    return [StoredEvidence(*row) for row in session.execute(statement)]


def _arrays(table: Table, rows: Sequence[Mapping[str, Any]]) -> dict[str, list[Any]]:
    return {one.name: [row[one.name] for row in rows] for one in table.columns}


def links_by_record(project_id: UUID, route_id: UUID, numbers: Collection[int] | None) -> Subquery:
    """Return each record of a route with the fibres it is about, all of them or some."""
    fibre = col(RecordFibre.fibre)
    fibres = func.array_agg(fibre, type_=ARRAY(Integer)).label("fibres")
    statement = _links(project_id, route_id).add_columns(fibres)
    if numbers is not None:
        # One array: the statement's text stays the same, and PostgreSQL has it prepared.
        statement = statement.where(fibre == any_(literal(list(numbers), ARRAY(Integer))))
    return statement.group_by(col(RecordFibre.record_id)).subquery()


def evidence_statement(
    project_id: UUID, route_id: UUID, links: Subquery, is_ended: Any, is_annulled: Any
) -> Select[Any]:
    """Return the statement that reads records as judging takes them; whoever calls joins what says that one ended."""
    # A record once, not once for each fibre: the texts of ribbon splices would be most of what is read.
    return (
        select(
            links.c.fibres,
            col(Record.body),
            col(Record.clock_is_flagged),
            is_ended,
            col(Record.sha256),
            is_annulled,
            col(Record.route_id) != route_id,
        )
        .select_from(links)
        .join(Record, and_(col(Record.project_id) == project_id, col(Record.id) == links.c.record_id))
    )


def _links(project_id: UUID, route_id: UUID) -> Select[Any]:
    of_route = col(RecordFibre.project_id) == project_id, col(RecordFibre.route_id) == route_id
    return select(col(RecordFibre.record_id)).where(*of_route)


def _is_annulment_of_record() -> Any:
    return and_(
        col(RecordAnnulment.project_id) == col(Record.project_id), col(RecordAnnulment.record_id) == col(Record.id)
    )


def _is_end_of_record() -> Any:
    return and_(col(RecordEnd.project_id) == col(Record.project_id), col(RecordEnd.record_id) == col(Record.id))
