"""What criteria have in common: code, clause, force, where they apply, and how uncertainty enters."""

from functools import cached_property
from typing import Annotated, ClassVar, Literal, NamedTuple

from pydantic import Field, model_validator

from service.vocabulary import quantities as q
from service.vocabulary.criteria.words import DecisionRule, Force, From, LinkStretch, Quantity

Test = Literal["otdr", "attenuation", "return_loss", "dispersion", "continuity"]


class RequiredTest(NamedTuple):
    """A test of the whole fibre, or of each of its spans, and from where it is made; continuity has no wavelength."""

    name: Test
    wavelength_nm: int | None
    over: LinkStretch = LinkStretch.ROUTE
    tested_from: From = From.BOTH

    def covers(self, other: "RequiredTest") -> bool:
        """Tell whether with this test another is made too."""
        return self[:3] == other[:3] and self.tested_from.covers(other.tested_from)


class AppliesWhen(q.Value):
    """Where a criterion holds: in spans of these lengths of fibre, both ends included, and on these fibre types.

    A joint in a patch panel belongs to the spans on both sides, and the criterion holds if it does in either.
    """

    least_span_m: q.LengthM | None = None
    most_span_m: q.LengthM | None = None
    fibre_types: Annotated[tuple[q.Identifier, ...], Field(max_length=20)] = ()

    @model_validator(mode="after")
    def _bound_something(self) -> "AppliesWhen":
        if self.least_span_m is None and self.most_span_m is None and not self.fibre_types:
            raise ValueError("bounds nothing")
        if None not in (self.least_span_m, self.most_span_m) and self.least_span_m > self.most_span_m:  # type: ignore[operator]
            raise ValueError("least_span_m is above most_span_m")
        return self


class Criterion(q.Value):
    """What every criterion says: its code, the clause it comes from, whether it decides, and where."""

    code: q.Identifier
    quantity: Quantity
    clause: q.Text | None = None
    force: Force = Force.REQUIRED
    applies_when: AppliesWhen | None = None

    # Facts of a kind: the test that it is judged by, and from where if nobody chooses; the member that is its limit,
    # whether that is the least that is allowed, whether it is the most of a loss; whether it is about the whole link.
    judged_by: ClassVar[Test | None] = None
    usually_from: ClassVar[From] = From.BOTH
    limit_member: ClassVar[str | None] = None
    limit_is_least: ClassVar[bool] = False
    limits_loss: ClassVar[bool] = False
    is_end_to_end: ClassVar[bool] = False

    @cached_property
    def at_wavelength_nm(self) -> int | None:
        """The wavelength that it names, if it names one."""
        return getattr(self, "wavelength_nm", None)

    @property
    def required_tests(self) -> tuple[RequiredTest, ...]:
        """Return the tests that it cannot be judged without."""
        return () if self.judged_by is None else (self.test_at(self.at_wavelength_nm),)

    def test_at(self, wavelength_nm: int | None, *, test: Test | None = None) -> RequiredTest:
        """Return the test that it is judged by, or another one, over what and from where it is asked for."""
        name = test or self.judged_by
        assert name is not None
        return RequiredTest(name, wavelength_nm, self.link_stretch, getattr(self, "tested_from", self.usually_from))

    @cached_property
    def link_stretch(self) -> LinkStretch:
        """Return over what it is held where it is about a link: the whole route unless it says something else.

        What is not about links is held wherever a link is joined.
        """
        over = getattr(self, "over", None)
        if isinstance(over, LinkStretch):
            return over
        return LinkStretch.ROUTE if self.is_end_to_end else LinkStretch.JOINED

    @property
    def single_limit(self) -> float | None:
        """Return its limit; None where the kind has none, or not a single one."""
        return None if self.limit_member is None else getattr(self, self.limit_member)

    @property
    def decision_rule(self) -> DecisionRule:
        """Return by what rule a value decides; the simple one where the kind leaves no choice."""
        return getattr(self, "decision", DecisionRule.SIMPLE)

    @property
    def guard_band(self) -> float | None:
        """Return the uncertainty that its decision rule keeps off the limit, in the limit's unit; None without one."""
        return None


class Tested(Criterion):
    """A criterion about what is tested from one end or from both, as agreed.

    One direction is a reading, not the loss of what lies there: contracts that take it allow more.
    """

    tested_from: From = From.BOTH


class LimitedDb(Criterion):
    """A criterion with a limit in dB, and the expanded uncertainty (k = 2) that a guard band is made of."""

    wavelength_nm: q.WavelengthNm
    decision: DecisionRule = DecisionRule.SIMPLE
    uncertainty_db: q.PositiveLossDb | None = None

    judged_by: ClassVar[Test | None] = "otdr"
    limit_member = "limit_db"

    @property
    def guard_band(self) -> float | None:
        """Return the uncertainty in dB, unless the rule is the simple one."""
        return None if self.decision is DecisionRule.SIMPLE else self.uncertainty_db

    @model_validator(mode="after")
    def _know_the_guard_band(self) -> "LimitedDb":
        if self.decision is not DecisionRule.SIMPLE and self.uncertainty_db is None:
            raise ValueError("a guard band needs uncertainty_db")
        return self
