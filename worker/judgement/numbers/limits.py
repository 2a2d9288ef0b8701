"""Limits, and how a value known within bounds is held against one."""

from dataclasses import dataclass, field
from typing import NamedTuple

from service.vocabulary.criteria.words import DecisionRule, Unit
from service.vocabulary.findings.words import Grade, Outcome, Reason
from service.vocabulary.quantities import to_last_place
from worker.judgement.numbers.exact import Exact, parts_text


@dataclass(frozen=True, slots=True)
class Limit:
    """The most that is allowed, or the least, exact in 1e-12 of its unit, and with how many places it is shown.

    `band` is the guard band: the expanded uncertainty, where the criterion asks for a rule that takes it into account.
    """

    exact: Exact
    unit: Unit
    is_minimum: bool = False
    rule: DecisionRule = DecisionRule.SIMPLE
    band: int = 0
    places: int = 4
    # As it is shown: written once, as every finding says its limit.
    text: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", parts_text(self.exact, places=self.places))


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
    parts_of_last_place: int = 10 ** (12 - places)
    return to_last_place(value, places=places) * parts_of_last_place


def hold(*, low: Exact, high: Exact, limit: Limit) -> Held:
    """Hold a value known within bounds against its limit; at the limit it conforms.

    Guarded, it conforms only where it keeps the limit by the guard band. By the four-way rule the limit itself decides
    and the grade says whether the decision stands beyond the guard band (ILAC-G8:09/2019, 4.2).
    """
    # A value and a least turned round are a value and a most.
    least, most, bound = (-high, -low, -limit.exact) if limit.is_minimum else (low, high, limit.exact)
    if limit.rule is not DecisionRule.FOUR_WAY:
        allowed = bound - limit.band if limit.rule is DecisionRule.GUARDED else bound
        return _CONFORMING if most <= allowed else _NONCONFORMING if least > allowed else _UNDETERMINED
    if most <= bound:
        return Held(Outcome.CONFORMING, grade=Grade.FULL if most <= bound - limit.band else Grade.CONDITIONAL)
    if least > bound:
        return Held(Outcome.NONCONFORMING, grade=Grade.FULL if least > bound + limit.band else Grade.CONDITIONAL)
    return _UNDETERMINED
