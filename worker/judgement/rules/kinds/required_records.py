"""The criterion that each joint of the plan has the record of how it was made."""

from collections.abc import Iterator

from service.vocabulary.criteria.workmanship import RequiredRecordCriterion
from service.vocabulary.design.layout import Joint, Layout
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from worker.judgement.fibre.findings import Finding, JointRun, Judgement, RecordedValues
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import TerminationAct
from worker.judgement.rules.attempts import latest_splice
from worker.judgement.rules.base import once_finished
from worker.judgement.rules.joint_runs import JointRunRule
from worker.judgement.traces.places import Place

_SPLICE, _CONFORMING = JointKind.SPLICE, Outcome.CONFORMING
_SPLICE_IS_RECORDED = "the splice is recorded"
_MADE = {JointKind.SPLICE: "splice", JointKind.PAIR: "termination"}


class RequiredRecordRule(JointRunRule[RequiredRecordCriterion]):
    """Each joint has its record, of a splice that is finished."""

    said = _SPLICE_IS_RECORDED

    def __init__(self, criterion: RequiredRecordCriterion, layout: Layout) -> None:
        super().__init__(criterion, layout)
        # Of both kinds, or of pairs alone, each joint is looked at.
        self.kind = _SPLICE if criterion.joint is _SPLICE else None

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each joint of the kind that is asked for, or of both."""
        if self.criterion.joint is not None:
            own = list(self.joints(fibre, self.criterion.joint))
        else:
            both = [one for kind in JointKind for one in self.joints(fibre, kind)]
            own = sorted(both, key=lambda one: (one[1].site_index, one[1].position))
        for place, joint in own:
            yield self.finding(fibre, place, joint)

    def finding(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Finding:
        """Return the finding about a joint, whatever is recorded of it."""
        return self.joint_finding(fibre, joint, once_finished(fibre, (joint,), _judge(fibre, place, joint)))

    def show_plainly(self, fibre: FibreMeasured, run: JointRun) -> tuple[RecordedValues, list[int | None]] | None:
        """Return what was estimated at each splice of a run, if all are recorded."""
        latest = [latest_splice(fibre, joint) for joint in run.joints]
        if None in latest:
            return None
        records, values = zip(*[(one.stamp.id, one.estimate_mdb) for one in latest if one is not None], strict=True)
        return RecordedValues(records, values), list(values)


def _judge(fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
    splice = latest_splice(fibre, joint) if joint.kind is _SPLICE else None
    if splice is not None:
        # As nearly every joint of a route.
        readings = (RecordReading(splice.stamp.id, None, None, splice.estimate_mdb),)
        return Judgement(_CONFORMING, None, _SPLICE_IS_RECORDED, None, None, readings)
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
