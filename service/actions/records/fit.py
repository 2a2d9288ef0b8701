"""Whether a well-formed record can be one of its route: every fault is said by name."""

from collections.abc import Iterator
from datetime import datetime

from service.actions.records.times import times_ahead
from service.vocabulary.design.layout import Layout
from service.vocabulary.records.base import FibreTest
from service.vocabulary.records.measurements import ContinuityRecord, EndFaceRecord
from service.vocabulary.records.record import Record
from service.vocabulary.records.work import CleaningRecord, ClosureStateRecord, SpliceRecord, TerminationRecord
from service.vocabulary.validation import Fault
from service.vocabulary.words import JointKind, SiteKind

_LABELS = {JointKind.SPLICE: "splice", JointKind.PAIR: "mated pair"}


def check_fit(record: Record, layout: Layout, *, now: datetime) -> list[Fault]:
    """Return what keeps a record from being one of the route with this layout."""
    return [*times_ahead(record, now=now), *_place_faults(record, layout)]


def _place_faults(record: Record, layout: Layout) -> Iterator[Fault]:
    match record:
        case FibreTest():
            yield from _test_faults(record, layout)
        case _ if record.site is not None and record.site not in layout.site_index:
            yield _unknown_site("/site")
        case SpliceRecord():
            for index, joint in enumerate(record.joints):
                pointer = f"/joints/{index}"
                yield from _joint_faults(
                    layout, pointer, record.site, joint.fibre, joint.position, kind=JointKind.SPLICE
                )
        case ClosureStateRecord():
            if layout.design.sites[layout.site_index[record.site]].kind is not SiteKind.SPLICE_CLOSURE:
                yield Fault(pointer="/site", detail="is not a splice closure")
        case TerminationRecord() | CleaningRecord() | EndFaceRecord():
            yield from _joint_faults(layout, "", record.site, record.fibre, record.position, kind=JointKind.PAIR)


def _test_faults(record: FibreTest, layout: Layout) -> Iterator[Fault]:
    if record.fibre > layout.design.fibre_count:
        yield _beyond_count("/fibre", layout)
    if isinstance(record, ContinuityRecord) and (record.seen_fibre or 0) > layout.design.fibre_count:
        yield _beyond_count("/seen_fibre", layout)
    for member, site in (("from_site", record.from_site), ("to_site", record.to_site)):
        if site not in layout.site_index:
            yield _unknown_site(f"/{member}")
    if record.from_site == record.to_site:
        yield Fault(pointer="/to_site", detail="is where the test starts")


def _joint_faults(
    layout: Layout, pointer: str, site: str, fibre: int, position: int | None, *, kind: JointKind
) -> Iterator[Fault]:
    """Say what keeps a fibre from having one joint of a kind that a record means."""
    if fibre > layout.design.fibre_count:
        yield _beyond_count(f"{pointer}/fibre", layout)
        return
    positions = [one.position for one in layout.joints_of(fibre) if one.site == site and one.kind is kind]
    listed = ", ".join(map(str, positions))
    if not positions:
        yield Fault(pointer=f"{pointer}/fibre", detail=f"has no {_LABELS[kind]} at this site by the splice plan")
    elif position is None and len(positions) > 1:
        yield Fault(pointer=f"{pointer}/position", detail=f"say which: one of {listed}")
    elif position is not None and position not in positions:
        yield Fault(pointer=f"{pointer}/position", detail=f"is no {_LABELS[kind]}; one of {listed}")


def _unknown_site(pointer: str) -> Fault:
    return Fault(pointer=pointer, detail="is not a site of this route")


def _beyond_count(pointer: str, layout: Layout) -> Fault:
    return Fault(pointer=pointer, detail=f"the route has {layout.design.fibre_count} fibres")
