"""What a record may change: the fibres it touches, and the other routes that it reaches."""

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from typing import NamedTuple

from service.vocabulary.criteria.criteria import Voiding
from service.vocabulary.records.record import Record, fibres_of
from service.vocabulary.records.work import ArcCalibrationRecord, ClosureStateRecord, SpliceRecord


class Reach(NamedTuple):
    """Which routes some records may matter to beside their own: those through some closures, or any of the project.

    A lid is that of every route through its closure; a splicer works on several routes between two calibrations.
    """

    closure_sites: frozenset[str]
    is_any_route: bool


def reach_of(records: Iterable[Record]) -> Reach:
    """Return how far some records reach."""
    beyond = [record for record in records if isinstance(record, ClosureStateRecord | ArcCalibrationRecord)]
    return Reach(
        closure_sites=frozenset(record.site for record in beyond if isinstance(record, ClosureStateRecord)),
        is_any_route=any(isinstance(record, ArcCalibrationRecord) for record in beyond),
    )


def touched_fibres(
    record: Record, *, fibre_count: int, rework_voids: Voiding, spliced_since: AbstractSet[int]
) -> AbstractSet[int]:
    """Return the route fibres that have to be judged anew.

    A lid opened or sealed touches every fibre of the closure, uncut ones too. A splice does so only where the criteria
    let rework void the tests of its whole closure. A calibration touches those that its splicer has spliced since.
    """
    if isinstance(record, ArcCalibrationRecord):
        return spliced_since
    is_about_closure = isinstance(record, ClosureStateRecord) or (
        isinstance(record, SpliceRecord) and rework_voids is Voiding.CLOSURE
    )
    return frozenset(range(1, fibre_count + 1)) if is_about_closure else fibres_of(record)
