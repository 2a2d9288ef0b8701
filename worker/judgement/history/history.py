"""One fibre's history: those of its records that are about it, in order of time."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from operator import attrgetter
from typing import Any, TypeVar, get_args

from service.vocabulary.criteria.criteria import Voiding
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import SiteKind
from worker.judgement.history.acts import (
    CalibrationAct,
    CleaningAct,
    ClosureAct,
    Continuity,
    History,
    InspectionAct,
    Link,
    Record,
    SpliceAct,
    SplicedRibbon,
    TerminationAct,
    Trace,
)

R = TypeVar("R")
A = TypeVar("A", SpliceAct, TerminationAct, CleaningAct, InspectionAct, ClosureAct)


def read_history(layout: Layout, *, fibre: int, rework_voids: Voiding, records: Iterable[Record]) -> History:
    """Read a fibre's history; records of other fibres are passed over."""
    of_kind: dict[type[Any], list[Any]] = defaultdict(list)
    for record in sorted(records, key=attrgetter("stamp")):
        of_kind[type(record)].append(record)
    ribbons = _of(SplicedRibbon, of_kind)
    terminations = [act for act in _of(TerminationAct, of_kind) if act.fibre == fibre]
    own = [act for ribbon in ribbons for act in ribbon.by_fibre.get(fibre, ())]
    voiding = {act.stamp for act in own} | {act.stamp for act in terminations}
    if rework_voids is Voiding.CLOSURE:
        closures = {site.id for site in layout.design.sites if site.kind is SiteKind.SPLICE_CLOSURE}
        voiding |= {ribbon.stamp for ribbon in ribbons if ribbon.site in closures}
    return History(
        splices=_by_site(own),
        terminations=_by_site(terminations),
        cleanings=_by_site([act for act in _of(CleaningAct, of_kind) if act.fibre == fibre]),
        end_faces=_by_site([act for act in _of(InspectionAct, of_kind) if act.fibre == fibre]),
        calibrations=tuple(_of(CalibrationAct, of_kind)),
        reworks=tuple(sorted(voiding)),
        closure_acts=_by_site(_of(ClosureAct, of_kind)),
        traces=tuple([trace for trace in _of(Trace, of_kind) if trace.fibre == fibre]),
        links=tuple([link for kind in get_args(Link) for link in _of(kind, of_kind) if _is_about(link, fibre)]),
    )


def _of(kind: type[R], of_kind: Mapping[type[Any], list[Any]]) -> list[R]:
    return of_kind.get(kind, [])


def _is_about(link: Link, fibre: int) -> bool:
    return link.fibre == fibre or (isinstance(link, Continuity) and link.seen_fibre == fibre)


def _by_site(acts: Iterable[A]) -> Mapping[str, tuple[A, ...]]:
    by_site: dict[str, list[A]] = defaultdict(list)
    for act in acts:
        by_site[act.site].append(act)
    return {site: tuple(own) for site, own in by_site.items()}
