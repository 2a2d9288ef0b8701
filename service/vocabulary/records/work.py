"""What a crew's work is recorded as: cable laid, calibrations, splices, terminations, cleaning, and lids."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.voiding import CableFibres
from service.vocabulary.design.words import Termination
from service.vocabulary.records.base import JointPosition, RecordBase
from service.vocabulary.records.words import ClosureState, Polish, RecordKind, Side, SpliceMethod

Attempt = Annotated[int, Field(strict=True, ge=1, le=20)]
SplicerSequence = Annotated[int, Field(strict=True, ge=0, le=999_999_999)]


class SheathMark(q.Value):
    """What the cable's sheath is marked with at a site, in metres."""

    site: q.Identifier
    mark_m: q.LengthM


class CableLayingRecord(RecordBase):
    """A section's cable laid: the day, the reel, and the sheath's marks at both ends, by which its length is known."""

    kind: Literal[RecordKind.CABLE_LAYING]
    section: q.Identifier
    laid_on: q.Day
    reel: q.Identifier | None = None
    sheath_marks: Annotated[tuple[SheathMark, ...], Field(min_length=2, max_length=2)]


class ArcCalibrationRecord(RecordBase):
    """A splicer's arc calibrated for a fibre type, and the air it was done in."""

    kind: Literal[RecordKind.ARC_CALIBRATION]
    splicer_serial: q.Identifier
    fibre_type: q.Identifier
    passed: q.Flag
    site: q.Identifier | None = None
    temperature_c: q.TemperatureC | None = None
    humidity_percent: q.HumidityPercent | None = None
    pressure_hpa: q.PressureHpa | None = None
    altitude_m: q.AltitudeM | None = None


class SplicedJoint(q.Value):
    """One fibre of a splice, with what the splicer estimated from its images."""

    fibre: q.FibreNumber
    position: JointPosition | None = None
    estimate_db: q.PositiveLossDb
    cleave_left_deg: q.AngleDeg | None = None
    cleave_right_deg: q.AngleDeg | None = None


class SpliceRecord(RecordBase):
    """One fibre, or the fibres of a ribbon, joined at a site.

    `splicer_sequence` is the number that the splicer itself gave the splice, which parts it from the one before
    whatever their times. `certified_until` is the last day of the splicing person's certificate.
    """

    kind: Literal[RecordKind.SPLICE]
    site: q.Identifier
    joints: Annotated[tuple[SplicedJoint, ...], Field(min_length=1, max_length=12)]
    attempt: Attempt = 1
    splicer_serial: q.Identifier
    splicer_sequence: SplicerSequence | None = None
    method: SpliceMethod = SpliceMethod.FUSION
    splice_mode: q.Text | None = None
    cleave_length_mm: q.LengthMm | None = None
    sleeve_length_mm: q.LengthMm | None = None
    sleeve_shrunk: q.Flag
    proof_test_passed: q.Flag | None = None
    certified_until: q.Day | None = None

    @model_validator(mode="after")
    def _name_each_fibre_once(self) -> "SpliceRecord":
        if len({(joint.fibre, joint.position) for joint in self.joints}) != len(self.joints):
            raise ValueError("joints name a fibre twice")
        return self


class TerminationRecord(RecordBase):
    """One fibre given its connector; the estimate is that of a splice-on connector or of a pigtail's splice."""

    kind: Literal[RecordKind.TERMINATION]
    site: q.Identifier
    fibre: q.FibreNumber
    position: JointPosition | None = None
    how: Termination
    connector: q.Identifier
    polish: Polish
    attempt: Attempt = 1
    splicer_serial: q.Identifier | None = None
    cleave_length_mm: q.LengthMm | None = None
    sleeve_length_mm: q.LengthMm | None = None
    estimate_db: q.PositiveLossDb | None = None


class CleaningRecord(RecordBase):
    """One side of a fibre's connection cleaned."""

    kind: Literal[RecordKind.CLEANING]
    site: q.Identifier
    fibre: q.FibreNumber
    position: JointPosition | None = None
    side: Side


class OpenedForFibres(q.Value):
    """Neighbouring fibres of one section's cable, by their numbers in it, both ends included."""

    section: q.Identifier
    first: q.FibreNumber
    last: q.FibreNumber

    @model_validator(mode="after")
    def _order_fibres(self) -> "OpenedForFibres":
        if self.first > self.last:
            raise ValueError("first is above last")
        return self


class OpenedForTray(q.Value):
    """The fibres of one tray."""

    tray: q.TrayNumber


class ClosureStateRecord(RecordBase):
    """A closure opened or sealed.

    `opened_for` says for which fibres it was opened; where nothing is said, for all. By cable fibres, of the cable on
    either side, or by trays, as a closure is that of every route through it.
    """

    kind: Literal[RecordKind.CLOSURE_STATE]
    site: q.Identifier
    state: ClosureState
    opened_for: Annotated[tuple[OpenedForFibres | OpenedForTray, ...], Field(min_length=1, max_length=50)] | None = None
    photographs_sha256: Annotated[tuple[q.Sha256, ...], Field(max_length=50)] = ()

    @property
    def named(self) -> list[CableFibres | int]:
        """Return the cable fibres and the trays that it was opened for."""
        return [
            one.tray if isinstance(one, OpenedForTray) else CableFibres(one.section, one.first, one.last)
            for one in self.opened_for or ()
        ]

    @model_validator(mode="after")
    def _open_for_something(self) -> "ClosureStateRecord":
        if self.opened_for and self.state is not ClosureState.OPENED:
            raise ValueError("opened_for belongs to a closure that was opened")
        return self
