"""Work at splices, closures, and the one joint that keeps several together from their limit."""

from collections.abc import Iterator, Mapping, Sequence

from service.vocabulary.criteria.joints import JointStatisticCriterion, SpliceLossCriterion
from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.words import Act, Basis, JointKind, Quantity
from worker.judgement.fibre.end_faces import is_clean
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct
from worker.judgement.numbers.exact import db_text, mdb_text
from worker.judgement.rules.base import count_attempts, latest_splice
from worker.judgement.rules.kinds.statistics import JointStatisticRule, Member
from worker.judgement.traces.places import Place
from worker.judgement.words import at_wavelength
from worker.judgement.work.interim import ActionLimits, interim_causes
from worker.judgement.work.items import Cause, WorkItem, beyond_limit, cause_of

_ByJoint = Mapping[tuple[str | None, int | None], Sequence[Finding]]

# What is bad about a splice itself is turned around by making it again.
_OF_SPLICES = {Quantity.SPLICE_LOSS, Quantity.WORKMANSHIP, Quantity.REFLECTANCE}
# What a new splice turns around, by the aspect of the demand. One attempt more never makes them fewer: that is for the
# engineer to concede.
_ADVICE: Mapping[str, str] = {
    "calibrated_splicer": ": calibrate the arc here, then splice again",
    "cleave_angle": ": cleave and splice again",
    "cleave_length": ": cleave and splice again",
    "sleeve_length": ": splice again with a sleeve that is allowed",
    "certificate": ": have it spliced again by a person whose certificate is valid",
    "fusion": ": splice again by fusion",
    "attempts_above_loss": ": splice again, each attempt a record of its own",
}

_OF_ALL = {
    "mean": "the mean loss of {count} joints together",
    "share_within": "the share of {count} joints that keep their own limit",
}


def joint_work(fibre: FibreMeasured, findings: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return what is to be done at each place before it is worth testing."""
    by_joint = _by_joint(findings)
    for place in fibre.places:
        splices = [
            joint for joint in place.joints if joint.kind is JointKind.SPLICE and joint.segment in fibre.segments
        ]
        work = [
            item
            for joint in splices
            for item in _splice_work(fibre, place, joint, by_joint.get((joint.site, joint.position), ()))
        ]
        yield from work
        if splices and not work:
            yield from _sealing_work(fibre, place, by_joint)


def statistic_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return the one joint for each population of this fibre that is over its limit, where all else is done."""
    for finding in still_open:
        criterion = finding.criterion
        if not finding.is_bad or not isinstance(criterion, JointStatisticCriterion):
            continue
        worst = JointStatisticRule(criterion, fibre.layout).worst(fibre, finding)
        if worst is not None and worst.bounds is not None:
            said = _OF_ALL[criterion.statistic].format(count=finding.members)
            clause = f"{said} {beyond_limit(finding)}, and this one loses most, {db_text(worst.bounds[1])} dB"
            yield WorkItem(_act(fibre, worst), worst.joint.site, (cause_of(finding, clause),), worst.joint.position)


def _by_joint(findings: Sequence[Finding]) -> _ByJoint:
    by_joint: dict[tuple[str | None, int | None], list[Finding]] = {}
    for finding in findings:
        if finding.quantity in _OF_SPLICES:
            by_joint.setdefault((finding.site, finding.position), []).append(finding)
    return by_joint


def _splice_work(fibre: FibreMeasured, place: Place, joint: Joint, own: Sequence[Finding]) -> Iterator[WorkItem]:
    splice, is_proven = latest_splice(fibre, joint), any(_proves(one) for one in own)
    if is_proven and _is_finished(splice) and all(one.is_good for one in own):
        # As nearly every splice of a finished route.
        return
    causes = [
        *_proof_causes(splice),
        *_workmanship_causes(own),
        *_reflectance_causes(own),
        *_loss_causes(fibre, place, joint, own, is_proven=is_proven),
    ]
    if causes:
        act = Act.RE_SPLICE
    elif splice is not None and not splice.sleeve_is_shrunk:
        act = Act.SHRINK_SLEEVE
        causes = [Cause(clause="the sleeve has not been shrunk", records=(splice.stamp.id,))]
    else:
        return
    is_urgent = place.is_closure and not fibre.validity.is_sealed(place.site)
    yield WorkItem(act, joint.site, tuple(causes), joint.position, is_urgent)


def _proves(finding: Finding) -> bool:
    """Tell whether a final reading proves a splice: it says more than an estimate or one direction ever could."""
    criterion = finding.criterion
    return finding.is_good and isinstance(criterion, SpliceLossCriterion) and criterion.basis is not Basis.ESTIMATE


def _is_finished(splice: SpliceAct | None) -> bool:
    return splice is None or (splice.sleeve_is_shrunk and splice.proof_test_passed is not False)


def _proof_causes(splice: SpliceAct | None) -> Iterator[Cause]:
    if splice is not None and splice.proof_test_passed is False:
        yield Cause(clause="the splice did not pass its proof test", records=(splice.stamp.id,))


def _workmanship_causes(own: Sequence[Finding]) -> Iterator[Cause]:
    for finding in own:
        if not finding.is_bad or not isinstance(finding.criterion, WorkmanshipCriterion):
            continue
        aspect = finding.criterion.demand.aspect
        if aspect == "proof_test":
            yield cause_of(finding, "the splice did not pass its proof test")
        elif aspect in _ADVICE:
            yield cause_of(finding, f"{finding.judged.detail}{_ADVICE[aspect]}")


def _reflectance_causes(own: Sequence[Finding]) -> Iterator[Cause]:
    for finding in own:
        if finding.is_bad and finding.quantity is Quantity.REFLECTANCE:
            name = f"the reflectance{at_wavelength(finding.wavelength_nm)}"
            yield cause_of(finding, f"{name} {beyond_limit(finding)}, and a fusion splice shows none")


def _loss_causes(
    fibre: FibreMeasured, place: Place, joint: Joint, own: Sequence[Finding], *, is_proven: bool
) -> Iterator[Cause]:
    losses = {one.code: one for one in own if one.quantity is Quantity.SPLICE_LOSS}
    if is_proven and not any(one.is_bad for one in losses.values()):
        return
    splice, attempts = latest_splice(fibre, joint), count_attempts(fibre, joint)
    for criterion in _splice_criteria(fibre):
        finding = losses.get(criterion.code)
        if finding is not None and finding.is_bad:
            if criterion.basis is Basis.ESTIMATE:
                yield cause_of(finding, f"the splicer's estimate {beyond_limit(finding)}")
            elif _is_worth_splicing(fibre, place):
                yield _final_cause(finding, place)
        elif not is_proven:
            yield from _estimate_causes(criterion, splice, attempts)
            since = None if splice is None else splice.stamp
            yield from interim_causes(fibre, place, ActionLimits(criterion, attempts), since=since)


def _is_worth_splicing(fibre: FibreMeasured, place: Place) -> bool:
    """Tell whether a loss here is the splice's: where it was read with a connection, once that is known to be clean."""
    return place.pair is None or is_clean(fibre.history, place, place.pair)


def _splice_criteria(fibre: FibreMeasured) -> list[SpliceLossCriterion]:
    return [criterion for criterion in fibre.criteria.criteria if isinstance(criterion, SpliceLossCriterion)]


def _final_cause(finding: Finding, place: Place) -> Cause:
    together = ", together with what lies beside it" if place.is_group else ""
    return cause_of(finding, f"the final loss at {finding.wavelength_nm} nm {beyond_limit(finding)}{together}")


def _estimate_causes(criterion: SpliceLossCriterion, splice: SpliceAct | None, attempts: int) -> Iterator[Cause]:
    action_limit_mdb = ActionLimits(criterion, attempts).of(criterion.estimate_action_limit_db)
    if splice is None or action_limit_mdb is None:
        return
    if splice.estimate_mdb > action_limit_mdb:
        estimate, action_limit = mdb_text(splice.estimate_mdb), mdb_text(action_limit_mdb)
        yield Cause(
            clause=f"the estimate of {estimate} dB is above the action limit of {action_limit} dB",
            criteria=(criterion.code,),
            records=(splice.stamp.id,),
        )


def _sealing_work(fibre: FibreMeasured, place: Place, by_joint: _ByJoint) -> Iterator[WorkItem]:
    if not (place.is_closure and fibre.validity.final_after_sealing) or fibre.validity.is_sealed(place.site):
        return
    splices = [splice for joint in place.joints if (splice := latest_splice(fibre, joint)) is not None]
    if not splices:
        return
    state = "the closure is open" if place.site in fibre.validity.sealings else "its sealing is not recorded"
    cause = Cause(
        clause=f"the splice is finished and {state}: seal it, then test from both ends",
        criteria=tuple(
            finding.code
            for joint in place.joints
            for finding in by_joint.get((joint.site, joint.position), ())
            if finding.quantity is Quantity.SPLICE_LOSS
        ),
        records=tuple(splice.stamp.id for splice in splices),
    )
    yield WorkItem(Act.SEAL_AND_TEST, place.site, (cause,))


def _act(fibre: FibreMeasured, worst: Member) -> Act:
    if worst.joint.kind is JointKind.SPLICE:
        return Act.RE_SPLICE
    place = next(place for place in fibre.places if place.site_index == worst.joint.site_index)
    return Act.RE_TERMINATE if is_clean(fibre.history, place, worst.joint) else Act.CLEAN_AND_INSPECT
