"""What the criteria about single joints have in common: no trace sees apart what lies in one dead zone."""

from abc import abstractmethod
from collections.abc import Iterable, Iterator
from typing import TypeVar

from service.vocabulary.criteria.joints import ConnectionLossCriterion, SpliceLossCriterion
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.words import DecisionRule, JointKind, Outcome, Reason
from worker.judgement.fibre.findings import Judgement, joint_finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import Exact
from worker.judgement.numbers.limits import Limit
from worker.judgement.rules.base import Rule, most_db
from worker.judgement.rules.kinds.terminations import TerminationRule
from worker.judgement.rules.loss_basis import JudgePlace
from worker.judgement.traces.places import Place

MemberCriterion = TypeVar("MemberCriterion", bound=SpliceLossCriterion | ConnectionLossCriterion)


class MemberRule(Rule[MemberCriterion]):
    """One limit for each joint of a kind, alone at its place or one of a group.

    `terminations` are the required criteria that may decide for a whole group.
    """

    kind: JointKind

    def __init__(self, criterion: MemberCriterion, layout: Layout, *, terminations: Iterable[TerminationRule]) -> None:
        super().__init__(criterion, layout)
        self.limit = most_db(criterion, criterion.limit_db)
        self._wavelength_nm = criterion.wavelength_nm
        self._judge_place = self.judge_place_of(criterion)
        own = [rule for rule in terminations if rule.criterion.wavelength_nm == criterion.wavelength_nm]
        self._strictest_first = sorted(own, key=lambda rule: _greatest_conforming(rule.limit))

    @abstractmethod
    def judge_place_of(self, criterion: MemberCriterion) -> JudgePlace:
        """Return how a place is held against the limit."""

    def findings(self, fibre: FibreMeasured) -> Iterator[FindingDocument]:
        """Give one finding for each joint."""
        for place in fibre.places:
            if place.site_index not in self.scope.sites:
                continue
            for joint in place.joints:
                if joint.kind is self.kind and joint.segment in fibre.segments:
                    yield joint_finding(self.head, fibre, joint, self.judge(fibre, place, joint))

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


def _greatest_conforming(limit: Limit) -> Exact:
    return limit.exact - limit.band if limit.rule is DecisionRule.GUARDED else limit.exact
