"""The criterion about mated pairs of connectors."""

from collections.abc import Mapping

from service.vocabulary.criteria.joints import ConnectionLossCriterion
from service.vocabulary.words import Basis, JointKind
from worker.judgement.rules.loss_basis import JudgePlace, judge_each_way, judge_mean
from worker.judgement.rules.members import MemberRule

_JUDGE_PLACE: Mapping[Basis, JudgePlace] = {Basis.BIDIRECTIONAL: judge_mean, Basis.EACH_WAY: judge_each_way}


class ConnectionRule(MemberRule[ConnectionLossCriterion]):
    """One limit for the loss of each mated pair."""

    kind = JointKind.PAIR

    def judge_place_of(self, criterion: ConnectionLossCriterion) -> JudgePlace:
        """Return how a place is held against the limit: by the mean, or by each direction."""
        return _JUDGE_PLACE[criterion.basis]
