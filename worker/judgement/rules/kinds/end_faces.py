"""The criterion about end faces: both sides of each connection, inspected since they were last touched."""

from collections.abc import Iterator

from service.vocabulary.criteria.joints import EndFaceCriterion
from service.vocabulary.design.words import JointKind
from service.vocabulary.records.words import Side
from worker.judgement.fibre.end_faces import inspection_of
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.rules.base import Rule


class EndFaceRule(Rule[EndFaceCriterion]):
    """The limits of the standard's edition for what each zone shows, or the instrument's word, as was agreed."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give two findings for each mated pair, one a side."""
        for place, joint in self.joints(fibre, JointKind.PAIR):
            for side in Side:
                judged = inspection_of(fibre.history, place, joint, side, asked=self.criterion)
                yield self.joint_finding(fibre, joint, judged)._replace(side=side)
