"""Whether what was posted can be true: its times by the service's clock, and a record by its route.

Every fault is said by name.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from functools import cache
from typing import Any, get_args

from pydantic import BaseModel

from service.errors import BodyInvalidError
from service.settings import CLOCK_TOLERANCE
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import JointKind, SiteKind
from service.vocabulary.instants import InstantKind, InstantOf, canonical_time
from service.vocabulary.records.base import FibreTest
from service.vocabulary.records.measurements import ContinuityRecord
from service.vocabulary.records.record import Record
from service.vocabulary.records.work import (
    ArcCalibrationRecord,
    CableLayingRecord,
    ClosureStateRecord,
    OpenedForTray,
    SpliceRecord,
)
from service.vocabulary.validation import Fault

_LABELS = {JointKind.SPLICE: "splice", JointKind.PAIR: "mated pair"}
# What another clock said tells how wrong that clock is, and is kept for that: a time zone set wrong is hours.
_MOST_AHEAD: Mapping[InstantKind, timedelta] = {
    InstantKind.EVENT: CLOCK_TOLERANCE,
    InstantKind.READING: timedelta(days=1),
}


def check_fit(record: Record, layout: Layout, *, now: datetime) -> list[Fault]:
    """Return what keeps a record from being one of the route with this layout."""
    return [*_times_ahead(record, now=now), *_place_faults(record, layout, now=now)]


def refuse_times_ahead(form: BaseModel, *, now: datetime) -> None:
    """Refuse a form that says of something to come that it has happened."""
    faults = list(_times_ahead(form, now=now))
    if faults:
        raise BodyInvalidError("What is said to have happened lies in the future.", faults=faults)


def _times_ahead(form: BaseModel, *, now: datetime) -> Iterator[Fault]:
    """Give a fault for each time of a form that lies too far ahead of the service's clock."""
    for name, most in _own_times(type(form)).items():
        instant = getattr(form, name)
        if instant is not None and instant > now + most:
            detail = f"is in the future; the service's clock says {canonical_time(now)}"
            yield Fault(pointer=f"/{name}", detail=detail)


@cache
def _own_times(form: type[BaseModel]) -> Mapping[str, timedelta]:
    """Return the times of a form that may not lie ahead at will, each with how far it may."""
    return {
        name: _MOST_AHEAD[mark.kind]
        for name, field in form.model_fields.items()
        for mark in (*field.metadata, *_marks(field.annotation))
        if isinstance(mark, InstantOf) and mark.kind in _MOST_AHEAD
    }


def _marks(annotation: Any) -> Iterator[Any]:
    yield from getattr(annotation, "__metadata__", ())
    for part in get_args(annotation):
        yield from _marks(part)


def _place_faults(record: Record, layout: Layout, *, now: datetime) -> Iterator[Fault]:
    match record:
        case FibreTest():
            yield from _test_faults(record, layout)
        case CableLayingRecord():
            yield from _laying_faults(record, layout, now=now)
        case _ if record.site is not None and record.site not in layout.site_index:
            yield _unknown_site("/site")
        case SpliceRecord():
            for index, joint in enumerate(record.joints):
                pointer = f"/joints/{index}"
                yield from _joint_faults(
                    layout, pointer, record.site, joint.fibre, joint.position, kind=JointKind.SPLICE
                )
        case ClosureStateRecord():
            yield from _lid_faults(record, layout)
        case ArcCalibrationRecord():
            pass
        case _:
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


def _laying_faults(record: CableLayingRecord, layout: Layout, *, now: datetime) -> Iterator[Fault]:
    # A day begins first where clocks are farthest ahead.
    if record.laid_on > (now + timedelta(days=1)).date():
        yield Fault(pointer="/laid_on", detail=f"is in the future; the service's clock says {canonical_time(now)}")
    index = next((index for index, one in enumerate(layout.design.sections) if one.id == record.section), None)
    if index is None:
        yield Fault(pointer="/section", detail="is not a section of this route")
        return
    ends = {site.id for site in layout.design.sites[index : index + 2]}
    if {mark.site for mark in record.sheath_marks} != ends:
        yield Fault(pointer="/sheath_marks", detail=f"one at each end of the cable: {' and '.join(sorted(ends))}")


def _lid_faults(record: ClosureStateRecord, layout: Layout) -> Iterator[Fault]:
    index = layout.site_index[record.site]
    site, sections = layout.design.sites[index], layout.design.sections[max(index - 1, 0) : index + 1]
    if site.kind is not SiteKind.SPLICE_CLOSURE:
        yield Fault(pointer="/site", detail="is not a splice closure")
    for number, named in enumerate(record.opened_for or ()):
        pointer = f"/opened_for/{number}"
        if isinstance(named, OpenedForTray):
            if named.tray not in {tray.number for tray in site.trays}:
                yield Fault(pointer=f"{pointer}/tray", detail="is no tray of this site")
        elif named.section not in {section.id for section in sections}:
            yield Fault(pointer=f"{pointer}/section", detail="is no section that ends at this site")


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
