"""Work at joints: splice again, shrink the sleeve, seal the closure."""

from collections.abc import Iterator, Sequence

from service.vocabulary.criteria import SpliceLossCriterion
from service.vocabulary.finding import FindingDocument, WorkDocument
from service.vocabulary.layout import Joint
from service.vocabulary.words import Act, JointKind, Outcome, Quantity
from worker.judgement.exact import limit_mdb, mdb_text
from worker.judgement.fibre_under_test import FibreUnderTest
from worker.judgement.history import SpliceAct
from worker.judgement.interim import interim_causes
from worker.judgement.places import Place
from worker.judgement.work_items import Cause, write_item

FindingsByJoint = dict[tuple[str, int], dict[str, FindingDocument]]


def joint_work(fibre: FibreUnderTest, findings: Sequence[FindingDocument]) -> Iterator[WorkDocument]:
    """Return what is to be done at each place before it is worth testing."""
    by_joint = _by_joint(findings)
    for place in fibre.places:
        splices = [
            joint for joint in place.joints if joint.kind is JointKind.SPLICE and joint.segment in fibre.segments
        ]
        work = [item for joint in splices for item in _splice_work(fibre, place, joint, by_joint)]
        yield from work
        if splices and not work:
            yield from _sealing_work(fibre, place, by_joint)


def latest_splice(fibre: FibreUnderTest, joint: Joint) -> SpliceAct | None:
    """Return the latest attempt at a joint; a record without a position speaks for each splice of its site."""
    attempts = fibre.history.splices.get(joint.site, ())
    return next((splice for splice in reversed(attempts) if splice.position in {None, joint.position}), None)


def _by_joint(findings: Sequence[FindingDocument]) -> FindingsByJoint:
    by_joint: FindingsByJoint = {}
    for finding in findings:
        if finding["quantity"] == Quantity.SPLICE_LOSS:
            by_joint.setdefault((finding["site"], finding["position"]), {})[finding["criterion"]] = finding
    return by_joint


def _splice_work(
    fibre: FibreUnderTest, place: Place, joint: Joint, by_joint: FindingsByJoint
) -> Iterator[WorkDocument]:
    own = by_joint.get((joint.site, joint.position), {})
    splice = latest_splice(fibre, joint)
    causes = [*_workmanship_causes(splice), *_loss_causes(fibre, place, splice, own)]
    if causes:
        act = Act.RE_SPLICE
    elif splice is not None and not splice.sleeve_is_shrunk:
        act = Act.SHRINK_SLEEVE
        causes = [Cause(clause="the sleeve has not been shrunk", records=(splice.stamp.id,))]
    else:
        return
    is_urgent = place.is_closure and not fibre.counting.is_sealed(place.site)
    yield write_item(fibre, act=act, site=joint.site, causes=causes, position=joint.position, is_urgent=is_urgent)


def _workmanship_causes(splice: SpliceAct | None) -> Iterator[Cause]:
    if splice is not None and splice.proof_test_passed is False:
        yield Cause(clause="the splice did not pass its proof test", records=(splice.stamp.id,))


def _loss_causes(
    fibre: FibreUnderTest, place: Place, splice: SpliceAct | None, own: dict[str, FindingDocument]
) -> Iterator[Cause]:
    # A final reading from both ends says more than an estimate from images or one direction ever could.
    outcomes = {finding["outcome"] for finding in own.values()}
    is_proven = Outcome.CONFORMING in outcomes
    if is_proven and Outcome.NONCONFORMING not in outcomes:
        return
    for criterion in fibre.criteria.criteria:
        if not isinstance(criterion, SpliceLossCriterion):
            continue
        finding = own.get(criterion.code)
        if finding is not None and finding["outcome"] == Outcome.NONCONFORMING:
            yield _final_cause(finding, is_group=place.is_group)
        elif not is_proven:
            yield from _estimate_causes(criterion, splice)
            yield from interim_causes(fibre, place, criterion, since=None if splice is None else splice.stamp)


def _final_cause(finding: FindingDocument, *, is_group: bool) -> Cause:
    advice = ", with its connection; clean that and test before splicing again" if is_group else ""
    value = finding.get("value_db") or f"at least {finding.get('low_db')}"
    return Cause(
        clause=f"the final loss at {finding['wavelength_nm']} nm is {value} dB, above the limit of "
        f"{finding.get('limit_db')} dB{advice}",
        criteria=(finding["criterion"],),
        records=tuple(reading["record"] for reading in finding["readings"]),
    )


def _estimate_causes(criterion: SpliceLossCriterion, splice: SpliceAct | None) -> Iterator[Cause]:
    if splice is None or criterion.estimate_action_limit_db is None:
        return
    action_limit_mdb = limit_mdb(criterion.estimate_action_limit_db)
    if splice.estimate_mdb > action_limit_mdb:
        estimate, action_limit = mdb_text(splice.estimate_mdb), mdb_text(action_limit_mdb)
        yield Cause(
            clause=f"the estimate of {estimate} dB is above the action limit of {action_limit} dB",
            criteria=(criterion.code,),
            records=(splice.stamp.id,),
        )


def _sealing_work(fibre: FibreUnderTest, place: Place, by_joint: FindingsByJoint) -> Iterator[WorkDocument]:
    if not (place.is_closure and fibre.counting.final_after_sealing) or fibre.counting.is_sealed(place.site):
        return
    splices = [splice for joint in place.joints if (splice := latest_splice(fibre, joint)) is not None]
    if not splices:
        return
    state = "the closure is open" if place.site in fibre.counting.sealings else "its sealing is not recorded"
    cause = Cause(
        clause=f"the splice is finished and {state}: seal it, then test from both ends",
        criteria=tuple(code for joint in place.joints for code in by_joint.get((joint.site, joint.position), {})),
        records=tuple(splice.stamp.id for splice in splices),
    )
    yield write_item(fibre, act=Act.SEAL_AND_TEST, site=place.site, causes=[cause])
