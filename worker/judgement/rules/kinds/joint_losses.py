"""The criteria about the loss of single joints: splices, mated pairs, terminations (a pair with what lies behind it).

No trace sees apart what lies in one dead zone, so a joint of a group is judged by what the whole group loses.
"""

from abc import abstractmethod
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import TypeVar

from service.vocabulary.criteria.joints import (
    ConnectionLossCriterion,
    SpliceLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.words import Basis, DecisionRule, JointKind, Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement, undetermined
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.fibre.worse_direction import WorseDirection, worse_of_any, worse_of_both
from worker.judgement.numbers.exact import PDB_PER_MDB, PDB_PER_TENTH_MDB, Exact
from worker.judgement.numbers.limits import Limit, hold
from worker.judgement.rules.attempts import FallbackLimit, relax
from worker.judgement.rules.base import Rule, joint_finding, most_db
from worker.judgement.traces.places import Place

JudgePlace = Callable[[FibreMeasured, Place, int, Limit], Judgement]


def judge_mean(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold the mean of both directions against a limit."""
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if loss.reason is not None:
        return undetermined(loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void)
    low, high = loss.low_tenth_mdb * PDB_PER_TENTH_MDB, loss.high_tenth_mdb * PDB_PER_TENTH_MDB
    # Written at once: nearly every finding of a route comes through here.
    held = hold(low=low, high=high, limit=limit)
    return Judgement(held.outcome, held.reason, loss.detail, (low, high), limit, loss.readings, loss.void, held.grade)


def judge_any_way(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold the worse of the directions that are there against a limit."""
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if loss.reason is Reason.END_FACE_FAILED:
        return undetermined(loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void)
    forward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=True)
    backward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=False)
    return _hold(worse_of_any(forward, backward), limit)


def judge_each_way(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold each of both directions against a limit: one alone may break it, and never keeps it."""
    forward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=True)
    backward = fibre.one_way_loss_at(place, wavelength_nm=wavelength_nm, is_forward=False)
    worse = worse_of_both(forward, backward)
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if worse.reason is None and loss.reason is not None:
        # Both are there, and are not of one and the same connection, or not of one fit to be measured.
        return undetermined(loss.reason, loss.detail, limit=limit, readings=loss.readings, void=loss.void)
    return _hold(worse, limit)


def _hold(worse: WorseDirection, limit: Limit) -> Judgement:
    known = Judgement(
        Outcome.UNDETERMINED, worse.reason, worse.detail, limit=limit, readings=worse.readings, void=worse.void
    )
    if worse.bounds_mdb is None:
        return known
    low_mdb, high_mdb = worse.bounds_mdb
    held = known.held(low_mdb * PDB_PER_MDB, high_mdb * PDB_PER_MDB, limit)
    # What is not known can only be worse.
    return held if worse.reason is None or held.outcome is Outcome.NONCONFORMING else known


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
