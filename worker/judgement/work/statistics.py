"""Work at the joint that keeps several together from their limit: one at a time, the worst first."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria.joints import JointStatisticCriterion
from service.vocabulary.findings.finding import FindingDocument, WorkDocument
from service.vocabulary.words import Act, JointKind, Outcome, Quantity
from worker.judgement.fibre.connections import is_clean
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.numbers.exact import db_text
from worker.judgement.rules.kinds.statistics import JointStatisticRule, Member
from worker.judgement.work.items import beyond_limit, cause_of, write_item

_OF_ALL = {
    "mean": "the mean loss of {count} joints together",
    "share_within": "the share of {count} joints that keep their own limit",
}


def statistic_work(fibre: FibreMeasured, still_open: Sequence[FindingDocument]) -> Iterator[WorkDocument]:
    """Return the one joint for each population of this fibre that is over its limit, where all else is done."""
    criteria = {one.code: one for one in fibre.criteria.criteria if isinstance(one, JointStatisticCriterion)}
    for finding in still_open:
        is_of_joints = finding["quantity"] == Quantity.JOINT_STATISTIC
        if not is_of_joints or finding["outcome"] != Outcome.NONCONFORMING or "fibre" not in finding:
            continue
        criterion = criteria[finding["criterion"]]
        worst = JointStatisticRule(criterion, fibre.layout).worst(fibre, finding)
        if worst is not None and worst.bounds is not None:
            said = _OF_ALL[criterion.statistic].format(count=finding["count"])
            clause = f"{said} {beyond_limit(finding)}, and this one loses most, {db_text(worst.bounds[1])} dB"
            causes = [cause_of(finding, clause)]
            yield write_item(
                fibre,
                act=_act(fibre, worst),
                site=worst.joint.site,
                causes=causes,
                position=worst.joint.position,
            )


def _act(fibre: FibreMeasured, worst: Member) -> Act:
    if worst.joint.kind is JointKind.SPLICE:
        return Act.RE_SPLICE
    place = next(place for place in fibre.places if place.site_index == worst.joint.site_index)
    return Act.RE_TERMINATE if is_clean(fibre, place, worst.joint) else Act.CLEAN_AND_INSPECT
