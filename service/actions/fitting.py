"""Whether a well-formed record can be one of its route: every fault is said by name."""

from collections.abc import Iterator
from datetime import datetime

from service.vocabulary.design_rules import Fault
from service.vocabulary.layout import Layout
from service.vocabulary.quantities import canonical_time
from service.vocabulary.record import AttenuationRecord, ClosureStateRecord, OtdrRecord, Record, SpliceRecord
from service.vocabulary.words import JointKind, SiteKind


def check_fit(record: Record, layout: Layout, *, latest: datetime) -> list[Fault]:
    """Return what keeps a record from being one of the route with this layout."""
    faults = []
    if record.made_at > latest:
        faults.append(
            Fault(pointer="/made_at", detail=f"is in the future; the service's clock says {canonical_time(latest)}")
        )
    match record:
        case SpliceRecord():
            faults.extend(_splice_faults(record, layout))
        case ClosureStateRecord():
            faults.extend(_closure_faults(record, layout))
        case OtdrRecord() | AttenuationRecord():
            faults.extend(_test_faults(record, layout))
    return faults


def _splice_faults(record: SpliceRecord, layout: Layout) -> Iterator[Fault]:
    if record.site not in layout.site_index:
        yield _unknown_site("/site")
        return
    for index, joint in enumerate(record.joints):
        pointer = f"/joints/{index}"
        if joint.fibre > layout.design.fibre_count:
            yield _beyond_count(f"{pointer}/fibre", layout)
            continue
        positions = [
            one.position
            for one in layout.joints_of(joint.fibre)
            if one.site == record.site and one.kind is JointKind.SPLICE
        ]
        if not positions:
            yield Fault(pointer=f"{pointer}/fibre", detail="is not spliced at this site by the splice plan")
        elif joint.position is None and len(positions) > 1:
            yield Fault(pointer=f"{pointer}/position", detail=f"say which: one of {', '.join(map(str, positions))}")
        elif joint.position is not None and joint.position not in positions:
            yield Fault(pointer=f"{pointer}/position", detail=f"is no splice; one of {', '.join(map(str, positions))}")


def _closure_faults(record: ClosureStateRecord, layout: Layout) -> Iterator[Fault]:
    if record.site not in layout.site_index:
        yield _unknown_site("/site")
    elif layout.design.sites[layout.site_index[record.site]].kind is not SiteKind.SPLICE_CLOSURE:
        yield Fault(pointer="/site", detail="is not a splice closure")


def _test_faults(record: OtdrRecord | AttenuationRecord, layout: Layout) -> Iterator[Fault]:
    if record.fibre > layout.design.fibre_count:
        yield _beyond_count("/fibre", layout)
    for member, site in (("from_site", record.from_site), ("to_site", record.to_site)):
        if site not in layout.site_index:
            yield _unknown_site(f"/{member}")
    if record.from_site == record.to_site:
        yield Fault(pointer="/to_site", detail="is where the test starts")


def _unknown_site(pointer: str) -> Fault:
    return Fault(pointer=pointer, detail="is not a site of this route")


def _beyond_count(pointer: str, layout: Layout) -> Fault:
    return Fault(pointer=pointer, detail=f"the route has {layout.design.fibre_count} fibres")
