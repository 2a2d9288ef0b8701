"""The kinds of record, their canonical content, what each is about, and which fibres and routes it may matter to.

A record is never changed after it is stored, only replaced or withdrawn with a reason.
"""

from collections.abc import Iterable, Mapping
from collections.abc import Set as AbstractSet
from typing import Annotated, Any, NamedTuple
from uuid import UUID

import orjson
from pydantic import Field, TypeAdapter

from service.vocabulary.criteria.voiding import Voiding, Work, reaches, work_of_opening
from service.vocabulary.design.layout import Layout
from service.vocabulary.records.measurements import (
    AttenuationRecord,
    ContinuityRecord,
    DispersionRecord,
    EndFaceRecord,
    OtdrRecord,
    ReturnLossRecord,
)
from service.vocabulary.records.words import RecordKind
from service.vocabulary.records.work import (
    ArcCalibrationRecord,
    CableLayingRecord,
    CleaningRecord,
    ClosureStateRecord,
    SpliceRecord,
    TerminationRecord,
)

MeasurementRecord = OtdrRecord | AttenuationRecord | ReturnLossRecord | DispersionRecord | ContinuityRecord
ConnectionRecord = TerminationRecord | CleaningRecord | EndFaceRecord
WorkRecord = CableLayingRecord | ArcCalibrationRecord | SpliceRecord | ClosureStateRecord
Record = WorkRecord | ConnectionRecord | MeasurementRecord

RECORD = TypeAdapter[Record](Annotated[Record, Field(discriminator="kind")])

# Stands in front of what is hashed, so that a later form of the same record can never be taken for this one.
RECORD_FORM = "record.1"
# What says which thing a record is about, in the kinds that have it; joints and splicers come beside it.
_SUBJECT_MEMBERS = ("section", "site", "from_site", "to_site", "fibre", "position", "side", "wavelength_nm")


def canonical_record(record: Record) -> dict[str, Any]:
    """Return what is hashed and kept of a record: nulls dropped, times in UTC, quantities as decimal strings."""
    if isinstance(record, OtdrRecord):
        # Its events are in canonical form since they were validated.
        members = record.model_dump(exclude_none=True, exclude={"events"})
        return {"form": RECORD_FORM, **members, "events": record.events}
    return {"form": RECORD_FORM, **record.model_dump(exclude_none=True)}


def read_stored_record(text: str) -> Record:
    """Return the record that canonical text was made of."""
    return read_record_document(orjson.loads(text))


def read_record_document(document: Mapping[str, Any]) -> Record:
    """Return the record that a document of the canonical form was made of."""
    document = dict(document)
    del document["form"]
    if document["kind"] == RecordKind.CONTINUITY.value:
        # The one member that must be posted and may be null: a fibre that stayed dark was seen nowhere.
        document.setdefault("seen_fibre", None)
    return RECORD.validate_json(orjson.dumps(document), strict=True)


def subject_of(record: Record) -> tuple[object, ...]:
    """Return what a record is about, whatever it says: kind, fibres, places, positions, side, wavelength, splicer.

    Only a calibration is about a splicer: a splice is what it is, whichever device is said to have made it. Continuity
    is about the fibre that was lit: the one seen is what it says.
    """
    named = (getattr(record, name, None) for name in _SUBJECT_MEMBERS)
    joints = {(one.fibre, one.position) for one in record.joints} if isinstance(record, SpliceRecord) else ()
    calibrated = (record.splicer_serial, record.fibre_type) if isinstance(record, ArcCalibrationRecord) else None
    return record.kind, *named, frozenset(joints), calibrated


def fibres_of(record: Record) -> frozenset[int]:
    """Return the route fibres a record is about; none for one about a whole site or cable, or about a splicer."""
    match record:
        case SpliceRecord():
            return frozenset(joint.fibre for joint in record.joints)
        case CableLayingRecord() | ClosureStateRecord() | ArcCalibrationRecord():
            return frozenset()
        case ContinuityRecord():
            return frozenset({record.fibre} if record.seen_fibre is None else {record.fibre, record.seen_fibre})
        case _:
            return frozenset({record.fibre})


def splicer_of(record: Record) -> str | None:
    """Return the serial of the splicer that did a record's work, or was calibrated."""
    if isinstance(record, SpliceRecord | TerminationRecord | ArcCalibrationRecord):
        return record.splicer_serial
    return None


class Reach(NamedTuple):
    """Which routes some records may matter to beside their own: by closures among `sites`, by `sections`, or any.

    A lid is that of every route through its closure, and whoever splices there had it open; a cable is that of every
    route that passes it; a splicer works on several routes of the project between two calibrations.
    """

    sites: frozenset[str] = frozenset()
    sections: frozenset[str] = frozenset()
    is_any_route: bool = False


def reach_of(records: Iterable[Record]) -> Reach:
    """Return how far some records reach."""
    every = list(records)
    return Reach(
        sites=frozenset(one.site for one in every if isinstance(one, ClosureStateRecord | SpliceRecord)),
        sections=frozenset(one.section for one in every if isinstance(one, CableLayingRecord)),
        is_any_route=any(isinstance(one, ArcCalibrationRecord) for one in every),
    )


def touched_fibres(
    record: Record,
    layout: Layout,
    *,
    rework_voids: Voiding,
    spliced_since: AbstractSet[int],
    lids_later: AbstractSet[UUID] = frozenset(),
) -> AbstractSet[int]:
    """Return the route fibres that have to be judged anew.

    A lid sealed touches every fibre of the closure, uncut ones too; one opened, and a splice in a closure, those that
    it reaches by what was agreed. Where a lid was recorded later than it (`lids_later`), it says of every fibre whether
    that closure had been opened before. A calibration touches those that its splicer has spliced since. By how a cable
    was laid nothing is judged.
    """
    if isinstance(record, ArcCalibrationRecord):
        return spliced_since
    is_splice_in_closure = isinstance(record, SpliceRecord) and layout.is_closure(record.site)
    if not is_splice_in_closure and not isinstance(record, ClosureStateRecord):
        return fibres_of(record)
    everyone = frozenset(range(1, layout.design.fibre_count + 1))
    work = None if record.id in lids_later else _work_of(record, layout)
    if work is None:
        return everyone
    assert isinstance(record, SpliceRecord | ClosureStateRecord)
    return frozenset(one for one in everyone if reaches(rework_voids, layout, site=record.site, work=work, fibre=one))


def _work_of(record: Record, layout: Layout) -> Work | None:
    """Return what was worked on in a closure; nothing where it may be all that it holds."""
    if not isinstance(record, ClosureStateRecord):
        return Work(fibres_of(record))
    return None if record.opened_for is None else work_of_opening(layout, record.site, record.named)
