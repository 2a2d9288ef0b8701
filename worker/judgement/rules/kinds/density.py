"""The criterion about how many splices a fibre may have for its length."""

from collections.abc import Iterator
from fractions import Fraction

from service.vocabulary.criteria.joints import SpliceDensityCriterion
from service.vocabulary.criteria.words import Unit
from service.vocabulary.design.layout import Span
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Outcome
from service.vocabulary.quantities import UM_PER_KM, metres_text
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import PARTS
from worker.judgement.rules.base import LimitRule, length_over_um, segments_over


class SpliceDensityRule(LimitRule[SpliceDensityCriterion]):
    """One limit for the splices in each span's closures, for each kilometre of the design's fibre."""

    unit = Unit.PER_KM

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each span."""
        for span in self.scope.spans:
            if segments_over(fibre, span):
                yield self.span_finding(fibre, span, self.judge(fibre, span))

    def judge(self, fibre: FibreMeasured, span: Span) -> Judgement:
        """Hold a span's splices against what its length allows; it is a matter of design, so no test is asked for."""
        length_um = length_over_um(fibre, span)
        splices = sum(
            joint.kind is JointKind.SPLICE
            for place in fibre.places
            if span.first < place.site_index < span.last
            for joint in place.joints
        )
        detail = f"{splices} splices in closures on {metres_text(length_um)} m of fibre"
        known = Judgement(Outcome.UNDETERMINED, None, detail, limit=self.limit)
        if not length_um:
            return known._replace(outcome=Outcome.NONCONFORMING if splices else Outcome.CONFORMING)
        density = Fraction(splices * UM_PER_KM * PARTS, length_um)
        return known.held(density, density, self.limit)
