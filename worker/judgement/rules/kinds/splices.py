"""The criterion about splices by what traces show of them."""

from collections.abc import Iterable, Mapping

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.words import Basis, JointKind
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.rules.fallback import FallbackLimit, relax
from worker.judgement.rules.kinds.terminations import TerminationRule
from worker.judgement.rules.loss_basis import JudgePlace, judge_any_way, judge_mean
from worker.judgement.rules.members import MemberRule

_JUDGE_PLACE: Mapping[Basis, JudgePlace] = {Basis.BIDIRECTIONAL: judge_mean, Basis.ONE_WAY: judge_any_way}


class SpliceRule(MemberRule[SpliceLossCriterion]):
    """One limit for the loss of each splice, and a wider one after documented attempts."""

    kind = JointKind.SPLICE

    def __init__(
        self, criterion: SpliceLossCriterion, layout: Layout, *, terminations: Iterable[TerminationRule]
    ) -> None:
        super().__init__(criterion, layout, terminations=terminations)
        self._fallback = FallbackLimit.of(criterion)

    def judge_place_of(self, criterion: SpliceLossCriterion) -> JudgePlace:
        """Return how a place is held against the limit: by the mean, or by the worse direction there is."""
        return _JUDGE_PLACE[criterion.basis]

    def relax(self, fibre: FibreMeasured, joint: Joint, own: Judgement) -> Judgement:
        """Hold a splice that is not known to keep its limit against the fallback."""
        return relax(own, self._fallback, fibre, joint)
