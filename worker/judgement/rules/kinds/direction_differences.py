"""The criterion about how far the two directions of a splice read apart."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import DirectionDifferenceCriterion
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Outcome
from service.vocabulary.quantities import PDB_PER_MDB
from worker.judgement.fibre.bidirectional import both_said, missing_reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.rules.base import LimitRule
from worker.judgement.traces.places import Place


class DirectionDifferenceRule(LimitRule[DirectionDifferenceCriterion]):
    """One limit for each splice in a closure: at a terminal the cord and the pigtail differ too."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each splice that is read by itself."""
        for place, joint in self.joints(fibre, JointKind.SPLICE):
            if not place.is_group:
                yield self.joint_finding(fibre, joint, self._judge(fibre, place))

    def _judge(self, fibre: FibreMeasured, place: Place) -> Judgement:
        forward, backward, both = fibre.losses_at(self.criterion.wavelength_nm)[place.site_index]
        known = Judgement(Outcome.UNDETERMINED, None, "", limit=self.limit, readings=both.readings, void=both.void)
        reason = missing_reason(forward.reason, backward.reason)
        if reason is not None:
            return known._replace(reason=reason, detail=both.detail)
        there, back = forward.readings[0], backward.readings[0]
        below, above = there.low_mdb - back.high_mdb, there.high_mdb - back.low_mdb
        # Of bounds on both sides of zero the least difference is none.
        low, high = max(below, -above, 0), max(-below, above)
        known = known._replace(detail=f"between {both_said(there, back)}")
        return known.held(low * PDB_PER_MDB, high * PDB_PER_MDB, self.limit)
