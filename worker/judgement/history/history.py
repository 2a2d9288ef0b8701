"""One fibre's history: those of its records that are about it, in order of time."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from operator import attrgetter
from typing import Any, TypeVar, get_args

from service.vocabulary.criteria.voiding import Voiding, Work, reaches
from service.vocabulary.design.layout import Layout
from worker.judgement.history.acts import (
    CalibrationAct,
    CleaningAct,
    ClosureAct,
    Continuity,
    History,
    Link,
    OtherSplicing,
    Record,
    Rework,
    SpliceAct,
    SplicedRibbon,
    TerminationAct,
    Trace,
)
from worker.judgement.history.inspections import InspectionAct
from worker.judgement.history.lids import LidAct

R = TypeVar("R")
A = TypeVar("A", SpliceAct, TerminationAct, CleaningAct, InspectionAct)


def read_history(layout: Layout, *, fibre: int, rework_voids: Voiding, records: Iterable[Record]) -> History:
    """Read a fibre's history; records of other fibres are passed over."""
    of_kind: dict[type[Any], list[Any]] = defaultdict(list)
    for record in sorted(records, key=attrgetter("stamp")):
        of_kind[type(record)].append(record)
    ribbons = _of(SplicedRibbon, of_kind)
    terminations = [act for act in _of(TerminationAct, of_kind) if act.fibre == fibre]
    own = [act for ribbon in ribbons if not ribbon.is_ended for act in ribbon.by_fibre.get(fibre, ())]
    reworks: list[SplicedRibbon | TerminationAct] = [
        ribbon
        for ribbon in ribbons
        # Asked here too, as most of a fibre's ribbons hold it.
        if fibre in ribbon.by_fibre or _is_work_on(layout, rework_voids, ribbon, fibre)
    ]
    reworks += terminations
    spliced_at = {ribbon.site for ribbon in ribbons if fibre in ribbon.by_fibre}
    return History(
        worked_at=frozenset(spliced_at.union(act.site for act in terminations)),
        splices=_by_site(own),
        terminations=_by_site([act for act in terminations if not act.is_ended]),
        cleanings=_by_site([act for act in _of(CleaningAct, of_kind) if act.fibre == fibre]),
        end_faces=_by_site([act for act in _of(InspectionAct, of_kind) if act.fibre == fibre]),
        calibrations=tuple(_of(CalibrationAct, of_kind)),
        reworks=tuple(sorted({Rework(act.stamp, act.site) for act in reworks if not act.is_ended})),
        withdrawn=tuple(sorted({Rework(act.stamp, act.site) for act in reworks if act.is_ended})),
        withdrawn_terminations=_by_site([act for act in terminations if act.is_ended]),
        lid_acts=_lid_acts(
            layout,
            rework_voids,
            _of(ClosureAct, of_kind),
            [*ribbons, *_of(OtherSplicing, of_kind)],
            fibre=fibre,
        ),
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


def _is_work_on(layout: Layout, rework_voids: Voiding, ribbon: SplicedRibbon, fibre: int) -> bool:
    """Tell whether a splice was work on a fibre: on itself anywhere, on what lies beside it in a closure."""
    if fibre in ribbon.by_fibre:
        return True
    if rework_voids is Voiding.FIBRE or not layout.is_closure(ribbon.site):
        return False
    return reaches(rework_voids, layout, site=ribbon.site, work=Work(ribbon.by_fibre.keys()), fibre=fibre)


def _opens_for(layout: Layout, rework_voids: Voiding, act: ClosureAct, fibre: int) -> bool:
    if act.is_sealed or act.site not in layout.site_index:
        return False
    return act.opened_for is None or reaches(rework_voids, layout, site=act.site, work=act.opened_for, fibre=fibre)


def _lid_acts(
    layout: Layout,
    rework_voids: Voiding,
    closure_acts: Iterable[ClosureAct],
    splicing: Iterable[SplicedRibbon | OtherSplicing],
    *,
    fibre: int,
) -> Mapping[str, tuple[LidAct, ...]]:
    """Return what shut and opened each closure of which a lid is recorded, in order of time.

    Nobody splices through a lid: splicing after the first record of it had the closure open, whatever is recorded. At
    the instant of a sealing it is taken for the splicing before that.
    """
    by_site: dict[str, list[LidAct]] = defaultdict(list)
    for act in closure_acts:
        opens = not act.is_sealed and _opens_for(layout, rework_voids, act, fibre)
        by_site[act.site].append(LidAct(act.stamp, act.is_sealed, opens, False, act.is_ended))
    late = [one for one in splicing if one.site in by_site and one.stamp.made_at > by_site[one.site][0].stamp.made_at]
    for one in late:
        by_site[one.site].append(_opened_to_splice(layout, rework_voids, one, fibre))
    for site in {one.site for one in late}:
        by_site[site].sort(key=lambda act: (act.stamp.made_at, not act.is_splicing, act.stamp.id))
    return {site: tuple(own) for site, own in by_site.items()}


def _opened_to_splice(layout: Layout, rework_voids: Voiding, one: SplicedRibbon | OtherSplicing, fibre: int) -> LidAct:
    if isinstance(one, SplicedRibbon):
        opens = _is_work_on(layout, rework_voids, one, fibre)
        return LidAct(one.stamp, False, opens, is_splicing=True, is_ended=one.is_ended)
    # Of which fibres it is nobody says here: of any, unless it was agreed that such work touches no other.
    opens = rework_voids is not Voiding.FIBRE
    return LidAct(one.stamp, False, opens, is_splicing=True, is_ended=one.is_ended, of_other_route=True)
