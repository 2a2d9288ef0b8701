"""Accept records: each is stored or refused by itself, and sending a batch again changes nothing."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any
from uuid import UUID

from pydantic import ValidationError
from sqlmodel import Session

from service.actions.access.tokens import Caller
from service.actions.invalidation import judge_after
from service.actions.records.fit import check_fit
from service.errors import BodyInvalidError, RecordConflictError, RecordRefusedError, ServiceError
from service.settings import CLOCK_TOLERANCE
from service.storage import access, links
from service.storage import records as record_rows
from service.storage.routes import find_route, layout_of, lock_reached
from service.storage.tables import Route
from service.vocabulary.canonical import canonical_json, digest_of, sha256_hex
from service.vocabulary.design.layout import Layout
from service.vocabulary.people import PartySide
from service.vocabulary.records.record import RECORD, Record, canonical_record, fibres_of, reach_of, splicer_of
from service.vocabulary.records.work import (
    ArcCalibrationRecord,
    CableLayingRecord,
    ClosureStateRecord,
    SpliceRecord,
    TerminationRecord,
)
from service.vocabulary.validation import Fault, faults_of

# Stands for the digest of a record that is stored, but not on the route it was posted to: no content has it.
_OF_ANOTHER_ROUTE = "of another route"


class Receipt(StrEnum):
    """What became of one posted record."""

    STORED = "stored"
    ALREADY_STORED = "already_stored"
    CONFLICT = "conflict"
    REFUSED = "refused"


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What became of one posted record, in request order."""

    id: str | None
    receipt: Receipt
    error: ServiceError | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class _Posted:
    """A record that nothing has been answered of yet, with what is kept of it."""

    record: Record
    body: str
    sha256: str


@dataclass(frozen=True, kw_only=True, slots=True)
class _Batch:
    caller: Caller
    route: Route
    sent_at: datetime
    replaces: UUID | None


_Entry = _Posted | Answer


def accept_records(
    session: Session,
    caller: Caller,
    route_id: UUID,
    *,
    sent_at: datetime,
    items: Sequence[Any],
    replaces: UUID | None = None,
) -> list[Answer]:
    """Store what is new of a batch under the route's lock, and let its fibres wait to be judged.

    What is stored has one audit entry: as new, or as the replacement of the record that is named.
    """
    route = find_route(session, caller.projects, route_id)
    # Each step answers some records, and hands on the others as they are.
    read = [_read(item) for item in items]
    known = _digests_here(session, route, {one.record.id for one in _unanswered(read)})
    layouts = _layouts(session, route)
    entries = [one if isinstance(one, Answer) else _check(one, known, layouts, now=caller.now) for one in read]
    fresh = _unanswered(entries)
    batch = _Batch(caller=caller, route=route, sent_at=sent_at, replaces=replaces)
    stored = _store(session, batch, fresh) if fresh else {}
    left = {one.record.id for one in fresh} - stored.keys()
    known = _digests_here(session, route, left) if left else {}
    return [one if isinstance(one, Answer) else _answer_fresh(one, stored, known) for one in entries]


def read_record(item: Any) -> Record:
    """Return one posted record, or refuse it with every fault named."""
    try:
        return RECORD.validate_python(item)
    except ValidationError as error:
        raise BodyInvalidError("The record is not one.", faults=_faults(error)) from error


def _unanswered(entries: Iterable[_Entry]) -> list[_Posted]:
    return [one for one in entries if isinstance(one, _Posted)]


def _read(item: Any) -> _Entry:
    try:
        record = read_record(item)
    except BodyInvalidError as refusal:
        return Answer(id=_claimed_id(item), receipt=Receipt.REFUSED, error=refusal)
    body = canonical_json(canonical_record(record))
    return _Posted(record=record, body=body.decode(), sha256=sha256_hex(body))


def _faults(error: ValidationError) -> list[Fault]:
    found = error.errors(include_url=False, include_input=False)
    # The union puts the record's kind in front of the path; a sender did not write it there.
    return faults_of([one for one in found if not one["loc"]]) + faults_of([one for one in found if one["loc"]], skip=1)


def _claimed_id(item: Any) -> str | None:
    # Only a well-formed id is repeated: an answer never echoes what it could not read.
    claimed = item.get("id") if isinstance(item, Mapping) else None
    try:
        return str(UUID(claimed)) if isinstance(claimed, str) else None
    except ValueError:
        return None


def _digests_here(session: Session, route: Route, ids: Collection[UUID]) -> dict[UUID, str]:
    known = record_rows.known_digests(session, route.project_id, ids)
    if not known:
        return known
    elsewhere = record_rows.ids_of_other_routes(session, route, known)
    return known | dict.fromkeys(elsewhere, _OF_ANOTHER_ROUTE)


def _layouts(session: Session, route: Route) -> Sequence[Layout]:
    """Return the designs that a record may fit: the one in force, and the one that waits to be agreed to.

    A crew that builds what is proposed must not lose its records. They count once a design in force has their place.
    """
    revisions = dict.fromkeys([route.design_revision, route.proposed_design_revision])
    return [layout_of(session, route, revision=revision) for revision in revisions if revision is not None]


def _check(posted: _Posted, known: Mapping[UUID, str], layouts: Sequence[Layout], *, now: datetime) -> _Entry:
    """Answer a record whose id is stored, or that does not fit its route."""
    id_ = posted.record.id
    if id_ in known:
        return _answer_again(posted, known[id_])
    faults = [check_fit(posted.record, layout, now=now) for layout in layouts]
    if not all(faults):
        return posted
    error = RecordRefusedError("The record does not fit its route.", faults=faults[0])
    return Answer(id=str(id_), receipt=Receipt.REFUSED, error=error)


def _answer_again(posted: _Posted, sha256: str) -> Answer:
    """Answer a record whose id is taken by content of a digest."""
    id_ = posted.record.id
    if sha256 == posted.sha256:
        return Answer(id=str(id_), receipt=Receipt.ALREADY_STORED)
    where = "on another route" if sha256 == _OF_ANOTHER_ROUTE else "with other content; a correction replaces it"
    error = RecordConflictError(f"Record {id_} is stored {where}.")
    return Answer(id=str(id_), receipt=Receipt.CONFLICT, error=error)


def _store(session: Session, batch: _Batch, items: Sequence[_Posted]) -> dict[UUID, _Posted]:
    """Store those records that nobody stored meanwhile, the first of each id, and return them."""
    route = batch.route
    # Lids, splicing after one, and calibrations invalidate fibres of other routes in this transaction: all of them are
    # locked before anything is written, in order of id, so that two batches never wait for each other.
    routes = lock_reached(session, route, reach_of(item.record for item in items))
    # Backwards, so that of two records with one id the first stands.
    first = {item.record.id: item for item in reversed(items)}
    new = record_rows.add_records(session, [_row(item, batch) for item in first.values()])
    stored = {id_: item for id_, item in first.items() if id_ in new}
    if not stored:
        return stored
    records = [item.record for item in stored.values()]
    access.claim_unused(session, route.project_id, {record.operator for record in records}, PartySide.CONTRACTOR)
    _invalidate(session, route, records, posted_to=route)
    others = [one for one in routes if one.id != route.id]
    for one, reaching in _reached(session, others, records):
        _invalidate(session, one, reaching, posted_to=route)
    digest = digest_of(sorted(item.sha256 for item in stored.values()))
    done, to_what = ("records.stored", route.id) if batch.replaces is None else ("record.replaced", batch.replaces)
    batch.caller.append_audit(session, route.project_id, done, to_what, content_sha256=digest)
    return stored


def _answer_fresh(posted: _Posted, stored: Mapping[UUID, _Posted], known: Mapping[UUID, str]) -> Answer:
    """Answer a record that was new: stored, the second with its id in the batch, or stored by another in between."""
    id_ = posted.record.id
    first = stored.get(id_)
    if first is posted:
        return Answer(id=str(id_), receipt=Receipt.STORED)
    return _answer_again(posted, known[id_] if first is None else first.sha256)


def _row(item: _Posted, batch: _Batch) -> dict[str, Any]:
    record = item.record
    return {
        "project_id": batch.route.project_id,
        "id": record.id,
        "route_id": batch.route.id,
        "kind": record.kind.value,
        "lid_site": record.site if isinstance(record, ClosureStateRecord) else None,
        "splice_site": record.site if isinstance(record, SpliceRecord) else None,
        "laid_section": record.section if isinstance(record, CableLayingRecord) else None,
        "splicer_serial": splicer_of(record),
        "made_at": record.made_at,
        "sent_at": batch.sent_at,
        "received_at": batch.caller.now,
        "route_version": batch.route.version + 1,
        "clock_is_flagged": abs(batch.caller.now - batch.sent_at) > CLOCK_TOLERANCE,
        "sha256": item.sha256,
        "body": item.body,
        "token_id": batch.caller.token_id,
    }


def _reached(
    session: Session, others: Sequence[Route], records: Sequence[Record]
) -> Iterator[tuple[Route, Sequence[Record]]]:
    """Return which records matter to which other routes: of their cable, their lids, and splicers at work there."""
    if not others:
        return
    # Of closures in which routes have fibres, before any lid is recorded, splicing is nobody else's concern.
    spliced = {record.site for record in records if isinstance(record, SpliceRecord)}
    lids = links.lid_times(session, others[0].project_id, spliced)
    serials = {record.splicer_serial for record in records if isinstance(record, ArcCalibrationRecord)}
    worked_on = links.routes_worked_on(session, others[0].project_id, serials) if serials else set()
    for route in others:
        layout = layout_of(session, route)
        sites, sections = layout.site_index, {section.id for section in layout.design.sections}
        reaching = [
            record
            for record in records
            if (isinstance(record, ClosureStateRecord) and record.site in sites)
            or (
                isinstance(record, SpliceRecord)
                and record.site in sites
                and any(at < record.made_at for at in lids.get(record.site, ()))
            )
            or (isinstance(record, CableLayingRecord) and record.section in sections)
            or (isinstance(record, ArcCalibrationRecord) and (route.id, record.splicer_serial) in worked_on)
        ]
        if reaching:
            yield route, reaching


def _invalidate(session: Session, route: Route, records: Sequence[Record], *, posted_to: Route) -> None:
    # The fibres of another route's splices are none of this one's.
    own = [record for record in records if route.id == posted_to.id or not isinstance(record, SpliceRecord)]
    record_rows.link_fibres(
        session, [link for record in own for link in record_rows.links_of(route, record.id, fibres_of(record))]
    )
    links.link_splices_after_lids(
        session, route, {record.site for record in records if isinstance(record, ClosureStateRecord | SpliceRecord)}
    )
    work = [record for record in own if isinstance(record, SpliceRecord | TerminationRecord)]
    serials = {serial for record in work if (serial := splicer_of(record)) is not None}
    if serials:
        links.link_calibrations(session, route, serials)
    judge_after(session, route, records, posted_to=posted_to, is_urgent=bool(work))
