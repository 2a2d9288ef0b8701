"""Criteria about a fibre from end to end, or section by section."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.base import Criterion, LimitedDb, RequiredTest, Tested
from service.vocabulary.criteria.selection import OfSections, is_of_type
from service.vocabulary.criteria.words import Combination, DecisionRule, From, LinkStretch, Quantity
from service.vocabulary.words import FarEnd


class FixedLimit(q.Value):
    """One figure for the whole link."""

    kind: Literal["fixed"]
    limit_db: q.PositiveLossDb


class FibreTypeAttenuation(q.Value):
    """What a budget allows for each kilometre of one fibre type."""

    fibre_type: q.Identifier
    attenuation_db_per_km: q.PositiveAttenuationDbPerKm


class Budget(q.Value):
    """A limit from the design: fibre length, splices, and the connections that the reference method includes.

    A span from panel to panel has a connection at each of its ends, and the splices of its own side in the panels.
    `by_fibre_type` goes before what is said for all types, and may say it alone: each type is named as in `joining`,
    and of two that take one in the longer name counts. A splice that joins two types is allowed `unlike_splice_db`
    where that is said, in a closure and at a pigtail of which the design says the type.
    """

    kind: Literal["budget"]
    attenuation_db_per_km: q.PositiveAttenuationDbPerKm | None = None
    by_fibre_type: Annotated[tuple[FibreTypeAttenuation, ...], Field(max_length=20)] = ()
    splice_db: q.PositiveLossDb
    unlike_splice_db: q.PositiveLossDb | None = None
    connection_db: q.PositiveLossDb
    other_db: q.PositiveLossDb = 0.0

    def attenuation_of(self, fibre_type: str) -> float | None:
        """Return the coefficient that is allowed for a fibre type; none where nothing is said of it."""
        own = [one for one in self.by_fibre_type if is_of_type(fibre_type, one.fibre_type)]
        closest = max(own, key=lambda one: len(one.fibre_type), default=None)
        return self.attenuation_db_per_km if closest is None else closest.attenuation_db_per_km

    @property
    def coefficients_db_per_km(self) -> tuple[float, ...]:
        """All coefficients that it states."""
        stated = () if self.attenuation_db_per_km is None else (self.attenuation_db_per_km,)
        return (*stated, *(one.attenuation_db_per_km for one in self.by_fibre_type))

    @model_validator(mode="after")
    def _allow_the_fibre_something(self) -> "Budget":
        if not self.coefficients_db_per_km:
            raise ValueError("states neither attenuation_db_per_km nor by_fibre_type")
        if len({one.fibre_type for one in self.by_fibre_type}) != len(self.by_fibre_type):
            raise ValueError("by_fibre_type names a type twice")
        return self


class LinkAttenuationCriterion(Tested, LimitedDb):
    """Loss from end to end, or over each span, against one figure or against the budget.

    By source and meter a loss below `least_attenuation_db_per_km` of fibre by more than the uncertainty tells of a
    wrong reference and is set aside; without that figure none is for being too low. By OTDR it is what traces lose with
    both end connections, as a reference by one cord holds them: a connection that is not seen from each end that is
    asked for can only add to it. The mean of both directions is a loss. One direction, and the worse of both, also hold
    by how much the glass before the link scatters unlike that behind it, half the difference of the two coefficients:
    what its joints show one way adds up to that, and between cords of one glass to nothing.
    """

    quantity: Literal[Quantity.LINK_ATTENUATION]
    over: LinkStretch = LinkStretch.ROUTE
    basis: Literal["source_and_meter", "otdr"] = "source_and_meter"
    combination: Combination = Combination.MEAN
    limit: Annotated[FixedLimit | Budget, Field(discriminator="kind")]
    reference_cords: Literal[1, 2, 3] | None = None
    least_attenuation_db_per_km: q.PositiveAttenuationDbPerKm | None = None
    uncertainty_db: q.PositiveLossDb = 0.3

    judged_by = "attenuation"
    limit_member = "limit"
    limits_loss = True
    is_end_to_end = True

    @property
    def single_limit(self) -> float | None:
        """Return the figure; a budget is another one for each fibre."""
        return self.limit.limit_db if isinstance(self.limit, FixedLimit) else None

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return the test that its basis asks for."""
        return (self.test_at(self.wavelength_nm, test="otdr" if self.basis == "otdr" else "attenuation"),)

    @model_validator(mode="after")
    def _ask_no_reference_of_traces(self) -> "LinkAttenuationCriterion":
        if self.basis == "otdr" and (self.reference_cords, self.least_attenuation_db_per_km) != (None, None):
            raise ValueError("reference_cords and least_attenuation_db_per_km belong to source_and_meter")
        return self


class ReferenceAgeCriterion(Criterion):
    """How long before a loss by source and meter the reference may have been taken; one not stated proves nothing."""

    quantity: Literal[Quantity.REFERENCE_AGE]
    wavelength_nm: q.WavelengthNm
    over: LinkStretch = LinkStretch.ROUTE
    limit_h: q.AgeH

    judged_by = "attenuation"
    limit_member = "limit_h"
    is_end_to_end = True


class Stretch(StrEnum):
    """The run of fibre that an attenuation coefficient or a length is taken over."""

    SECTION = "section"
    SPAN = "span"


class AttenuationCoefficientCriterion(OfSections, Tested):
    """The fibre's own loss for each kilometre without its joints, where it is long enough.

    Of two directions it is their mean: what they differ by is of the joints. `at` names sections, not spans.
    """

    quantity: Literal[Quantity.ATTENUATION_COEFFICIENT]
    wavelength_nm: q.WavelengthNm
    over: Stretch
    limit_db_per_km: q.PositiveAttenuationDbPerKm
    least_length_m: q.LengthM = 1000.0
    decision: DecisionRule = DecisionRule.SIMPLE
    uncertainty_db_per_km: q.PositiveAttenuationDbPerKm | None = None

    judged_by = "otdr"
    limit_member = "limit_db_per_km"
    limits_loss = True

    @property
    def guard_band(self) -> float | None:
        """Return the uncertainty in dB/km, unless the rule is the simple one."""
        return None if self.decision is DecisionRule.SIMPLE else self.uncertainty_db_per_km

    @model_validator(mode="after")
    def _know_the_guard_band(self) -> "AttenuationCoefficientCriterion":
        if self.decision is not DecisionRule.SIMPLE and self.uncertainty_db_per_km is None:
            raise ValueError("a guard band needs uncertainty_db_per_km")
        return self

    @model_validator(mode="after")
    def _name_sections_by_section(self) -> "AttenuationCoefficientCriterion":
        if self.at is not None and self.over is not Stretch.SECTION:
            raise ValueError("at names sections, and over says spans")
        return self


class ReelDifferenceCriterion(OfSections):
    """How much more a section's fibre may lose for each kilometre than on its reel, where it is long enough."""

    quantity: Literal[Quantity.REEL_DIFFERENCE]
    wavelength_nm: q.WavelengthNm
    limit_db_per_km: q.PositiveAttenuationDbPerKm
    least_length_m: q.LengthM = 1000.0

    judged_by = "otdr"
    limit_member = "limit_db_per_km"


class ReturnLossCriterion(Tested, LimitedDb):
    """The least return loss at each end of the link, or of each span, that it is tested from, never averaged.

    It is measured there, or worked out from a trace.
    """

    quantity: Literal[Quantity.RETURN_LOSS]
    over: LinkStretch = LinkStretch.ROUTE
    basis: Literal["measured", "computed"] = "measured"
    limit_db: q.ReturnLossDb
    far_end: FarEnd | None = None

    limit_is_least = True
    is_end_to_end = True

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return the test that its basis asks for."""
        return (self.test_at(self.wavelength_nm, test="return_loss" if self.basis == "measured" else "otdr"),)


class LengthCriterion(Tested):
    """How far the length that traces show of each span may be from the design's fibre length."""

    quantity: Literal[Quantity.LENGTH]
    limit_percent: q.SharePercent

    limit_member = "limit_percent"


class ContinuityCriterion(Criterion):
    """Each fibre comes out where the design says: the number lit at one end is the number seen at the other."""

    quantity: Literal[Quantity.CONTINUITY]

    judged_by = "continuity"
    usually_from = From.EITHER
    is_end_to_end = True


class ChromaticDispersionCriterion(Criterion):
    """The most chromatic dispersion of the link at a wavelength, whatever its sign."""

    quantity: Literal[Quantity.CHROMATIC_DISPERSION]
    wavelength_nm: q.WavelengthNm
    limit_ps_per_nm: Annotated[q.ChromaticPsPerNm, Field(ge=0)]

    judged_by = "dispersion"
    usually_from = From.EITHER
    limit_member = "limit_ps_per_nm"
    is_end_to_end = True


class PolarizationModeDispersionCriterion(Criterion):
    """The most polarization mode dispersion of the link, worked out for its length where a coefficient is given."""

    quantity: Literal[Quantity.POLARIZATION_MODE_DISPERSION]
    wavelength_nm: q.WavelengthNm
    limit_ps: q.PmdPs

    judged_by = "dispersion"
    usually_from = From.EITHER
    limit_member = "limit_ps"
    is_end_to_end = True


class RequiredTestCriterion(Tested):
    """A test that has to be there for each fibre, or for each of its spans."""

    quantity: Literal[Quantity.REQUIRED_TEST]
    over: LinkStretch = LinkStretch.ROUTE
    test: Literal["otdr", "attenuation", "return_loss"]
    wavelength_nm: q.WavelengthNm

    is_end_to_end = True

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return the test that has to be there."""
        return (self.test_at(self.wavelength_nm, test=self.test),)
