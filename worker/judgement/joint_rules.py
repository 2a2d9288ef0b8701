"""The criteria about joints: the loss of each splice, and of each connection with the splice behind it."""

from collections.abc import Iterator

from service.vocabulary.criteria import SpliceLossCriterion, TerminationLossCriterion
from service.vocabulary.finding import FindingDocument
from service.vocabulary.layout import Joint
from service.vocabulary.words import JointKind, Outcome, Reason
from worker.judgement.bidirectional import BidirectionalLoss
from worker.judgement.exact import PDB_PER_MDB, limit_mdb
from worker.judgement.fibre_under_test import FibreUnderTest
from worker.judgement.findings import Judgement, Limit, head_of, hold, joint_finding
from worker.judgement.places import Place


class TerminationRule:
    """One limit for each connection as an OTDR sees it: together with the splice behind it."""

    def __init__(self, criterion: TerminationLossCriterion) -> None:
        self.criterion = criterion
        self._head = head_of(criterion)
        self.limit = Limit.of(limit_mdb(criterion.limit_db) * PDB_PER_MDB)

    def findings(self, fibre: FibreUnderTest) -> Iterator[FindingDocument]:
        """Give one finding for each place with a mated pair."""
        for place in fibre.places:
            if place.pair is not None and place.pair.segment in fibre.segments:
                yield joint_finding(self._head, place.pair, self.judge(fibre, place))

    def judge(self, fibre: FibreUnderTest, place: Place) -> Judgement:
        """Hold the loss of a whole place against the limit."""
        return _judge_loss(fibre.loss_at(place, wavelength_nm=self.criterion.wavelength_nm), self.limit)


class SpliceRule:
    """One limit for the bidirectional loss of each splice."""

    def __init__(self, criterion: SpliceLossCriterion, *, group_rule: TerminationRule | None) -> None:
        self.criterion = criterion
        self._head = head_of(criterion)
        self.limit = Limit.of(limit_mdb(criterion.limit_db) * PDB_PER_MDB)
        self._group_rule = group_rule

    def findings(self, fibre: FibreUnderTest) -> Iterator[FindingDocument]:
        """Give one finding for each splice."""
        for place in fibre.places:
            for joint in place.joints:
                if joint.kind is JointKind.SPLICE and joint.segment in fibre.segments:
                    yield joint_finding(self._head, joint, self.judge(fibre, place, joint))

    def judge(self, fibre: FibreUnderTest, place: Place, joint: Joint) -> Judgement:
        """Hold a splice's loss against the limit; in a group, what the whole group's loss says of it."""
        loss = fibre.loss_at(place, wavelength_nm=self.criterion.wavelength_nm)
        if not place.is_group or loss.reason is not None:
            return _judge_loss(loss, self.limit)
        return self._judge_member(fibre, place, loss, joint)

    def _judge_member(self, fibre: FibreUnderTest, place: Place, loss: BidirectionalLoss, joint: Joint) -> Judgement:
        # No true loss is below zero, so a group that keeps the splice's own limit proves the splice.
        own = _judge_loss(loss, self.limit)
        if own.outcome is Outcome.CONFORMING:
            return own._replace(detail=f"the whole connection keeps the splice's own limit: {loss.detail}")
        if self._group_rule is None:
            detail = f"splice {joint.position} was measured only together with its connection: {loss.detail}"
            return own._replace(detail=detail, outcome=Outcome.UNDETERMINED, reason=Reason.GROUP_ONLY)
        decided = self._group_rule.judge(fibre, place)
        code = self._group_rule.criterion.code
        return decided._replace(detail=f"decided by {code} for the whole connection: {loss.detail}")


def _judge_loss(loss: BidirectionalLoss, limit: Limit) -> Judgement:
    if loss.reason is not None:
        return Judgement(
            outcome=Outcome.UNDETERMINED,
            reason=loss.reason,
            detail=loss.detail,
            limit=limit,
            readings=loss.readings,
            void=loss.void,
        )
    outcome, reason = hold(low_tenth_mdb=loss.low_tenth_mdb, high_tenth_mdb=loss.high_tenth_mdb, limit=limit)
    return Judgement(
        outcome=outcome,
        reason=reason,
        detail=loss.detail,
        bounds_tenth_mdb=(loss.low_tenth_mdb, loss.high_tenth_mdb),
        limit=limit,
        readings=loss.readings,
        void=loss.void,
    )
