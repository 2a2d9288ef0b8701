"""The criterion about how far the two directions of a splice read apart."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import DirectionDifferenceCriterion
from service.vocabulary.criteria.words import DecisionRule
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Outcome
from service.vocabulary.quantities import PDB_PER_MDB
from worker.judgement.fibre.bidirectional import both_said, missing_reason
from worker.judgement.fibre.findings import Finding, JointRun, Judgement
from worker.judgement.fibre.losses import PlainLosses
from worker.judgement.fibre.measured import FibreMeasured, PlacedJoints
from worker.judgement.numbers.exact import PDB_PER_TENTH_MDB, TENTHS_PER_MDB
from worker.judgement.numbers.limits import Limit
from worker.judgement.rules.base import LimitRule
from worker.judgement.rules.joint_runs import JointRunRule
from worker.judgement.traces.places import Place


class DirectionDifferenceRule(JointRunRule[DirectionDifferenceCriterion], LimitRule[DirectionDifferenceCriterion]):
    """One limit for each splice in a closure: at a terminal the cord and the pigtail differ too."""

    said = "between "

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each splice that is read by itself."""
        for place, joint in self.joints_among(fibre.placed, JointKind.SPLICE):
            yield self.finding(fibre, place, joint)

    def joints_among(self, placed: PlacedJoints, kind: JointKind) -> Iterator[tuple[Place, Joint]]:
        """Give each splice for which the criterion holds that is read by itself."""
        return (one for one in super().joints_among(placed, kind) if not one[0].is_group)

    def finding(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Finding:
        """Return the finding about a splice, whatever is known of it."""
        return self.joint_finding(fibre, joint, self._judge(fibre, place))

    def show_plainly(self, fibre: FibreMeasured, run: JointRun) -> tuple[PlainLosses, list[int | None]] | None:
        """Return by how much both directions of each splice of a run differ, where that plainly keeps the limit."""
        plain = fibre.losses_at(self.criterion.wavelength_nm).plain
        if plain is None or self.limit.rule is not DecisionRule.SIMPLE:
            return None
        most, means = self.limit.exact // PDB_PER_TENTH_MDB, plain.means_tenth_mdb
        there, back = plain.there.losses_mdb, plain.back.losses_mdb
        differences = [
            None if means[place] is None else abs((there[place] or 0) - (back[place] or 0)) * TENTHS_PER_MDB
            for place in run.places
        ]
        return plain, [None if one is None or one > most else one for one in differences]

    @property
    def plain_limit(self) -> Limit:
        """The limit of the difference."""
        return self.limit

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
