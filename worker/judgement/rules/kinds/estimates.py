"""The criterion about splices by the splicer's own estimates."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.words import JointKind, Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement, undetermined
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import PDB_PER_MDB, mdb_text
from worker.judgement.rules.attempts import FallbackLimit, attempts_at, relax
from worker.judgement.rules.base import Rule, joint_finding, most_db
from worker.judgement.words import REASON_LABELS


class EstimateRule(Rule[SpliceLossCriterion]):
    """One limit for what the splicer estimated at the latest attempt at each splice."""

    def __init__(self, criterion: SpliceLossCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = most_db(criterion, criterion.limit_db)
        self._fallback = FallbackLimit.of(criterion)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each splice."""
        for joint in fibre.joints:
            is_own = joint.kind is JointKind.SPLICE and joint.segment in fibre.segments
            if is_own and joint.site_index in self.scope.sites:
                yield joint_finding(self.criterion, fibre, joint, self.judge(fibre, joint))

    def judge(self, fibre: FibreMeasured, joint: Joint) -> Judgement:
        """Hold the estimate of the latest attempt against the limit."""
        attempts = attempts_at(fibre, joint)
        if not attempts:
            return undetermined(Reason.NO_EVIDENCE, "no splice record is there", limit=self.limit)
        latest = attempts[-1]
        known = Judgement(
            Outcome.UNDETERMINED,
            Reason.ORDER_NOT_PROVEN,
            f"the splicer estimated {mdb_text(latest.estimate_mdb)} dB",
            limit=self.limit,
            readings=(RecordReading(latest.stamp.id, value=latest.estimate_mdb),),
        )
        if not latest_is_proven([splice.stamp for splice in attempts]):
            return known._replace(detail=f"{known.detail}, but {REASON_LABELS[Reason.ORDER_NOT_PROVEN]}")
        estimate = latest.estimate_mdb * PDB_PER_MDB
        held = known.held(estimate, estimate, self.limit)
        return held if held.outcome is Outcome.CONFORMING else relax(held, self._fallback, fibre, joint)
