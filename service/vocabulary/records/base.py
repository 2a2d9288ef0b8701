"""What records have in common."""

from typing import Annotated
from uuid import UUID

from pydantic import Field

from service.vocabulary import quantities as q

JointPosition = Annotated[int, Field(strict=True, ge=1, le=4)]


class RecordBase(q.Value):
    """What every record says of itself."""

    id: UUID
    made_at: q.Instant
    operator: q.Identifier
    device: q.Identifier


class Instrument(q.Value):
    """An instrument and the day its calibration runs out."""

    serial: q.Identifier
    calibrated_until: q.Day


class FibreTest(RecordBase):
    """A test of one fibre from one site to another; `instrument_time` is what the instrument's own clock said."""

    fibre: q.FibreNumber
    from_site: q.Identifier
    to_site: q.Identifier
    instrument_time: q.ClockReading | None = None
