"""The criterion about how old the reference of source and meter may be."""

from fractions import Fraction

from service.vocabulary.criteria.links import ReferenceAgeCriterion
from service.vocabulary.criteria.words import Unit
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Reason
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.link_tests import both_ways, known_of, reading_of
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import LinkLoss, Measurement
from worker.judgement.numbers.clocks import instant_us
from worker.judgement.numbers.exact import PARTS, parts_text
from worker.judgement.rules.base import EndToEndRule, hold_known_part, limit_of
from worker.judgement.words import DIRECTION_LABELS, REASON_LABELS

_US_PER_H = 3_600_000_000
_PLACES = 4


class ReferenceAgeRule(EndToEndRule[ReferenceAgeCriterion]):
    """One limit for the hours from the reference to the test, the older of both directions."""

    def __init__(self, criterion: ReferenceAgeCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = limit_of(criterion, unit=Unit.H, places=_PLACES)

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold the age of both directions' references against the limit: one too old is enough, and one unknown."""
        ways = both_ways(fibre, test="attenuation", wavelength_nm=self.criterion.wavelength_nm, between=span)
        known = known_of(*ways, read=_reading_of)._replace(limit=self.limit)
        tests = [one for way in ways for one in way.measurements if isinstance(one, LinkLoss)]
        ages = {one.is_forward: age for one in tests if (age := _age_parts(one)) is not None}
        said = [_said(one.is_forward, ages.get(one.is_forward)) for one in tests]
        known = known._replace(detail="; ".join(text for text in (*said, known.detail) if text))
        if len(ages) < len(tests):
            known = known._replace(reason=known.reason or Reason.REFERENCE_NOT_STATED)
        elif any(age < 0 for age in ages.values()):
            known = known._replace(reason=Reason.ORDER_NOT_PROVEN)
        if not ages:
            return known
        oldest = max(ages.values())
        return hold_known_part(known, low=oldest, high=oldest, limit=self.limit)


def _age_parts(test: LinkLoss) -> Fraction | None:
    """Return how long before a test its reference was taken, in 1e-12 h; below zero where it was taken after it."""
    if test.referenced_at is None:
        return None
    return Fraction((instant_us(test.stamp.made_at) - instant_us(test.referenced_at)) * PARTS, _US_PER_H)


def _said(is_forward: bool, age: Fraction | None) -> str:
    way = DIRECTION_LABELS[is_forward]
    if age is None:
        return f"{way}: {REASON_LABELS[Reason.REFERENCE_NOT_STATED]}"
    return f"{way}: referenced {parts_text(abs(age), places=_PLACES)} h {'before' if age >= 0 else 'after'} the test"


def _reading_of(measurement: Measurement) -> RecordReading:
    return reading_of(measurement)
