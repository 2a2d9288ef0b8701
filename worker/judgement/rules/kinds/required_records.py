"""The criterion that each joint of the plan has the record of how it was made."""

from collections.abc import Iterator

from service.vocabulary.criteria.workmanship import RequiredRecordCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import TerminationAct
from worker.judgement.rules.attempts import latest_splice, readings_of
from worker.judgement.rules.base import Rule, once_finished
from worker.judgement.traces.places import Place

_MADE = {JointKind.SPLICE: "splice", JointKind.PAIR: "termination"}


class RequiredRecordRule(Rule[RequiredRecordCriterion]):
    """Each joint has its record, of a splice that is finished."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint of the kind that is asked for, or of both."""
        asked = JointKind if self.criterion.joint is None else (self.criterion.joint,)
        own = [one for kind in asked for one in self.joints(fibre, kind)]
        for place, joint in sorted(own, key=lambda one: (one[1].site_index, one[1].position)):
            judgement = once_finished(fibre, (joint,), _judge(fibre, place, joint))
            yield self.joint_finding(fibre, joint, judgement)


def _judge(fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
    splice = latest_splice(fibre, joint) if joint.kind is JointKind.SPLICE else None
    if splice is not None:
        return Judgement(Outcome.CONFORMING, None, "the splice is recorded", readings=readings_of([splice]))
    termination = _termination_of(fibre, place, joint)
    if termination is None:
        detail = f"no {_MADE[joint.kind]} record is there"
        return Judgement(Outcome.UNDETERMINED, Reason.NO_EVIDENCE, detail)
    readings = (RecordReading(termination.stamp.id, value=termination.pigtail_mdb),)
    return Judgement(Outcome.CONFORMING, None, "the termination is recorded", readings=readings)


def _termination_of(fibre: FibreMeasured, place: Place, joint: Joint) -> TerminationAct | None:
    """Return the latest termination that made a pair; of a pigtail's splice, that of the pair in front of it."""
    own = fibre.history.terminations.get(joint.site, ())
    if joint.kind is JointKind.SPLICE:
        pairs = {one.position for one in place.joints if one.kind is JointKind.PAIR}
        near = pairs & {joint.position - 1, joint.position + 1}
        made = [act for act in own if act.pigtail_mdb is not None and near and act.position in {None, *near}]
    else:
        made = [act for act in own if act.position in {None, joint.position}]
    return made[-1] if made else None
