"""What a project's owner and contractor agreed before measuring: an immutable, numbered set of criteria.

Every limit is a setting: published owner limits differ by a factor of three. A value equal to its limit conforms.
"""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.words import Force, Quantity


class Combination(StrEnum):
    """Whether a two-way criterion limits the mean of both directions or the worse one."""

    MEAN = "mean"
    WORSE = "worse"


class Voiding(StrEnum):
    """How far a rework reaches: the tests of that fibre, or of every fibre in that closure."""

    FIBRE = "fibre"
    CLOSURE = "closure"


class Criterion(q.Value):
    """What every criterion says: its code, the clause it comes from, and whether it decides."""

    code: q.Identifier
    clause: q.Text | None = None
    force: Force = Force.REQUIRED


class SpliceLossCriterion(Criterion):
    """The bidirectional loss of each splice, and the action limits while its closure is open."""

    quantity: Literal[Quantity.SPLICE_LOSS]
    wavelength_nm: q.WavelengthNm
    limit_db: q.PositiveLossDb
    estimate_action_limit_db: q.PositiveLossDb | None = None
    one_way_action_limit_db: q.PositiveLossDb | None = None


class TerminationLossCriterion(Criterion):
    """The bidirectional loss of a connection together with the splice behind it, which no OTDR sees apart."""

    quantity: Literal[Quantity.TERMINATION_LOSS]
    wavelength_nm: q.WavelengthNm
    limit_db: q.PositiveLossDb


class FixedLimit(q.Value):
    """One figure for the whole link."""

    kind: Literal["fixed"]
    limit_db: q.PositiveLossDb


class Budget(q.Value):
    """A limit from the design: fibre length, splices, and the connections that the reference method includes."""

    kind: Literal["budget"]
    attenuation_db_per_km: q.PositiveAttenuationDbPerKm
    splice_db: q.PositiveLossDb
    connection_db: q.PositiveLossDb
    other_db: q.PositiveLossDb = 0.0


class LinkAttenuationCriterion(Criterion):
    """End-to-end loss by source and meter, against one figure or against the budget."""

    quantity: Literal[Quantity.LINK_ATTENUATION]
    wavelength_nm: q.WavelengthNm
    combination: Combination
    limit: Annotated[FixedLimit | Budget, Field(discriminator="kind")]
    reference_cords: Literal[1, 2, 3] | None = None
    least_attenuation_db_per_km: q.PositiveAttenuationDbPerKm
    uncertainty_db: q.PositiveLossDb = 0.3


class RequiredTestCriterion(Criterion):
    """A test that has to be there for each fibre, in both directions."""

    quantity: Literal[Quantity.REQUIRED_TEST]
    test: Literal["otdr", "attenuation"]
    wavelength_nm: q.WavelengthNm


AnyCriterion = Annotated[
    SpliceLossCriterion | TerminationLossCriterion | LinkAttenuationCriterion | RequiredTestCriterion,
    Field(discriminator="quantity"),
]


class Placing(q.Value):
    """How far an event may lie from where the design puts its joint."""

    tolerance_m: q.LengthM = 10.0
    tolerance_percent: q.Percent = 0.2
    scale_percent: q.Percent = 3.0


class Criteria(q.Value):
    """One version of a project's criteria.

    No joint's true loss is below zero: a bidirectional mean farther below it than `mean_below_zero_db` proves nothing.
    The usual figure is that of two event thresholds of 0.02 dB together, common practice.
    """

    title: q.Text
    document: q.Text | None = None
    final_after_sealing: q.Flag = True
    rework_voids: Voiding = Voiding.FIBRE
    placing: Placing = Placing()
    mean_below_zero_db: q.PositiveLossDb = 0.04
    criteria: Annotated[tuple[AnyCriterion, ...], Field(min_length=1, max_length=200)]

    @model_validator(mode="after")
    def _name_each_criterion_once(self) -> "Criteria":
        codes = [criterion.code for criterion in self.criteria]
        if len(set(codes)) != len(codes):
            raise ValueError("two criteria have one code")
        return self
