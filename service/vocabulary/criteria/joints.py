"""Criteria about joints, and about what a trace shows where none should be."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.base import Criterion, LimitedDb, RequiredTest
from service.vocabulary.criteria.words import Basis, Quantity
from service.vocabulary.design.words import JointKind


class Fallback(q.Value):
    """A wider limit for a splice that was tried so often, each attempt its own record; it is listed as such."""

    attempts: Annotated[int, Field(strict=True, ge=2, le=20)]
    limit_db: q.PositiveLossDb


class JointLossCriterion(LimitedDb):
    """A criterion that limits what joints lose, seen from one end or from both."""

    limits_loss = True


class SpliceLossCriterion(JointLossCriterion):
    """The loss of each splice, and the action limits while its closure is open."""

    quantity: Literal[Quantity.SPLICE_LOSS]
    basis: Literal[Basis.BIDIRECTIONAL, Basis.ONE_WAY, Basis.ESTIMATE] = Basis.BIDIRECTIONAL
    limit_db: q.PositiveLossDb
    fallback: Fallback | None = None
    estimate_action_limit_db: q.PositiveLossDb | None = None
    one_way_action_limit_db: q.PositiveLossDb | None = None

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return none for the splicer's estimate, which no test gives."""
        return () if self.basis is Basis.ESTIMATE else super().required_tests


class ConnectionLossCriterion(JointLossCriterion):
    """The loss of each mated pair, as the mean of both directions or in each of them."""

    quantity: Literal[Quantity.CONNECTION_LOSS]
    basis: Literal[Basis.BIDIRECTIONAL, Basis.EACH_WAY] = Basis.BIDIRECTIONAL
    limit_db: q.PositiveLossDb


class TerminationLossCriterion(JointLossCriterion):
    """The bidirectional loss of a connection together with the splice behind it, which no OTDR sees apart."""

    quantity: Literal[Quantity.TERMINATION_LOSS]
    limit_db: q.PositiveLossDb


class DirectionDifferenceCriterion(JointLossCriterion):
    """How far the readings of each splice in a closure may be apart, one direction from the other."""

    quantity: Literal[Quantity.DIRECTION_DIFFERENCE]
    limit_db: q.PositiveLossDb


class ReflectanceCriterion(LimitedDb):
    """The reflectance of each joint of a kind, the worse of both directions."""

    quantity: Literal[Quantity.REFLECTANCE]
    joint: JointKind
    limit_db: q.ReflectanceDb


class Statistic(StrEnum):
    """What is made of the joints of a population."""

    MEAN = "mean"
    SHARE_WITHIN = "share_within"


class Population(StrEnum):
    """Which joints are taken together."""

    FIBRE = "fibre"
    SITE = "site"
    SPAN = "span"
    ROUTE = "route"


class JointStatisticCriterion(JointLossCriterion):
    """The mean loss of a population of joints, or the share of them that keeps a limit.

    A population is that of one segment: what is paid for alone is proven alone. A span is that of one fibre.
    """

    quantity: Literal[Quantity.JOINT_STATISTIC]
    joint: JointKind
    basis: Literal[Basis.BIDIRECTIONAL, Basis.ONE_WAY] = Basis.BIDIRECTIONAL
    statistic: Statistic
    over: Population
    limit_db: q.PositiveLossDb
    least_share_percent: q.SharePercent | None = None

    @model_validator(mode="after")
    def _say_which_share(self) -> "JointStatisticCriterion":
        if (self.statistic is Statistic.SHARE_WITHIN) is (self.least_share_percent is None):
            raise ValueError("least_share_percent belongs to share_within, and only to it")
        return self


class StrayLossCriterion(LimitedDb):
    """The loss of each event that lies on no joint: a bend or damage."""

    quantity: Literal[Quantity.STRAY_LOSS]
    limit_db: q.PositiveLossDb

    limits_loss = True


class BendCriterion(Criterion):
    """How much more a place may lose at the longer wavelength than at the shorter before it is taken for a bend.

    A bend is said where both are exceeded; fair starts are 0.2 dB and a ratio of 1.5, common practice.
    """

    quantity: Literal[Quantity.BEND]
    short_wavelength_nm: q.WavelengthNm
    long_wavelength_nm: q.WavelengthNm
    limit_db: q.PositiveLossDb
    ratio: q.Ratio = 1.5

    limit_member = "limit_db"

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return a trace at each wavelength: without either no bend is seen."""
        return RequiredTest("otdr", self.short_wavelength_nm), RequiredTest("otdr", self.long_wavelength_nm)

    @model_validator(mode="after")
    def _order_wavelengths(self) -> "BendCriterion":
        if self.short_wavelength_nm >= self.long_wavelength_nm:
            raise ValueError("short_wavelength_nm is not below long_wavelength_nm")
        return self


class SpliceDensityCriterion(Criterion):
    """How many splices a fibre may have for each kilometre of a span, those of its terminations not counted."""

    quantity: Literal[Quantity.SPLICE_DENSITY]
    limit_per_km: q.DensityPerKm

    limit_member = "limit_per_km"


# Whose allowances for each zone judging knows.
ZONES_EDITION = 2015


class EndFaceCriterion(Criterion):
    """Both end faces of each connection, inspected after they were last touched, by an edition of IEC 61300-3-35.

    `accepts` says by what: the counts of each zone, held against the edition of 2015, of which alone the allowances are
    known here; the instrument's pass or fail by that edition, with its image named; or either, where no word that is
    there may be a fail.
    """

    quantity: Literal[Quantity.END_FACE]
    edition: Literal[2009, 2015, 2022] = 2015
    accepts: Literal["zones", "instrument", "either"] = "zones"

    @model_validator(mode="after")
    def _know_the_allowances(self) -> "EndFaceCriterion":
        if self.accepts != "instrument" and self.edition != ZONES_EDITION:
            raise ValueError(f"counts by zone are held against the edition of {ZONES_EDITION} alone")
        return self
