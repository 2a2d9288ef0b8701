"""The criterion about terminations: a connection and the splice behind it as one."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import TerminationLossCriterion
from service.vocabulary.design.layout import Layout
from service.vocabulary.findings.finding import FindingDocument
from worker.judgement.fibre.findings import Judgement, joint_finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.rules.base import Rule, most_db
from worker.judgement.rules.loss_basis import judge_mean
from worker.judgement.traces.places import Place


class TerminationRule(Rule[TerminationLossCriterion]):
    """One limit for each connection as an OTDR sees it: together with the splice behind it."""

    def __init__(self, criterion: TerminationLossCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = most_db(criterion, criterion.limit_db)

    def findings(self, fibre: FibreMeasured) -> Iterator[FindingDocument]:
        """Give one finding for each place with a mated pair."""
        for place in fibre.places:
            if place.pair is not None and place.pair.segment in fibre.segments and place.site_index in self.scope.sites:
                yield joint_finding(self.head, fibre, place.pair, self.judge(fibre, place))

    def judge(self, fibre: FibreMeasured, place: Place) -> Judgement:
        """Hold the loss of a whole place against the limit."""
        return judge_mean(fibre, place, self.criterion.wavelength_nm, self.limit)
