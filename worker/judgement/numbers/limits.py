"""Limits, and how a value known within bounds is held against one."""

from dataclasses import dataclass, replace
from typing import NamedTuple

from service.vocabulary.quantities import to_last_place
from service.vocabulary.words import DecisionRule, Grade, Outcome, Reason, Unit
from worker.judgement.numbers.exact import Exact, parts_text

_PARTS_OF_LAST_PLACE: dict[int, int] = {places: 10 ** (12 - places) for places in range(6)}


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit:
    """A limit, exact in 1e-12 of its unit, with the text it is shown as.

    `band` is the guard band: the expanded uncertainty, where the criterion asks for a rule that takes it into account.
    """

    exact: Exact
    unit: Unit
    text: str
    is_minimum: bool = False
    rule: DecisionRule = DecisionRule.SIMPLE
    band: int = 0
    places: int = 4

    @classmethod
    def most(
        cls,
        exact: Exact,
        *,
        unit: Unit,
        places: int = 4,
        rule: DecisionRule = DecisionRule.SIMPLE,
        band: int = 0,
    ) -> "Limit":
        """Return the most that is allowed."""
        return cls(exact=exact, unit=unit, text=parts_text(exact, places=places), rule=rule, band=band, places=places)

    @classmethod
    def least(
        cls,
        exact: Exact,
        *,
        unit: Unit,
        places: int = 4,
        rule: DecisionRule = DecisionRule.SIMPLE,
        band: int = 0,
    ) -> "Limit":
        """Return the least that is allowed."""
        return replace(cls.most(exact, unit=unit, places=places, rule=rule, band=band), is_minimum=True)


class Held(NamedTuple):
    """What holding a value against a limit gave."""

    outcome: Outcome
    reason: Reason | None = None
    grade: Grade | None = None


_CONFORMING = Held(Outcome.CONFORMING)
_NONCONFORMING = Held(Outcome.NONCONFORMING)
_UNDETERMINED = Held(Outcome.UNDETERMINED, Reason.BOUND_TOO_WIDE)


def to_parts(value: float, *, places: int) -> int:
    """Return a validated quantity, kept to so many places, in 1e-12 of its unit."""
    return to_last_place(value, places=places) * _PARTS_OF_LAST_PLACE[places]


def hold(*, low: Exact, high: Exact, limit: Limit) -> Held:
    """Hold a value known within bounds against its limit; at the limit it conforms.

    Guarded, it conforms only where it keeps the limit by the guard band. By the four-way rule the limit itself decides
    and the grade says whether the decision stands beyond the guard band (ILAC-G8:09/2019, 4.2).
    """
    # A value and a least turned round are a value and a most.
    least, most, bound = (-high, -low, -limit.exact) if limit.is_minimum else (low, high, limit.exact)
    if limit.rule is DecisionRule.SIMPLE:
        return _CONFORMING if most <= bound else _NONCONFORMING if least > bound else _UNDETERMINED
    if limit.rule is DecisionRule.GUARDED:
        guarded = bound - limit.band
        return _CONFORMING if most <= guarded else _NONCONFORMING if least > guarded else _UNDETERMINED
    if most <= bound:
        return Held(Outcome.CONFORMING, grade=Grade.FULL if most <= bound - limit.band else Grade.CONDITIONAL)
    if least > bound:
        return Held(Outcome.NONCONFORMING, grade=Grade.FULL if least > bound + limit.band else Grade.CONDITIONAL)
    return _UNDETERMINED
