"""The kinds of record, their canonical content, and what each is about.

A record is never changed after it is stored, only replaced or withdrawn with a reason.
"""

from typing import Annotated, Any

import orjson
from pydantic import Field, TypeAdapter

from service.vocabulary.records.base import FibreTest
from service.vocabulary.records.measurements import (
    AttenuationRecord,
    ContinuityRecord,
    DispersionRecord,
    EndFaceRecord,
    OtdrRecord,
    ReturnLossRecord,
)
from service.vocabulary.records.work import (
    ArcCalibrationRecord,
    CleaningRecord,
    ClosureStateRecord,
    SpliceRecord,
    TerminationRecord,
)
from service.vocabulary.words import RecordKind

MeasurementRecord = OtdrRecord | AttenuationRecord | ReturnLossRecord | DispersionRecord | ContinuityRecord
ConnectionRecord = TerminationRecord | CleaningRecord | EndFaceRecord
Record = ArcCalibrationRecord | SpliceRecord | ClosureStateRecord | ConnectionRecord | MeasurementRecord

RECORD = TypeAdapter[Record](Annotated[Record, Field(discriminator="kind")])

# Stands in front of what is hashed, so that a later form of the same record can never be taken for this one.
RECORD_FORM = "record.1"


def canonical_record(record: Record) -> dict[str, Any]:
    """Return what is hashed and kept of a record: nulls dropped, times in UTC, quantities as decimal strings."""
    if isinstance(record, OtdrRecord):
        # Its events are in canonical form since they were validated.
        members = record.model_dump(exclude_none=True, exclude={"events"})
        return {"form": RECORD_FORM, **members, "events": record.events}
    return {"form": RECORD_FORM, **record.model_dump(exclude_none=True)}


def read_stored_record(text: str) -> Record:
    """Return the record that canonical text was made of."""
    document = orjson.loads(text)
    del document["form"]
    if document["kind"] == RecordKind.CONTINUITY.value:
        # The one member that must be posted and may be null: a fibre that stayed dark was seen nowhere.
        document.setdefault("seen_fibre", None)
    return RECORD.validate_json(orjson.dumps(document), strict=True)


def subject_of(record: Record) -> tuple[object, ...]:
    """Return what a record is about, whatever it says of it: kind, fibres, sites, positions, side, wavelength, splicer.

    Only a calibration is about a splicer: a splice is what it is, whichever device is said to have made it. Continuity
    is about the fibre that was lit: the one seen is what it says.
    """
    fibres = frozenset({record.fibre}) if isinstance(record, ContinuityRecord) else fibres_of(record)
    calibrated = (record.splicer_serial, record.fibre_type) if isinstance(record, ArcCalibrationRecord) else None
    return (
        record.kind,
        fibres,
        sites_of(record),
        positions_of(record),
        getattr(record, "side", None),
        getattr(record, "wavelength_nm", None),
        calibrated,
    )


def fibres_of(record: Record) -> frozenset[int]:
    """Return the route fibres a record is about; none for a record about a whole site, or about a splicer."""
    match record:
        case SpliceRecord():
            return frozenset(joint.fibre for joint in record.joints)
        case ClosureStateRecord() | ArcCalibrationRecord():
            return frozenset()
        case ContinuityRecord():
            return frozenset({record.fibre} if record.seen_fibre is None else {record.fibre, record.seen_fibre})
        case _:
            return frozenset({record.fibre})


def sites_of(record: Record) -> tuple[str, ...]:
    """Return the sites a record names."""
    match record:
        case FibreTest():
            return (record.from_site, record.to_site)
        case ArcCalibrationRecord():
            return () if record.site is None else (record.site,)
        case _:
            return (record.site,)


def positions_of(record: Record) -> frozenset[tuple[int, int | None]]:
    """Return which joint of each fibre a record means where a site has several."""
    match record:
        case SpliceRecord():
            return frozenset((joint.fibre, joint.position) for joint in record.joints)
        case TerminationRecord() | CleaningRecord() | EndFaceRecord():
            return frozenset({(record.fibre, record.position)})
        case _:
            return frozenset()


def splicer_of(record: Record) -> str | None:
    """Return the serial of the splicer that did a record's work, or was calibrated."""
    match record:
        case SpliceRecord() | TerminationRecord() | ArcCalibrationRecord():
            return record.splicer_serial
        case _:
            return None
