"""The criterion about end faces: both sides of each connection, inspected since they were last touched."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import EndFaceCriterion
from service.vocabulary.findings.finding import RecordReading, VoidRecord
from service.vocabulary.words import JointKind, Side
from worker.judgement.fibre.end_faces import ORDER_FAULTS, Inspection, inspection_of
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.rules.base import Rule


class EndFaceRule(Rule[EndFaceCriterion]):
    """The limits of the standard's edition for what each zone shows."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give two findings for each mated pair, one a side."""
        for place, joint in self.joints(fibre, JointKind.PAIR):
            for side in Side:
                inspected = inspection_of(fibre.history, place, joint, side)
                yield self.joint_finding(fibre, joint, _judgement(inspected))._replace(side=side)


def _judgement(inspected: Inspection) -> Judgement:
    latest, reason = inspected.latest, inspected.reason
    known = Judgement(inspected.outcome, reason, inspected.detail)
    if latest is None:
        return known
    if reason is not None and reason in ORDER_FAULTS:
        return known._replace(void=(VoidRecord(latest.stamp.id, reason),))
    return known._replace(readings=(RecordReading(latest.stamp.id),))
