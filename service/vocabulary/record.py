"""What a crew sends: one value per kind of record.

Loss is positive for a loss and negative for an apparent gain; reflectance is at most 0 dB; distances are metres of
fibre. A record is never changed after it is stored, only replaced or withdrawn with a reason.
"""

from typing import Annotated, Any, Literal
from uuid import UUID

import orjson
from pydantic import Field, TypeAdapter, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.words import ClosureState, EventKind, Qualifier, RecordKind

MAX_EVENTS = 2000


class RecordBase(q.Value):
    """What every record says of itself."""

    id: UUID
    made_at: q.Instant
    operator: q.Identifier
    device: q.Identifier


class SplicedJoint(q.Value):
    """One fibre of a splice, with what the splicer estimated from its images."""

    fibre: q.FibreNumber
    position: Annotated[int, Field(strict=True, ge=1, le=4)] | None = None
    estimate_db: q.PositiveLossDb
    cleave_left_deg: q.AngleDeg | None = None
    cleave_right_deg: q.AngleDeg | None = None


class SpliceRecord(RecordBase):
    """One fibre, or the fibres of a ribbon, fused at a site."""

    kind: Literal[RecordKind.SPLICE]
    site: q.Identifier
    joints: Annotated[tuple[SplicedJoint, ...], Field(min_length=1, max_length=12)]
    attempt: Annotated[int, Field(strict=True, ge=1, le=20)] = 1
    splicer_serial: q.Identifier
    splice_mode: q.Text | None = None
    cleave_length_mm: q.LengthMm | None = None
    sleeve_length_mm: q.LengthMm | None = None
    sleeve_shrunk: q.Flag
    proof_test_passed: q.Flag | None = None

    @model_validator(mode="after")
    def _name_each_fibre_once(self) -> "SpliceRecord":
        if len({(joint.fibre, joint.position) for joint in self.joints}) != len(self.joints):
            raise ValueError("joints name a fibre twice")
        return self


class ClosureStateRecord(RecordBase):
    """A closure opened or sealed."""

    kind: Literal[RecordKind.CLOSURE_STATE]
    site: q.Identifier
    state: ClosureState
    photographs_sha256: Annotated[tuple[q.Sha256, ...], Field(max_length=50)] = ()


class Cord(q.Value):
    """A launch or receive cord."""

    serial: q.Identifier
    length_m: q.LengthM
    fibre_type: q.Identifier
    connector: q.Identifier


class TraceEvent(q.Value):
    """A point on a trace, at its distance from the instrument's port, cords included."""

    distance_m: q.LengthM
    kind: EventKind
    loss_db: q.LossDb | None = None
    reflectance_db: q.ReflectanceDb | None = None
    reflectance_qualifier: Qualifier = Qualifier.EQ
    attenuation_db_per_km: q.AttenuationDbPerKm | None = None
    added_by_hand: q.Flag = False


class TotalLoss(q.Value):
    """A trace's loss between two of its points."""

    loss_db: q.LossDb
    from_m: q.LengthM
    to_m: q.LengthM


class TotalReturnLoss(q.Value):
    """A trace's return loss between two of its points."""

    return_loss_db: q.ReturnLossDb
    qualifier: Qualifier = Qualifier.EQ
    from_m: q.LengthM
    to_m: q.LengthM


class OtdrRecord(RecordBase):
    """The events of one trace: one fibre, one direction, one wavelength, one pulse."""

    kind: Literal[RecordKind.OTDR]
    fibre: q.FibreNumber
    from_site: q.Identifier
    to_site: q.Identifier
    wavelength_nm: q.WavelengthNm
    actual_wavelength_nm: q.ActualWavelengthNm | None = None
    pulse_ns: q.PulseNs
    range_m: q.LengthM
    averaging_s: q.AveragingS
    group_index: q.GroupIndex
    backscatter_db: q.BackscatterDb
    loss_threshold_db: q.ThresholdDb
    launch_cord: Cord | None = None
    receive_cord: Cord | None = None
    instrument_serial: q.Identifier
    calibrated_until: q.Day
    events: Annotated[tuple[TraceEvent, ...], Field(max_length=MAX_EVENTS)]
    length_m: q.LengthM
    total_loss: TotalLoss | None = None
    total_return_loss: TotalReturnLoss | None = None


class Instrument(q.Value):
    """An instrument and the day its calibration runs out."""

    serial: q.Identifier
    calibrated_until: q.Day


class AttenuationRecord(RecordBase):
    """An end-to-end loss by light source and power meter."""

    kind: Literal[RecordKind.ATTENUATION]
    fibre: q.FibreNumber
    from_site: q.Identifier
    to_site: q.Identifier
    wavelength_nm: q.WavelengthNm
    loss_db: q.LossDb
    reference_cords: Literal[1, 2, 3]
    referenced_at: q.Instant
    source: Instrument
    meter: Instrument


Record = SpliceRecord | ClosureStateRecord | OtdrRecord | AttenuationRecord

RECORD = TypeAdapter[Record](Annotated[Record, Field(discriminator="kind")])

# Stands in front of what is hashed, so that a later form of the same record can never be taken for this one.
RECORD_FORM = "record.1"


def canonical_record(record: Record) -> dict[str, Any]:
    """Return what is hashed and kept of a record: nulls dropped, times in UTC, quantities as decimal strings."""
    return {"form": RECORD_FORM, **record.model_dump(exclude_none=True)}


def read_stored_record(text: str) -> Record:
    """Return the record that canonical text was made of."""
    document = orjson.loads(text)
    del document["form"]
    return RECORD.validate_json(orjson.dumps(document), strict=True)


def subject_of(record: Record) -> tuple[object, ...]:
    """Return what a record is about, whatever it says of it: kind, fibres, sites, wavelength."""
    return record.kind, fibres_of(record), sites_of(record), getattr(record, "wavelength_nm", None)


def fibres_of(record: Record) -> frozenset[int]:
    """Return the route fibres a record is about; none for a record about a whole site."""
    match record:
        case SpliceRecord():
            return frozenset(joint.fibre for joint in record.joints)
        case ClosureStateRecord():
            return frozenset()
        case _:
            return frozenset({record.fibre})


def sites_of(record: Record) -> tuple[str, ...]:
    """Return the sites a record names."""
    match record:
        case SpliceRecord() | ClosureStateRecord():
            return (record.site,)
        case _:
            return (record.from_site, record.to_site)
