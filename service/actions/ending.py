"""End records: they stay as they came, and no longer count."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlmodel import Session, col, select

from service.actions.caller import Caller
from service.actions.follow import judge_after
from service.errors import NotFoundError
from service.storage.routes import find_route, lock_all, share_sites
from service.storage.tables import Record, RecordEnd, RecordFibre, Route, RouteSite
from service.vocabulary.record import read_stored_record


@dataclass(frozen=True, kw_only=True)
class LockedRecords:
    """Records of one route, with every route that is locked for their sake."""

    route: Route
    routes: Sequence[Route]
    records: Sequence[Record]


def lock_records(
    session: Session, caller: Caller, route_id: UUID, record_ids: Sequence[UUID], *, lid_sites: Collection[str] = ()
) -> LockedRecords:
    """Return those of the records that were posted to the route, under the locks that ending them needs.

    `lid_sites` are closures whose lids the same transaction is about to record: their routes are locked along.
    """
    project_id = find_route(session, caller.projects, route_id).project_id
    share_sites(session, project_id)
    # A lid's record reaches every route through its closure; all are locked in order of id.
    reached = select(RecordFibre.route_id).where(
        RecordFibre.project_id == project_id, col(RecordFibre.record_id).in_(record_ids)
    )
    through = select(RouteSite.route_id).where(
        RouteSite.project_id == project_id, col(RouteSite.site_id).in_(lid_sites)
    )
    wanted = (col(Route.id) == route_id) | col(Route.id).in_(reached) | col(Route.id).in_(through)
    statement = select(Route).where(Route.project_id == project_id, wanted)
    routes = lock_all(session, statement)
    route = next((one for one in routes if one.id == route_id), None)
    if route is None:
        raise NotFoundError(f"No route {route_id}.")
    records = session.exec(
        select(Record).where(
            Record.project_id == project_id, Record.route_id == route_id, col(Record.id).in_(record_ids)
        )
    ).all()
    return LockedRecords(route=route, routes=routes, records=records)


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
    lid_routes = _routes_of_lids(session, new)
    for route in locked.routes:
        own = [one for one in new if route.id == locked.route.id or (one.id, route.id) in lid_routes]
        if own:
            judge_after(session, route, [read_stored_record(record.body) for record in own], is_urgent=True)
    return [record.id for record in new]


def _routes_of_lids(session: Session, records: Sequence[Record]) -> set[tuple[UUID, UUID]]:
    lids = [record.id for record in records if record.lid_site is not None]
    if not lids:
        return set()
    statement = select(RecordFibre.record_id, RecordFibre.route_id).where(
        RecordFibre.project_id == records[0].project_id, col(RecordFibre.record_id).in_(lids)
    )
    return {(row[0], row[1]) for row in session.exec(statement)}
