"""End records: they stay as they came, and no longer count."""

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlmodel import Session, col, select

from service.actions.caller import Caller
from service.actions.invalidation import judge_after
from service.storage.routes import find_route, lock_reached
from service.storage.tables import Record, RecordEnd, RecordFibre, Route
from service.vocabulary.records.invalidation import reach_of
from service.vocabulary.records.record import Record as RecordValue
from service.vocabulary.records.record import read_stored_record
from service.vocabulary.words import RecordKind

_REACHING = frozenset({RecordKind.CLOSURE_STATE.value, RecordKind.ARC_CALIBRATION.value})


@dataclass(frozen=True, kw_only=True)
class LockedRecords:
    """Records of one route, with every route that is locked for their sake."""

    route: Route
    routes: Sequence[Route]
    records: Sequence[Record]


def lock_records(
    session: Session,
    caller: Caller,
    route_id: UUID,
    record_ids: Sequence[UUID],
    *,
    coming: Sequence[RecordValue] = (),
) -> LockedRecords:
    """Return those of the records that were posted to the route, under the locks that ending them needs.

    The routes of records that are coming in the same transaction are locked along: no lock is taken after this.
    """
    route = find_route(session, caller.projects, route_id)
    # Read before the lock, to know what to lock: a record never changes.
    records = session.exec(
        select(Record).where(
            Record.project_id == route.project_id, Record.route_id == route_id, col(Record.id).in_(record_ids)
        )
    ).all()
    ending = [read_stored_record(record.body) for record in records]
    return LockedRecords(
        route=route, routes=lock_reached(session, route, reach_of([*ending, *coming])), records=records
    )


def end_records(
    session: Session, caller: Caller, locked: LockedRecords, *, reason: str, replaced_by: UUID | None
) -> list[UUID]:
    """End those of the locked records that count until now, and return which; their fibres are judged anew."""
    project_id = locked.route.project_id
    ended = session.exec(
        select(RecordEnd.record_id).where(
            RecordEnd.project_id == project_id, col(RecordEnd.record_id).in_([one.id for one in locked.records])
        )
    ).all()
    new = sorted((record for record in locked.records if record.id not in ended), key=lambda record: record.id)
    session.add_all(
        RecordEnd(
            project_id=project_id,
            record_id=record.id,
            replaced_by=replaced_by,
            reason=reason,
            ended_at=caller.now,
            token_id=caller.token_id,
        )
        for record in new
    )
    session.flush()
    linked = _links_beyond(session, new)
    for route in locked.routes:
        own = [one for one in new if route.id == locked.route.id or (one.id, route.id) in linked]
        if own:
            judge_after(session, route, [read_stored_record(record.body) for record in own], is_urgent=True)
    return [record.id for record in new]


def _links_beyond(session: Session, records: Sequence[Record]) -> set[tuple[UUID, UUID]]:
    """Return which routes those records are on that reach beyond their own."""
    reaching = [record.id for record in records if record.kind in _REACHING]
    if not reaching:
        return set()
    statement = select(RecordFibre.record_id, RecordFibre.route_id).where(
        RecordFibre.project_id == records[0].project_id, col(RecordFibre.record_id).in_(reaching)
    )
    return {(row[0], row[1]) for row in session.exec(statement)}
