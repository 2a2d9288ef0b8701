"""The criteria about the loss of single joints: splices, mated pairs, terminations (a pair with what lies behind it).

No trace sees apart what lies in one dead zone, so a joint of a group is judged by what the whole group loses.
"""

from abc import abstractmethod
from collections.abc import Iterable, Iterator, Mapping
from typing import TypeVar

from service.vocabulary.criteria.joints import (
    ConnectionLossCriterion,
    SpliceLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.words import Basis, DecisionRule, JointKind, Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import Exact
from worker.judgement.numbers.limits import Limit
from worker.judgement.rules.attempts import FallbackLimit, relax
from worker.judgement.rules.base import Rule, most_db
from worker.judgement.rules.loss_basis import JudgePlace, judge_any_way, judge_each_way, judge_mean
from worker.judgement.rules.subjects import joint_finding
from worker.judgement.traces.places import Place

_MemberCriterion = TypeVar("_MemberCriterion", bound=SpliceLossCriterion | ConnectionLossCriterion)

_OF_A_SPLICE: Mapping[Basis, JudgePlace] = {Basis.BIDIRECTIONAL: judge_mean, Basis.ONE_WAY: judge_any_way}
_OF_A_PAIR: Mapping[Basis, JudgePlace] = {Basis.BIDIRECTIONAL: judge_mean, Basis.EACH_WAY: judge_each_way}


class TerminationRule(Rule[TerminationLossCriterion]):
    """One limit for each connection as an OTDR sees it: together with the splice behind it."""

    def __init__(self, criterion: TerminationLossCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self.limit = most_db(criterion, criterion.limit_db)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each place with a mated pair."""
        for place in fibre.places:
            if place.pair is not None and place.pair.segment in fibre.segments and place.site_index in self.scope.sites:
                yield joint_finding(self.criterion, fibre, place.pair, self.judge(fibre, place))

    def judge(self, fibre: FibreMeasured, place: Place) -> Judgement:
        """Hold the loss of a whole place against the limit."""
        return judge_mean(fibre, place, self.criterion.wavelength_nm, self.limit)


class _MemberRule(Rule[_MemberCriterion]):
    """One limit for each joint of a kind, alone at its place or one of a group.

    `terminations` are the required criteria that may decide for a whole group.
    """

    kind: JointKind

    def __init__(self, criterion: _MemberCriterion, layout: Layout, *, terminations: Iterable[TerminationRule]) -> None:
        super().__init__(criterion, layout)
        self.limit = most_db(criterion, criterion.limit_db)
        self._wavelength_nm = criterion.wavelength_nm
        self._judge_place = self.judge_place_of(criterion)
        own = [rule for rule in terminations if rule.criterion.wavelength_nm == criterion.wavelength_nm]
        self._strictest_first = sorted(own, key=lambda rule: _greatest_conforming(rule.limit))

    @abstractmethod
    def judge_place_of(self, criterion: _MemberCriterion) -> JudgePlace:
        """Return how a place is held against the limit."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint."""
        for place in fibre.places:
            if place.site_index not in self.scope.sites:
                continue
            for joint in place.joints:
                if joint.kind is self.kind and joint.segment in fibre.segments:
                    yield joint_finding(self.criterion, fibre, joint, self.judge(fibre, place, joint))

    def judge(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
        """Hold a joint's loss against the limit; in a group, what the whole group's loss says of it."""
        own = self._judge_place(fibre, place, self._wavelength_nm, self.limit)
        if own.bounds is None:
            return own
        if place.is_group:
            return self._judge_member(fibre, place, joint, own)
        return own if own.outcome is Outcome.CONFORMING else self.relax(fibre, joint, own)

    def relax(self, fibre: FibreMeasured, joint: Joint, own: Judgement) -> Judgement:
        """Return what stands of a joint that is not known to keep the limit."""
        return own

    def _judge_member(self, fibre: FibreMeasured, place: Place, joint: Joint, own: Judgement) -> Judgement:
        # No true loss is below zero, so a group that keeps the joint's own limit proves the joint.
        name = joint.kind.value
        if own.outcome is Outcome.CONFORMING:
            return own._replace(detail=f"the whole connection keeps the {name}'s own limit: {own.detail}")
        group_rule = next((rule for rule in self._strictest_first if place.site_index in rule.scope.sites), None)
        if group_rule is not None:
            detail = f"decided by {group_rule.criterion.code} for the whole connection: "
            decided = group_rule.judge(fibre, place)
            return decided._replace(detail=detail + decided.detail)
        relaxed = self.relax(fibre, joint, own)
        if relaxed.outcome is Outcome.CONFORMING:
            return relaxed
        detail = f"{name} {joint.position} was measured only together with what lies beside it: {own.detail}"
        return own._replace(detail=detail, outcome=Outcome.UNDETERMINED, reason=Reason.GROUP_ONLY, grade=None)


class SpliceRule(_MemberRule[SpliceLossCriterion]):
    """One limit for the loss of each splice by what traces show of it, and a wider one after documented attempts."""

    kind = JointKind.SPLICE

    def __init__(
        self, criterion: SpliceLossCriterion, layout: Layout, *, terminations: Iterable[TerminationRule]
    ) -> None:
        super().__init__(criterion, layout, terminations=terminations)
        self._fallback = FallbackLimit.of(criterion)

    def judge_place_of(self, criterion: SpliceLossCriterion) -> JudgePlace:
        """Return how a place is held against the limit: by the mean, or by the worse direction there is."""
        return _OF_A_SPLICE[criterion.basis]

    def relax(self, fibre: FibreMeasured, joint: Joint, own: Judgement) -> Judgement:
        """Hold a splice that is not known to keep its limit against the fallback."""
        return relax(own, self._fallback, fibre, joint)


class ConnectionRule(_MemberRule[ConnectionLossCriterion]):
    """One limit for the loss of each mated pair of connectors."""

    kind = JointKind.PAIR

    def judge_place_of(self, criterion: ConnectionLossCriterion) -> JudgePlace:
        """Return how a place is held against the limit: by the mean, or by each direction."""
        return _OF_A_PAIR[criterion.basis]


def _greatest_conforming(limit: Limit) -> Exact:
    return limit.exact - limit.band if limit.rule is DecisionRule.GUARDED else limit.exact
