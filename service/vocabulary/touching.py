"""Which fibres a record touches: those whose verdict it may change."""

from collections.abc import Set as AbstractSet

from service.vocabulary.criteria import Voiding
from service.vocabulary.record import ClosureStateRecord, Record, SpliceRecord, fibres_of


def touched_fibres(record: Record, *, fibre_count: int, rework_voids: Voiding) -> AbstractSet[int]:
    """Return the route fibres that have to be judged anew.

    A lid opened or sealed touches every fibre of the closure, uncut ones too. A splice does so only where the criteria
    let rework void the tests of its whole closure.
    """
    is_about_closure = isinstance(record, ClosureStateRecord) or (
        isinstance(record, SpliceRecord) and rework_voids is Voiding.CLOSURE
    )
    return frozenset(range(1, fibre_count + 1)) if is_about_closure else fibres_of(record)
