"""What was measured or seen on a fibre: traces, end-to-end losses, return loss, dispersion, continuity, end faces.

Loss is positive for a loss and negative for an apparent gain; reflectance is at most 0 dB; distances are metres of
fibre.
"""

from typing import Annotated, Literal, NotRequired, cast

from pydantic import AfterValidator, ConfigDict, Field, model_validator
from typing_extensions import TypedDict

from service.vocabulary import quantities as q
from service.vocabulary.records.base import FibreTest, Instrument, JointPosition, RecordBase
from service.vocabulary.records.words import EventKind, Polish, Qualifier, RecordKind, ReturnLossMethod, Side, Zone
from service.vocabulary.words import FarEnd

MAX_EVENTS = 2000


class Cord(q.Value):
    """A launch or receive cord."""

    serial: q.Identifier
    length_m: q.LengthM
    fibre_type: q.Identifier
    connector: q.Identifier


# Described as in every other form: absent and null are the same.
_NULL_IF_ABSENT = Field(json_schema_extra={"default": None})


# No model: a batch brings tens of thousands, and nothing on the way in looks into one. Validation gives the members as
# they are kept; making a model of each and dumping it again took half as long as validating it.
class TraceEvent(TypedDict):
    """A point on a trace, at its distance from the instrument's port, cords included."""

    __pydantic_config__ = ConfigDict(extra="forbid", allow_inf_nan=False)  # type: ignore[misc]

    distance_m: q.LengthMText
    kind: EventKind
    loss_db: NotRequired[Annotated[q.LossDbText | None, _NULL_IF_ABSENT]]
    reflectance_db: NotRequired[Annotated[q.ReflectanceDbText | None, _NULL_IF_ABSENT]]
    reflectance_qualifier: Annotated[Qualifier, Field(default=Qualifier.EQ)]
    attenuation_db_per_km: NotRequired[Annotated[q.AttenuationDbPerKmText | None, _NULL_IF_ABSENT]]
    added_by_hand: Annotated[q.Flag, Field(default=False)]


def _drop_nulls(events: tuple[TraceEvent, ...]) -> tuple[TraceEvent, ...]:
    if not any(None in event.values() for event in events):
        return events
    stated = ({name: value for name, value in event.items() if value is not None} for event in events)
    return cast(tuple[TraceEvent, ...], tuple(stated))


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


class DynamicRange(q.Value):
    """How far an instrument sees, as it is stated for a pulse and an averaging.

    The one-way loss from its port, in dB, at which the backscatter is as large as the root mean square of the noise
    (SNR = 1). Where it is stated to the level below which 98 % of the noise lies (IEC 61746, from memory), add 1.56 dB.
    """

    range_db: q.DynamicRangeDb
    pulse_ns: q.PulseNs
    averaging_s: q.AveragingSomeS


class OtdrRecord(FibreTest):
    """The events of one trace: one fibre, one direction, one wavelength, one pulse.

    `group_index` is what the instrument was set to, by which its distances are made; where it is not stated, only the
    fibre's far end and its joints tell how long the trace's metres are. By `dynamic_range` it is known how much noise
    hides far from the port, where without it a joint that was not seen proves nothing. `labelled_fibre` is the fibre
    number that the instrument's own file carries.
    """

    kind: Literal[RecordKind.OTDR]
    wavelength_nm: q.WavelengthNm
    actual_wavelength_nm: q.ActualWavelengthNm | None = None
    pulse_ns: q.PulseNs
    range_m: q.LengthM
    averaging_s: q.AveragingS
    group_index: q.GroupIndex | None = None
    backscatter_db: q.BackscatterDb
    dynamic_range: DynamicRange | None = None
    loss_threshold_db: q.ThresholdDb
    launch_cord: Cord | None = None
    receive_cord: Cord | None = None
    instrument_serial: q.Identifier
    calibrated_until: q.Day
    labelled_fibre: q.FibreNumber | None = None
    events: Annotated[tuple[TraceEvent, ...], Field(max_length=MAX_EVENTS), AfterValidator(_drop_nulls)]
    length_m: q.LengthM
    total_loss: TotalLoss | None = None
    total_return_loss: TotalReturnLoss | None = None


class AttenuationRecord(FibreTest):
    """A loss between two sites by light source and power meter; the actual wavelength is the source's.

    Where `referenced_at` is not stated nobody knows how old the reference was.
    """

    kind: Literal[RecordKind.ATTENUATION]
    wavelength_nm: q.WavelengthNm
    actual_wavelength_nm: q.ActualWavelengthNm | None = None
    loss_db: q.LossDb
    reference_cords: Literal[1, 2, 3]
    referenced_at: q.Instant | None = None
    source: Instrument
    meter: Instrument


class ReturnLossRecord(FibreTest):
    """The return loss of the link as seen at `from_site`, with what ends the fibre at `to_site`."""

    kind: Literal[RecordKind.RETURN_LOSS]
    wavelength_nm: q.WavelengthNm
    return_loss_db: q.ReturnLossDb
    qualifier: Qualifier = Qualifier.EQ
    method: ReturnLossMethod
    far_end: FarEnd
    instrument: Instrument


class DispersionRecord(FibreTest):
    """Chromatic dispersion at a wavelength, polarization mode dispersion over a band around it, or both."""

    kind: Literal[RecordKind.DISPERSION]
    wavelength_nm: q.WavelengthNm
    chromatic_ps_per_nm: q.ChromaticPsPerNm | None = None
    pmd_ps: q.PmdPs | None = None
    instrument: Instrument

    @model_validator(mode="after")
    def _say_something(self) -> "DispersionRecord":
        if self.chromatic_ps_per_nm is None and self.pmd_ps is None:
            raise ValueError("states neither chromatic_ps_per_nm nor pmd_ps")
        return self


class ContinuityRecord(FibreTest):
    """The fibre lit at `from_site` and the number seen at `to_site`; none where all stayed dark."""

    kind: Literal[RecordKind.CONTINUITY]
    seen_fibre: q.FibreNumber | None


class MarkCount(q.Value):
    """How many scratches of a width, or defects of a diameter, were counted."""

    size_um: q.SizeUm
    count: Annotated[int, Field(strict=True, ge=1, le=1000)]


class ZoneMarks(q.Value):
    """What was counted in one zone of an end face."""

    zone: Zone
    scratches: Annotated[tuple[MarkCount, ...], Field(max_length=50)] = ()
    defects: Annotated[tuple[MarkCount, ...], Field(max_length=50)] = ()


class EndFaceRecord(RecordBase):
    """One side of a fibre's connection inspected by an edition of IEC 61300-3-35.

    It says what was counted in which zone, or whether the instrument passed it by the image named, or both.
    """

    kind: Literal[RecordKind.END_FACE]
    site: q.Identifier
    fibre: q.FibreNumber
    position: JointPosition | None = None
    side: Side
    edition: Annotated[int, Field(strict=True, ge=2000, le=2100)]
    polish: Polish
    zones: Annotated[tuple[ZoneMarks, ...], Field(max_length=4)] = ()
    instrument_passed: q.Flag | None = None
    photograph_sha256: q.Sha256 | None = None

    @model_validator(mode="after")
    def _say_something_that_can_be_looked_at(self) -> "EndFaceRecord":
        if not self.zones and self.instrument_passed is None:
            raise ValueError("states neither zones nor instrument_passed")
        if self.instrument_passed is not None and self.photograph_sha256 is None:
            raise ValueError("instrument_passed needs photograph_sha256, the image that it was said of")
        return self

    @model_validator(mode="after")
    def _name_each_zone_once(self) -> "EndFaceRecord":
        if len({marks.zone for marks in self.zones}) != len(self.zones):
            raise ValueError("zones are named twice")
        return self
