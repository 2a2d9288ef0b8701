"""Work at splices: make them again, shrink the sleeve, seal the closure."""

from collections.abc import Iterable, Iterator, Sequence

from service.vocabulary.criteria.joints import SpliceLossCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import FindingDocument, WorkDocument
from service.vocabulary.words import Act, Basis, JointKind, Outcome, Quantity
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct
from worker.judgement.numbers.exact import mdb_text
from worker.judgement.rules.fallback import count_attempts
from worker.judgement.traces.places import Place
from worker.judgement.words import at_wavelength
from worker.judgement.work.interim import ActionLimits, interim_causes
from worker.judgement.work.items import Cause, beyond_limit, cause_of, write_item
from worker.judgement.work.splices import is_worth_splicing, latest_splice, workmanship_causes

FindingsByJoint = dict[tuple[str, int], dict[str, FindingDocument]]

# What is bad about a splice itself is turned around by making it again.
_OF_SPLICES = {Quantity.SPLICE_LOSS, Quantity.WORKMANSHIP, Quantity.REFLECTANCE}


def joint_work(fibre: FibreMeasured, findings: Sequence[FindingDocument]) -> Iterator[WorkDocument]:
    """Return what is to be done at each place before it is worth testing."""
    by_joint, proving = _by_joint(findings), _proving_codes(fibre)
    for place in fibre.places:
        splices = [
            joint for joint in place.joints if joint.kind is JointKind.SPLICE and joint.segment in fibre.segments
        ]
        work = [item for joint in splices for item in _splice_work(fibre, place, joint, by_joint, proving)]
        yield from work
        if splices and not work:
            yield from _sealing_work(fibre, place, by_joint)


def _proving_codes(fibre: FibreMeasured) -> frozenset[str]:
    """Return the criteria that a final reading proves: it says more than an estimate or one direction ever could."""
    return frozenset(one.code for one in _splice_criteria(fibre) if one.basis is not Basis.ESTIMATE)


def _is_finished(splice: SpliceAct | None) -> bool:
    return splice is None or (splice.sleeve_is_shrunk and splice.proof_test_passed is not False)


def _by_joint(findings: Sequence[FindingDocument]) -> FindingsByJoint:
    by_joint: FindingsByJoint = {}
    for finding in findings:
        if finding["quantity"] in _OF_SPLICES:
            by_joint.setdefault((finding["site"], finding["position"]), {})[finding["criterion"]] = finding
    return by_joint


def _splice_work(
    fibre: FibreMeasured, place: Place, joint: Joint, by_joint: FindingsByJoint, proving: frozenset[str]
) -> Iterator[WorkDocument]:
    own = by_joint.get((joint.site, joint.position), {})
    splice = latest_splice(fibre, joint)
    is_proven = any(own[code]["outcome"] == Outcome.CONFORMING for code in proving & own.keys())
    if is_proven and _is_finished(splice) and all(one["outcome"] == Outcome.CONFORMING for one in own.values()):
        # As nearly every splice of a finished route.
        return
    losses = {code: one for code, one in own.items() if one["quantity"] == Quantity.SPLICE_LOSS}
    causes = [
        *_proof_causes(splice),
        *workmanship_causes(fibre, own.values()),
        *_reflectance_causes(own.values()),
        *_loss_causes(fibre, place, joint, losses, is_proven=is_proven),
    ]
    if causes:
        act = Act.RE_SPLICE
    elif splice is not None and not splice.sleeve_is_shrunk:
        act = Act.SHRINK_SLEEVE
        causes = [Cause(clause="the sleeve has not been shrunk", records=(splice.stamp.id,))]
    else:
        return
    is_urgent = place.is_closure and not fibre.validity.is_sealed(place.site)
    yield write_item(fibre, act=act, site=joint.site, causes=causes, position=joint.position, is_urgent=is_urgent)


def _proof_causes(splice: SpliceAct | None) -> Iterator[Cause]:
    if splice is not None and splice.proof_test_passed is False:
        yield Cause(clause="the splice did not pass its proof test", records=(splice.stamp.id,))


def _reflectance_causes(own: Iterable[FindingDocument]) -> Iterator[Cause]:
    for finding in own:
        if (finding["quantity"], finding["outcome"]) == (Quantity.REFLECTANCE, Outcome.NONCONFORMING):
            name = f"the reflectance{at_wavelength(finding.get('wavelength_nm'))}"
            yield cause_of(finding, f"{name} {beyond_limit(finding)}, and a fusion splice shows none")


def _loss_causes(
    fibre: FibreMeasured, place: Place, joint: Joint, own: dict[str, FindingDocument], *, is_proven: bool
) -> Iterator[Cause]:
    splice, attempts = latest_splice(fibre, joint), count_attempts(fibre, joint)
    if is_proven and all(one["outcome"] != Outcome.NONCONFORMING for one in own.values()):
        return
    for criterion in _splice_criteria(fibre):
        finding = own.get(criterion.code)
        if finding is not None and finding["outcome"] == Outcome.NONCONFORMING:
            if criterion.basis is Basis.ESTIMATE:
                yield cause_of(finding, f"the splicer's estimate {beyond_limit(finding)}")
            elif is_worth_splicing(fibre, place):
                yield _final_cause(finding, place)
        elif not is_proven:
            yield from _estimate_causes(criterion, splice, attempts)
            since = None if splice is None else splice.stamp
            yield from interim_causes(fibre, place, ActionLimits(criterion, attempts), since=since)


def _splice_criteria(fibre: FibreMeasured) -> list[SpliceLossCriterion]:
    return [criterion for criterion in fibre.criteria.criteria if isinstance(criterion, SpliceLossCriterion)]


def _final_cause(finding: FindingDocument, place: Place) -> Cause:
    together = ", together with what lies beside it" if place.is_group else ""
    return cause_of(finding, f"the final loss at {finding['wavelength_nm']} nm {beyond_limit(finding)}{together}")


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


def _sealing_work(fibre: FibreMeasured, place: Place, by_joint: FindingsByJoint) -> Iterator[WorkDocument]:
    if not (place.is_closure and fibre.validity.final_after_sealing) or fibre.validity.is_sealed(place.site):
        return
    splices = [splice for joint in place.joints if (splice := latest_splice(fibre, joint)) is not None]
    if not splices:
        return
    state = "the closure is open" if place.site in fibre.validity.sealings else "its sealing is not recorded"
    cause = Cause(
        clause=f"the splice is finished and {state}: seal it, then test from both ends",
        criteria=tuple(
            code
            for joint in place.joints
            for code, finding in by_joint.get((joint.site, joint.position), {}).items()
            if finding["quantity"] == Quantity.SPLICE_LOSS
        ),
        records=tuple(splice.stamp.id for splice in splices),
    )
    yield write_item(fibre, act=Act.SEAL_AND_TEST, site=place.site, causes=[cause])
