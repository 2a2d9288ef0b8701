"""What a change of a locked route invalidates: its fibres wait until they are judged for the version it then has."""

from collections.abc import Collection, Sequence
from uuid import UUID

from sqlmodel import Session

from service.errors import RouteSubmittedError
from service.storage import criteria, jobs, routes, submissions
from service.storage.links import fibres_spliced_since, lid_times
from service.storage.tables import Route
from service.vocabulary.criteria.voiding import Voiding
from service.vocabulary.records.record import Record, touched_fibres
from service.vocabulary.records.work import ArcCalibrationRecord, ClosureStateRecord, SpliceRecord
from service.vocabulary.states import JobKind


def judge_after(
    session: Session, route: Route, records: Sequence[Record], *, posted_to: Route, is_urgent: bool
) -> None:
    """Raise a locked route's version and let every fibre wait that some records, come or gone, may matter to."""
    if route.id != posted_to.id and any(isinstance(record, SpliceRecord) for record in records):
        # The fibres that they name are the other route's: what they tell of a lid may matter to any of this one's.
        routes.raise_version(route)
        judge_again(session, route, None, is_urgent=is_urgent)
        return
    # By criteria, work on one fibre voids what was measured of it, or of every fibre whose closure was opened for it.
    # Here that says only who is judged again: one fibre too many costs time, one too few keeps a verdict that no longer
    # holds. What really is void is found in judging, from all of a fibre's records and their order.
    voiding = Voiding.FIBRE
    if route.criteria_version is not None:
        voiding = criteria.criteria_of(session, route.project_id, route.criteria_version).rework_voids
    layout = routes.layout_of(session, route)
    # A calibration that came late, or ended, says something else of every splice that its splicer made since.
    calibrations = [record.id for record in records if isinstance(record, ArcCalibrationRecord)]
    since = fibres_spliced_since(session, route, calibrations) if calibrations else set()
    later = _followed_by_lids(session, route, records)
    touched = frozenset().union(
        *(
            touched_fibres(record, layout, rework_voids=voiding, spliced_since=since, lids_later=later)
            for record in records
        )
    )
    routes.raise_version(route)
    judge_again(session, route, touched, is_urgent=is_urgent)


def _followed_by_lids(session: Session, route: Route, records: Sequence[Record]) -> set[UUID]:
    """Return which of some records of work in closures a lid was recorded after.

    Whether that closure had been opened before it was sealed again is a question of every fibre in it.
    """
    work = [record for record in records if isinstance(record, ClosureStateRecord | SpliceRecord)]
    times = lid_times(session, route.project_id, {record.site for record in work})
    return {record.id for record in work if any(at >= record.made_at for at in times.get(record.site, ()))}


def judge_again(session: Session, route: Route, numbers: Collection[int] | None, *, is_urgent: bool) -> None:
    """Let fibres of a locked route, or all with None, wait to be judged; without criteria nothing is judged yet."""
    # Never a flag: a fibre waits while it was judged for a lower version than this, so that a run that read before it
    # cannot take the wait away by what it writes after it.
    routes.touch_fibres(session, route, numbers, is_urgent=is_urgent)
    if route.criteria_version is not None:
        jobs.make_due(session, JobKind.JUDGE, project_id=route.project_id, subject_id=route.id)


def refuse_while_submitted(session: Session, route: Route) -> None:
    """Refuse what may not change under an open submission."""
    if submissions.segments_held(session, route):
        raise RouteSubmittedError("Design and criteria stay as they are until the submission is decided.")
