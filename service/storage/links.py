"""Records about whole routes: cable laid, lids, calibrations, and splicing that says that a closure was open."""

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

import orjson
from sqlalchemy import ColumnElement, and_, literal, select
from sqlalchemy.dialects.postgresql import insert
from sqlalchemy.orm import aliased
from sqlmodel import Session, col
from sqlmodel import select as select_rows

from service.storage.rows import of_route
from service.storage.tables import WHOLE_SITE, Record, RecordEnd, RecordFibre, Route
from service.vocabulary.records.words import ClosureState, RecordKind

_SPLICING = (RecordKind.SPLICE.value, RecordKind.TERMINATION.value)


def link_lids(session: Session, route: Route, sites: Collection[str]) -> None:
    """Link what was recorded of closures to a route that has only now come to pass them."""
    _link_whole_route(session, route, col(Record.lid_site).in_(sites))
    link_splices_after_lids(session, route, sites)


def link_layings(session: Session, route: Route, sections: Collection[str]) -> None:
    """Link what was recorded of cables as they were laid to a route that has only now come to pass them."""
    _link_whole_route(session, route, col(Record.laid_section).in_(sections))


def link_splices_after_lids(session: Session, route: Route, sites: Collection[str]) -> None:
    """Link splices that were made after a lid of their closure was recorded to the whole of a route through it.

    The closure was open for them, whatever is recorded of its lid, which every fibre in it has to know: also where they
    were recorded for another route.
    """
    if not lid_times(session, route.project_id, sites):
        return
    lid = aliased(Record)
    is_of_closure = col(lid.project_id) == col(Record.project_id), col(lid.lid_site) == col(Record.splice_site)
    _link_whole_route(
        session,
        route,
        col(Record.splice_site).in_(sites),
        select(col(lid.id)).where(*is_of_closure, col(lid.made_at) < col(Record.made_at)).exists(),
    )


def lid_times(session: Session, project_id: UUID, sites: Collection[str]) -> dict[str, list[datetime]]:
    """Return when lids of some closures were opened or sealed, by site."""
    if not sites:
        return {}
    statement = select(col(Record.lid_site), col(Record.made_at)).where(
        col(Record.project_id) == project_id, col(Record.lid_site).in_(sites)
    )
    times: dict[str, list[datetime]] = {}
    for row in session.execute(statement):
        times.setdefault(row.lid_site, []).append(row.made_at)
    return times


def lids_opened(session: Session, route: Route, sites: Collection[str]) -> Sequence[Record]:
    """Return the records that closures were opened, without those that ended, in order of time."""
    ended = select(col(RecordEnd.record_id)).where(
        col(RecordEnd.project_id) == col(Record.project_id), col(RecordEnd.record_id) == col(Record.id)
    )
    lids = select_rows(Record).where(
        Record.project_id == route.project_id, col(Record.lid_site).in_(sites), ~ended.exists()
    )
    in_order = session.exec(lids.order_by(col(Record.made_at), col(Record.id)))
    return [one for one in in_order if orjson.loads(one.body)["state"] == ClosureState.OPENED]


def link_calibrations(session: Session, route: Route, serials: Collection[str]) -> None:
    """Link all calibrations of some splicers to a locked route that they work on."""
    is_calibration = col(Record.kind) == RecordKind.ARC_CALIBRATION.value
    _link_whole_route(session, route, col(Record.splicer_serial).in_(serials), is_calibration)


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
        .join(Record, and_(col(Record.project_id) == route.project_id, col(Record.id) == col(RecordFibre.record_id)))
        .join(
            calibration,
            and_(
                col(calibration.project_id) == route.project_id,
                col(calibration.splicer_serial) == col(Record.splicer_serial),
            ),
        )
        .where(
            *of_route(RecordFibre, route),
            col(calibration.id).in_(calibrations),
            col(Record.kind).in_(_SPLICING),
            (col(Record.made_at) >= col(calibration.made_at))
            | col(Record.clock_is_flagged)
            | col(calibration.clock_is_flagged),
        )
    )
    return set(session.execute(statement).scalars()) - {WHOLE_SITE}


def _link_whole_route(session: Session, route: Route, *wanted: ColumnElement[bool]) -> None:
    found = select(literal(route.project_id), literal(route.id), literal(WHOLE_SITE), col(Record.id)).where(
        col(Record.project_id) == route.project_id, *wanted
    )
    names = ["project_id", "route_id", "fibre", "record_id"]
    session.execute(insert(RecordFibre).from_select(names, found).on_conflict_do_nothing())
