"""Criteria about how joints were made: the latest attempt at every splice, and the records of all."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.selection import SPLICES, OfSplices
from service.vocabulary.criteria.words import Quantity
from service.vocabulary.design.words import JointKind


class CalibratedSplicer(q.Value):
    """The same splicer's arc was calibrated before, no longer ago than this, and again after it was moved."""

    aspect: Literal["calibrated_splicer"]
    most_age_h: q.AgeH
    again_after_move: q.Flag = True


class CleaveAngle(q.Value):
    """Neither fibre was cleaved at more than this; common practice aims at 0.5 and refuses above 1.0 degree."""

    aspect: Literal["cleave_angle"]
    limit_deg: q.AngleDeg


class CleaveLength(q.Value):
    """How long the bare fibre is on each side."""

    aspect: Literal["cleave_length"]
    least_mm: q.LengthMm
    most_mm: q.LengthMm

    @model_validator(mode="after")
    def _order_bounds(self) -> "CleaveLength":
        if self.least_mm > self.most_mm:
            raise ValueError("least_mm is above most_mm")
        return self


class SleeveLength(q.Value):
    """The lengths of splice protection sleeve that are allowed."""

    aspect: Literal["sleeve_length"]
    allowed_mm: Annotated[tuple[q.LengthMm, ...], Field(min_length=1, max_length=10)]


class MostAttempts(q.Value):
    """No joint was spliced more often."""

    aspect: Literal["attempts"]
    limit: Annotated[int, Field(strict=True, ge=1, le=20)]


class AttemptsAboveLoss(q.Value):
    """A joint whose mean of both directions is above this loss was spliced so often, each attempt a record."""

    aspect: Literal["attempts_above_loss"]
    wavelength_nm: q.WavelengthNm
    loss_db: q.PositiveLossDb
    least: Annotated[int, Field(strict=True, ge=2, le=20)]


class ProofTest(q.Value):
    """Each splice passed its proof test."""

    aspect: Literal["proof_test"]


class Certificate(q.Value):
    """The splicing person's certificate was valid on the day."""

    aspect: Literal["certificate"]


class FusionOnly(q.Value):
    """No mechanical splice stays."""

    aspect: Literal["fusion"]


Demand = Annotated[
    CalibratedSplicer
    | CleaveAngle
    | CleaveLength
    | SleeveLength
    | MostAttempts
    | AttemptsAboveLoss
    | ProofTest
    | Certificate
    | FusionOnly,
    Field(discriminator="aspect"),
]


class WorkmanshipCriterion(OfSplices):
    """One demand on how each splice was made."""

    quantity: Literal[Quantity.WORKMANSHIP]
    demand: Demand

    kinds = SPLICES


class RequiredRecordCriterion(OfSplices):
    """Each joint of the plan has the record of how it was made: a splice its splice, a mated pair its termination.

    The record of a pigtail's termination that states an estimate is that of its splice too.
    """

    quantity: Literal[Quantity.REQUIRED_RECORD]
    joint: JointKind | None = None
