"""The criteria about the loss of single joints: splices, mated pairs, terminations (a pair with what lies behind it).

No trace sees apart what lies in one dead zone, so a joint of a group is judged by what the whole group loses.
"""

from collections.abc import Iterable, Iterator

from service.vocabulary.criteria.joints import (
    ConnectionLossCriterion,
    SpliceLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.words import Basis, DecisionRule
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import PDB_PER_MDB
from worker.judgement.fibre.findings import Finding, JointRun, Judgement
from worker.judgement.fibre.losses import PlainLosses
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, Exact, mdb_text
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.attempts import attempts_at, attempts_text, documented_attempts, readings_of
from worker.judgement.rules.base import LimitRule, guarded_limit, once_finished
from worker.judgement.rules.joint_runs import JointRunRule
from worker.judgement.rules.place_losses import judge_place, limits_of
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS


class TerminationRule(LimitRule[TerminationLossCriterion]):
    """One limit for each connection as an OTDR sees it: together with the splice behind it."""

    def __init__(self, criterion: TerminationLossCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        self._limits = limits_of(criterion)

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each place with a mated pair."""
        for place in fibre.places:
            pair = place.pair
            if pair is not None and pair.segment in fibre.segments and self.scope.selects(pair):
                judgement = once_finished(fibre, place.joints, self.judge(fibre, place))
                yield self.joint_finding(fibre, pair, judgement)

    def judge(self, fibre: FibreMeasured, place: Place) -> Judgement:
        """Hold the loss of a whole place against the limit; of one beside a closure, both together may break it."""
        own = judge_place(fibre, place, self.criterion, self._limits)
        if own.outcome is not Outcome.NONCONFORMING or not place.zone:
            return own
        detail = f"measured only together with what lies beside it: {own.detail}"
        return own._replace(detail=detail, outcome=Outcome.UNDETERMINED, reason=Reason.GROUP_ONLY, grade=None)


class JointLossRule(
    JointRunRule[SpliceLossCriterion | ConnectionLossCriterion],
    LimitRule[SpliceLossCriterion | ConnectionLossCriterion],
):
    """One limit for the loss of each splice, or of each mated pair, and a wider one after documented attempts.

    `terminations` are the required criteria that may decide for a whole group.
    """

    said = "mean of "

    def __init__(
        self,
        criterion: SpliceLossCriterion | ConnectionLossCriterion,
        layout: Layout,
        *,
        terminations: Iterable[TerminationRule],
    ) -> None:
        super().__init__(criterion, layout)
        self._limits, self._is_estimate = limits_of(criterion), False
        self.kind: JointKind = JointKind.PAIR
        self._fallback = None
        if isinstance(criterion, SpliceLossCriterion):
            self.kind, self._fallback = JointKind.SPLICE, criterion.fallback
            self._is_estimate = criterion.basis is Basis.ESTIMATE
        is_plain = criterion.is_mean_of_both and self.limit.rule is DecisionRule.SIMPLE
        self._plain_most_tenth_mdb = self.limit.exact // PDB_PER_TENTH_MDB if is_plain else None
        own = [rule for rule in terminations if rule.criterion.wavelength_nm == criterion.wavelength_nm]
        self._strictest_first = sorted(own, key=lambda rule: _greatest_conforming(rule.limit))

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint."""
        for place, joint in self.joints(fibre, self.kind):
            yield self.finding(fibre, place, joint)

    def finding(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Finding:
        """Return the finding about a joint, whatever is known of it."""
        return self.joint_finding(fibre, joint, once_finished(fibre, (joint,), self.judge(fibre, place, joint)))

    def show_plainly(self, fibre: FibreMeasured, run: JointRun) -> tuple[PlainLosses, list[int | None]] | None:
        """Return the mean of each joint of a run, where it plainly keeps the limit."""
        most, plain = self._plain_most_tenth_mdb, fibre.losses_at(self.criterion.wavelength_nm).plain
        if most is None or plain is None:
            return None
        means = run.pick(plain.means_tenth_mdb)
        return plain, [None if mean is None or mean > most else mean for mean in means]

    @property
    def plain_limit(self) -> Limit:
        """The limit of the mean of both directions."""
        return self.limit

    def judge(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
        """Hold a joint's loss against the limit; in a group, what the whole group's loss says of it."""
        if self._is_estimate:
            own = _judge_estimate(fibre, joint, self.limit)
        else:
            own = judge_place(fibre, place, self.criterion, self._limits)
        if own.bounds is None:
            return own
        # A splicer estimates each splice by itself, whatever lies beside it.
        if place.is_group and not self._is_estimate:
            return self._judge_member(fibre, place, joint, own)
        return own if own.outcome is Outcome.CONFORMING else self._relax(fibre, joint, own)

    def _judge_member(self, fibre: FibreMeasured, place: Place, joint: Joint, own: Judgement) -> Judgement:
        # No true loss is below zero, so a group that keeps the joint's own limit proves the joint.
        name = joint.kind.value
        if own.outcome is Outcome.CONFORMING:
            return own._replace(detail=f"the whole connection keeps the {name}'s own limit: {own.detail}")
        # The contract limits a connection with its own splice as one thing: no trace tells how the two share the loss.
        # A closure that a long pulse takes together with a connection has a limit of its own, and no share in that one.
        group_rule = next((rule for rule in self._strictest_first if place.site_index in rule.scope.joint_sites), None)
        if group_rule is not None and place.pair is not None:
            detail = f"decided by {group_rule.criterion.code} for the whole connection: "
            decided = group_rule.judge(fibre, place)
            return decided._replace(detail=detail + decided.detail)
        relaxed = self._relax(fibre, joint, own)
        if relaxed.outcome is Outcome.CONFORMING:
            return relaxed
        detail = f"{name} {joint.position} was measured only together with what lies beside it: {own.detail}"
        return own._replace(detail=detail, outcome=Outcome.UNDETERMINED, reason=Reason.GROUP_ONLY, grade=None)

    def _relax(self, fibre: FibreMeasured, joint: Joint, own: Judgement) -> Judgement:
        """Hold a joint that is not known to keep its limit against the fallback, if it was tried often enough."""
        fallback = self._fallback
        if fallback is None or own.bounds is None:
            return own
        attempts = documented_attempts(fibre, joint)
        if len(attempts) < fallback.attempts:
            return own
        held = own.held(*own.bounds, guarded_limit(self.criterion, to_parts(fallback.limit_db, places=3)))
        if held.outcome is not Outcome.CONFORMING:
            return own
        said = f"accepted after {len(attempts)} documented attempts, estimated {attempts_text(attempts)}"
        known = {reading.record for reading in own.readings}
        shown = [one for one in attempts if one.stamp.id not in known]
        return held._replace(
            detail=f"{own.detail}; out of specification, {said}",
            readings=(*own.readings, *readings_of(shown)),
            by_fallback=True,
        )


def _judge_estimate(fibre: FibreMeasured, joint: Joint, limit: Limit) -> Judgement:
    """Hold what the splicer estimated at the latest attempt against a limit."""
    attempts = attempts_at(fibre, joint)
    if not attempts:
        return Judgement(Outcome.UNDETERMINED, Reason.NO_EVIDENCE, "no splice record is there", limit=limit)
    latest = attempts[-1]
    detail = f"the splicer estimated {mdb_text(latest.estimate_mdb)} dB"
    readings = (RecordReading(latest.stamp.id, value=latest.estimate_mdb),)
    known = Judgement(Outcome.UNDETERMINED, None, detail, limit=limit, readings=readings)
    if not latest_is_proven([splice.stamp for splice in attempts]):
        reason = Reason.ORDER_NOT_PROVEN
        return known._replace(reason=reason, detail=f"{detail}, but {REASON_LABELS[reason]}")
    estimate = latest.estimate_mdb * PDB_PER_MDB
    return known.held(estimate, estimate, limit)


def _greatest_conforming(limit: Limit) -> Exact:
    return limit.exact - limit.band if limit.rule is DecisionRule.GUARDED else limit.exact
