"""Criteria about joints, and about what a trace shows where none should be."""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.base import Criterion, LimitedDb, RequiredTest, Tested
from service.vocabulary.criteria.selection import PAIRS, SPLICES, OfJoints, OfSections, OfSplices, Where
from service.vocabulary.criteria.words import Basis, Combination, From, Quantity
from service.vocabulary.design.words import JointKind, SiteKind


class Fallback(q.Value):
    """A wider limit for a splice that was tried so often, each attempt its own record; it is listed as such."""

    attempts: Annotated[int, Field(strict=True, ge=2, le=20)]
    limit_db: q.PositiveLossDb


class JointLossCriterion(LimitedDb):
    """A criterion that limits what joints lose, seen from one end or from both."""

    limits_loss = True


class PlaceLossCriterion(Tested, JointLossCriterion):
    """A limit for what joints lose as traces show it, from where it is agreed.

    Of two directions their mean is limited, or the worse one, as `combination` says. Where either is enough,
    `one_way_limit_db` holds for what is read from one end only.
    """

    combination: Combination = Combination.MEAN
    limit_db: q.PositiveLossDb
    one_way_limit_db: q.PositiveLossDb | None = None

    @property
    def limit_of_one_way_db(self) -> float:
        """The limit for what is read from one end only."""
        return self.limit_db if self.one_way_limit_db is None else self.one_way_limit_db

    @property
    def is_mean_of_both(self) -> bool:
        """Tell whether it limits the mean of both directions and nothing else."""
        return self.tested_from is From.BOTH and self.combination is Combination.MEAN

    @model_validator(mode="after")
    def _combine_what_there_is(self) -> "PlaceLossCriterion":
        if self.one_way_limit_db is not None and self.tested_from is not From.EITHER:
            raise ValueError("one_way_limit_db belongs to tested_from either, and only to it")
        if self.tested_from in {From.A, From.B} and self.combination is not Combination.MEAN:
            raise ValueError("one direction is not combined with another")
        return self


class SpliceLossCriterion(OfSplices, PlaceLossCriterion):
    """The loss of each splice, and the action limits while its closure is open."""

    quantity: Literal[Quantity.SPLICE_LOSS]
    basis: Basis = Basis.TRACES
    fallback: Fallback | None = None
    estimate_action_limit_db: q.PositiveLossDb | None = None
    one_way_action_limit_db: q.PositiveLossDb | None = None

    kinds = SPLICES

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return none for the splicer's estimate, which no test gives."""
        return () if self.basis is Basis.ESTIMATE else super().required_tests

    @property
    def is_mean_of_both(self) -> bool:
        """Tell whether it limits the mean of both directions and nothing else."""
        return self.basis is Basis.TRACES and super().is_mean_of_both

    @model_validator(mode="after")
    def _estimate_from_nowhere(self) -> "SpliceLossCriterion":
        if self.basis is Basis.ESTIMATE and not super().is_mean_of_both:
            raise ValueError("a splicer's estimate is read from neither end")
        return self


class ConnectionLossCriterion(OfJoints, PlaceLossCriterion):
    """The loss of each mated pair."""

    quantity: Literal[Quantity.CONNECTION_LOSS]

    kinds = PAIRS


class TerminationLossCriterion(OfJoints, PlaceLossCriterion):
    """The loss of a connection together with the splice behind it, which no OTDR sees apart."""

    quantity: Literal[Quantity.TERMINATION_LOSS]

    kinds = PAIRS


class DirectionDifferenceCriterion(OfSplices, JointLossCriterion):
    """How far the readings of each splice in a closure may be apart, one direction from the other.

    Where a fibre ends the cord and the pigtail differ too, and nothing can be agreed.
    """

    quantity: Literal[Quantity.DIRECTION_DIFFERENCE]
    limit_db: q.PositiveLossDb

    kinds = SPLICES

    def selects_at(self, site: str, kind: SiteKind) -> bool:
        """Tell whether it is about joints at a site: a closure alone."""
        return kind is SiteKind.SPLICE_CLOSURE and super().selects_at(site, kind)

    @model_validator(mode="after")
    def _lie_in_closures(self) -> "DirectionDifferenceCriterion":
        if isinstance(self.at, Where) and self.at is not Where.LINE_CLOSURES:
            raise ValueError("the directions of splices in closures alone are held against each other")
        return self


class ReflectanceCriterion(OfSplices, Tested, LimitedDb):
    """The reflectance of each joint of a kind, the worse of the directions that it is tested in.

    Without a kind it is that of each event, whatever lies there; on no joint too, unless joints are selected, or there
    alone. An echo is no event of the fibre.
    """

    quantity: Literal[Quantity.REFLECTANCE]
    joint: JointKind | None = None
    limit_db: q.ReflectanceDb

    @property
    def is_of_cable_too(self) -> bool:
        """Tell whether it can be about what lies on no joint."""
        return self.joint is None and not self.is_of_some_splices


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


class JointStatisticCriterion(OfSplices, PlaceLossCriterion):
    """The mean loss of a population of joints, or the share of them that keeps a limit.

    A population is that of one segment: what is paid for alone is proven alone. A span is that of one fibre. The limit
    for one direction holds for a mean as soon as one joint of it is read from one end only.
    """

    quantity: Literal[Quantity.JOINT_STATISTIC]
    joint: JointKind
    statistic: Statistic
    over: Population
    least_share_percent: q.SharePercent | None = None

    @model_validator(mode="after")
    def _say_which_share(self) -> "JointStatisticCriterion":
        if (self.statistic is Statistic.SHARE_WITHIN) is (self.least_share_percent is None):
            raise ValueError("least_share_percent belongs to share_within, and only to it")
        return self


class StrayLossCriterion(OfSections, Tested, LimitedDb):
    """The loss of each event that lies on no joint, in all sections or in some: a bend or damage."""

    quantity: Literal[Quantity.STRAY_LOSS]
    limit_db: q.PositiveLossDb

    limits_loss = True


class BendCriterion(OfJoints, Tested):
    """How much more a place may lose at the longer wavelength than at the shorter before it is taken for a bend.

    A bend is said where both are exceeded; fair starts are 0.2 dB and a ratio of 1.5, common practice. It is held at
    each site and on no joint, or where `at` says.
    """

    quantity: Literal[Quantity.BEND]
    short_wavelength_nm: q.WavelengthNm
    long_wavelength_nm: q.WavelengthNm
    limit_db: q.PositiveLossDb
    ratio: q.Ratio = 1.5

    limit_member = "limit_db"

    @property
    def is_of_cable_too(self) -> bool:
        """Tell whether it can be about what lies on no joint."""
        return True

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return a trace at each wavelength: without either no bend is seen."""
        both = (self.short_wavelength_nm, self.long_wavelength_nm)
        return tuple([self.test_at(nm, test="otdr") for nm in both])

    @model_validator(mode="after")
    def _order_wavelengths(self) -> "BendCriterion":
        if self.short_wavelength_nm >= self.long_wavelength_nm:
            raise ValueError("short_wavelength_nm is not below long_wavelength_nm")
        return self

    @model_validator(mode="after")
    def _be_of_whole_places(self) -> "BendCriterion":
        if self.at is Where.TERMINAL_SPLICES:
            raise ValueError("a bend is read of all that lies at a site: at terminals or at panels")
        return self


class SpliceDensityCriterion(Criterion):
    """How many splices a fibre may have for each kilometre of a span, those of its terminations not counted.

    It is about all closures of a span together, so that nothing can be named by `at`.
    """

    quantity: Literal[Quantity.SPLICE_DENSITY]
    limit_per_km: q.DensityPerKm

    limit_member = "limit_per_km"


# Whose allowances for each zone judging knows.
ZONES_EDITION = 2015


class EndFaceCriterion(OfJoints):
    """Both end faces of each connection, inspected after they were last touched, by an edition of IEC 61300-3-35.

    `accepts` says by what: the counts of each zone, held against the edition of 2015, of which alone the allowances are
    known here; the instrument's pass or fail by that edition, with its image named; or either, where no word that is
    there may be a fail.
    """

    quantity: Literal[Quantity.END_FACE]
    edition: Literal[2009, 2015, 2022] = 2015
    accepts: Literal["zones", "instrument", "either"] = "zones"

    kinds = PAIRS

    @model_validator(mode="after")
    def _know_the_allowances(self) -> "EndFaceCriterion":
        if self.accepts != "instrument" and self.edition != ZONES_EDITION:
            raise ValueError(f"counts by zone are held against the edition of {ZONES_EDITION} alone")
        return self
