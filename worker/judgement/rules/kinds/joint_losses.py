"""The criteria about the loss of single joints: splices, mated pairs, terminations (a pair with what lies behind it).

No trace sees apart what lies in one dead zone, so a joint of a group is judged by what the whole group loses.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping

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
from worker.judgement.fibre.bidirectional import BidirectionalLoss, WorseDirection, worse_of_any, worse_of_both
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, Exact, mdb_text
from worker.judgement.numbers.limits import Limit, hold, to_parts
from worker.judgement.rules.attempts import attempts_at, attempts_text, documented_attempts, readings_of
from worker.judgement.rules.base import LimitRule, guarded_limit, hold_known_part, once_finished
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS


def _judge_mean(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold the mean of both directions against a limit."""
    loss = fibre.loss_at(place, wavelength_nm=wavelength_nm)
    if loss.reason is not None:
        return _known(loss, limit)
    low, high = loss.low_tenth_mdb * PDB_PER_TENTH_MDB, loss.high_tenth_mdb * PDB_PER_TENTH_MDB
    # Written at once: nearly every finding of a route comes through here.
    held = hold(low=low, high=high, limit=limit)
    return Judgement(held.outcome, held.reason, loss.detail, (low, high), limit, loss.readings, loss.void, held.grade)


def _judge_any_way(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold the worse of the directions that are there against a limit."""
    forward, backward, both = fibre.losses_at(wavelength_nm)[place.site_index]
    if both.reason is Reason.END_FACE_FAILED:
        return _known(both, limit)
    return _hold_worse(worse_of_any(forward, backward), limit)


def _judge_each_way(fibre: FibreMeasured, place: Place, wavelength_nm: int, limit: Limit) -> Judgement:
    """Hold each of both directions against a limit: one alone may break it, and never keeps it."""
    forward, backward, both = fibre.losses_at(wavelength_nm)[place.site_index]
    worse = worse_of_both(forward, backward)
    if worse.reason is None and both.reason is not None:
        # Both are there, and are not of one and the same connection, or not of one fit to be measured.
        return _known(both, limit)
    return _hold_worse(worse, limit)


def _known(loss: BidirectionalLoss | WorseDirection, limit: Limit) -> Judgement:
    reason, detail = loss.reason, loss.detail
    return Judgement(Outcome.UNDETERMINED, reason, detail, limit=limit, readings=loss.readings, void=loss.void)


def _hold_worse(worse: WorseDirection, limit: Limit) -> Judgement:
    known = _known(worse, limit)
    if worse.bounds_tenth_mdb is None:
        return known
    low, high = (bound * PDB_PER_TENTH_MDB for bound in worse.bounds_tenth_mdb)
    return hold_known_part(known, low=low, high=high, limit=limit)


_BY_TRACES: Mapping[Basis, Callable[[FibreMeasured, Place, int, Limit], Judgement]] = {
    Basis.BIDIRECTIONAL: _judge_mean,
    Basis.ONE_WAY: _judge_any_way,
    Basis.EACH_WAY: _judge_each_way,
}


class TerminationRule(LimitRule[TerminationLossCriterion]):
    """One limit for each connection as an OTDR sees it: together with the splice behind it."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each place with a mated pair."""
        for place in fibre.places:
            if place.pair is not None and place.pair.segment in fibre.segments and place.site_index in self.scope.sites:
                judgement = once_finished(fibre, place.joints, self.judge(fibre, place))
                yield self.joint_finding(fibre, place.pair, judgement)

    def judge(self, fibre: FibreMeasured, place: Place) -> Judgement:
        """Hold the loss of a whole place against the limit; of one beside a closure, both together may break it."""
        own = _judge_mean(fibre, place, self.criterion.wavelength_nm, self.limit)
        if own.outcome is not Outcome.NONCONFORMING or not place.zone:
            return own
        detail = f"measured only together with what lies beside it: {own.detail}"
        return own._replace(detail=detail, outcome=Outcome.UNDETERMINED, reason=Reason.GROUP_ONLY, grade=None)


class JointLossRule(LimitRule[SpliceLossCriterion | ConnectionLossCriterion]):
    """One limit for the loss of each splice, or of each mated pair, and a wider one after documented attempts.

    `terminations` are the required criteria that may decide for a whole group.
    """

    def __init__(
        self,
        criterion: SpliceLossCriterion | ConnectionLossCriterion,
        layout: Layout,
        *,
        terminations: Iterable[TerminationRule],
    ) -> None:
        super().__init__(criterion, layout)
        if isinstance(criterion, SpliceLossCriterion):
            self._kind, self._fallback = JointKind.SPLICE, criterion.fallback
        else:
            self._kind, self._fallback = JointKind.PAIR, None
        is_of_means = criterion.basis is Basis.BIDIRECTIONAL and self.limit.rule is not DecisionRule.FOUR_WAY
        self._plain_most_tenth_mdb = _greatest_conforming(self.limit) // PDB_PER_TENTH_MDB if is_of_means else None
        own = [rule for rule in terminations if rule.criterion.wavelength_nm == criterion.wavelength_nm]
        self._strictest_first = sorted(own, key=lambda rule: _greatest_conforming(rule.limit))

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint."""
        if self._plain_most_tenth_mdb is None:
            for place, joint in self.joints(fibre, self._kind):
                yield self.joint_finding(fibre, joint, once_finished(fibre, (joint,), self.judge(fibre, place, joint)))
            return
        losses, most_tenth_mdb = fibre.losses_at(self.criterion.wavelength_nm), self._plain_most_tenth_mdb
        criterion, limit, number, conforming = self.criterion, self.limit, fibre.number, Outcome.CONFORMING
        for place, joint in self.joints(fibre, self._kind):
            reason, low, high, detail, readings, void = losses[place.site_index].both
            if reason is None and high <= most_tenth_mdb and not place.is_group:
                # As nearly every finding of a route, so that everything is written at once.
                bounds = low * PDB_PER_TENTH_MDB, high * PDB_PER_TENTH_MDB
                judged = Judgement(conforming, None, detail, bounds, limit, readings, void)
            else:
                judged = self.judge(fibre, place, joint)
            if fibre.unfinished:
                judged = once_finished(fibre, (joint,), judged)
            yield Finding(criterion, judged, (joint.segment,), number, joint.site, joint.position)

    def judge(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
        """Hold a joint's loss against the limit; in a group, what the whole group's loss says of it."""
        criterion = self.criterion
        is_estimate = criterion.basis is Basis.ESTIMATE
        if is_estimate:
            own = _judge_estimate(fibre, joint, self.limit)
        else:
            own = _BY_TRACES[criterion.basis](fibre, place, criterion.wavelength_nm, self.limit)
        if own.bounds is None:
            return own
        # A splicer estimates each splice by itself, whatever lies beside it.
        if place.is_group and not is_estimate:
            return self._judge_member(fibre, place, joint, own)
        return own if own.outcome is Outcome.CONFORMING else self._relax(fibre, joint, own)

    def _judge_member(self, fibre: FibreMeasured, place: Place, joint: Joint, own: Judgement) -> Judgement:
        # No true loss is below zero, so a group that keeps the joint's own limit proves the joint.
        name = joint.kind.value
        if own.outcome is Outcome.CONFORMING:
            return own._replace(detail=f"the whole connection keeps the {name}'s own limit: {own.detail}")
        # The contract limits a connection with its own splice as one thing: no trace tells how the two share the loss.
        # A closure that a long pulse takes together with a connection has a limit of its own, and no share in that one.
        group_rule = next((rule for rule in self._strictest_first if place.site_index in rule.scope.sites), None)
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
