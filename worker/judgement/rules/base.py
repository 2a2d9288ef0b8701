"""What rules have in common: a criterion made ready for one layout."""

from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Generic, TypeVar

from service.vocabulary.criteria.base import Criterion, LimitedDb
from service.vocabulary.criteria.scope import scope_of
from service.vocabulary.design.layout import Layout
from service.vocabulary.words import DecisionRule, Unit
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.subjects import link_finding

CriterionT = TypeVar("CriterionT", bound=Criterion)


class Rule(ABC, Generic[CriterionT]):
    """One criterion, ready to be held against the fibres of one layout; it keeps nothing of any fibre."""

    def __init__(self, criterion: CriterionT, layout: Layout) -> None:
        self.criterion = criterion
        self.scope = scope_of(criterion.applies_when, layout)

    @abstractmethod
    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give the findings of one fibre in route order."""


class EndToEndRule(Rule[CriterionT]):
    """A criterion about a fibre as a whole."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for a fibre that runs from end to end."""
        if fibre.is_continuous and self.scope.holds_end_to_end:
            yield link_finding(self.criterion, fibre, self.judge(fibre))

    @abstractmethod
    def judge(self, fibre: FibreMeasured) -> Judgement:
        """Hold a whole fibre against the criterion."""


def most_db(criterion: LimitedDb, limit_db: float) -> Limit:
    """Return the most that a criterion allows, with its guard band."""
    return Limit.most(to_parts(limit_db, places=3), unit=Unit.DB, rule=criterion.decision, band=band_of(criterion))


def least_db(criterion: LimitedDb, limit_db: float) -> Limit:
    """Return the least that a criterion allows, with its guard band."""
    return Limit.least(to_parts(limit_db, places=3), unit=Unit.DB, rule=criterion.decision, band=band_of(criterion))


def band_of(criterion: LimitedDb) -> int:
    """Return a criterion's guard band in 1e-12 dB; none under the simple rule."""
    if criterion.decision is DecisionRule.SIMPLE or criterion.uncertainty_db is None:
        return 0
    return to_parts(criterion.uncertainty_db, places=3)
