"""Work at splices and connectors: to be made, and to be made again by what is final or seen while a closure is open."""

from collections.abc import Iterator, Mapping, Sequence

from service.vocabulary.criteria.joints import JointStatisticCriterion, SpliceLossCriterion
from service.vocabulary.criteria.words import Basis, Combination, From, Quantity
from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind, Termination
from service.vocabulary.findings.words import Act, Reason
from worker.judgement.fibre.end_faces import is_clean
from worker.judgement.fibre.findings import FibreFindings, Finding
from worker.judgement.fibre.joined import sites_run_over
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.lids import Lid
from worker.judgement.numbers.exact import db_text
from worker.judgement.rules.attempts import documented_attempts, latest_splice
from worker.judgement.rules.kinds.statistics import JointStatisticRule, Member
from worker.judgement.traces.places import Place
from worker.judgement.words import at_wavelength
from worker.judgement.work.bends import bend_causes, bends_shown, final_means, splice_or_bend
from worker.judgement.work.interim import ActionLimits, estimate_causes, interim_causes, interim_means
from worker.judgement.work.items import ActedOn, Cause, WorkItem, beyond_limit, cause_of

# What is bad about a joint itself, or not known of one that nobody made, is turned around by making it.
_OF_JOINTS = {Quantity.SPLICE_LOSS, Quantity.WORKMANSHIP, Quantity.REFLECTANCE, Quantity.REQUIRED_RECORD}
# What a new splice turns around, by the aspect of the demand; what is wrong stands in the brackets. One attempt more
# never makes them fewer: that is for the engineer to concede.
_NEW_SPLICE: Mapping[str, str] = {
    "proof_test": "the splice did not pass its proof test",
    "calibrated_splicer": "{}: calibrate the arc here, then splice again",
    "cleave_angle": "{}: cleave and splice again",
    "cleave_length": "{}: cleave and splice again",
    "sleeve_length": "{}: splice again with a sleeve that is allowed",
    "certificate": "{}: have it spliced again by a person whose certificate is valid",
    "fusion": "{}: splice again by fusion",
    "attempts_above_loss": "{}: splice again, each attempt a record of its own",
}
_OF_ALL = {
    "mean": "the mean loss of {} joints together",
    "share_within": "the share of {} joints that keep their own limit",
}
# By the kind of joint, and whether it is in a closure.
_NOT_MADE = {
    (JointKind.SPLICE, True): "nothing is recorded of this splice",
    (JointKind.SPLICE, False): "nothing is recorded of this pigtail's splice",
    (JointKind.PAIR, False): "nothing is recorded of this connector",
}


def is_all_done(fibre: FibreMeasured, findings: FibreFindings) -> bool:
    """Tell at once whether each splice is proven, finished and shut, as on nearly every finished fibre."""
    if findings.still_open:
        return False
    proving = {
        one.code
        for one in fibre.criteria.criteria
        if isinstance(one, SpliceLossCriterion) and one.basis is not Basis.ESTIMATE
    }
    if not findings.joints_by(proving) >= fibre.placed.splices:
        return False
    if fibre.validity.final_after_sealing and not _are_all_shut(fibre):
        return False
    acts = (act for own in fibre.history.splices.values() for act in own)
    return all(act.sleeve_is_shrunk and act.proof_test_passed is not False for act in acts)


def joint_work(fibre: FibreMeasured, findings: Sequence[Finding], acted_on: ActedOn) -> Iterator[WorkItem]:
    """Return what is to be done at each place before it is worth testing."""
    by_joint: dict[tuple[str | None, int | None], list[Finding]] = {}
    for finding in findings:
        is_about = finding.quantity in _OF_JOINTS or (finding.quantity is Quantity.BEND and finding.is_bad)
        # What conforms says what is proven.
        if is_about and (finding.is_good or acted_on.is_by(finding)):
            by_joint.setdefault((finding.site, finding.position), []).append(finding)
    for place in fibre.places:
        for joint in place.joints:
            if joint.segment not in fibre.segments:
                continue
            own = by_joint.get((joint.site, joint.position), ())
            if _is_to_be_made(fibre, joint) and not any(_proves(one) for one in own):
                yield _first_item(place, joint, own)
            elif joint.kind is JointKind.SPLICE:
                yield from _splice_work(fibre, place, joint, own, acted_on)


def sealing_work(fibre: FibreMeasured, work: Sequence[WorkItem]) -> Iterator[WorkItem]:
    """Return the closures to be sealed, once the work in them is done: those that are open, or that work opens."""
    if not fibre.validity.final_after_sealing:
        return
    at_work = {site for item in work for site in item.sites}
    opened = {site for item in work if item.opens for site in item.sites}
    codes = tuple([one.code for one in fibre.criteria.criteria if isinstance(one, SpliceLossCriterion)])
    for index in sorted(fibre.validity.closures):
        site = fibre.layout.design.sites[index].id
        if fibre.validity.is_sealed(site) and site not in opened:
            continue
        said = "it is opened for other work" if site in opened else _state_of(fibre.validity.lids.get(site))
        yield WorkItem(Act.SEAL, (site,), (Cause(said, codes),), is_ready=site not in at_work)


def statistic_work(fibre: FibreMeasured, still_open: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return the one joint for each population of this fibre that is over its limit, where all else is done."""
    for finding in still_open:
        criterion = finding.criterion
        if not finding.is_bad or not isinstance(criterion, JointStatisticCriterion):
            continue
        worst = JointStatisticRule(criterion, fibre.layout).worst(fibre, finding)
        if worst is not None and worst.bounds is not None:
            said = _OF_ALL[criterion.statistic].format(finding.members)
            clause = f"{said} {beyond_limit(finding)}, and this one loses most, {db_text(worst.bounds[1])} dB"
            yield WorkItem(_act(fibre, worst), (worst.joint.site,), (cause_of(finding, clause),), worst.joint.position)


def _act(fibre: FibreMeasured, worst: Member) -> Act:
    if worst.joint.kind is JointKind.SPLICE:
        return Act.RE_SPLICE
    place = next(place for place in fibre.places if place.site_index == worst.joint.site_index)
    return Act.RE_TERMINATE if is_clean(fibre.history, place, worst.joint) else Act.CLEAN_AND_INSPECT


def _is_to_be_made(fibre: FibreMeasured, joint: Joint) -> bool:
    """Tell whether a joint is not made yet: nothing is recorded of it, and it is not shut or tested all the same.

    A pigtail's connector and a factory cord's come with the cord. Where nobody posts splices of a fibre at all, any
    test tells that it is spliced; else a test does where all closures are shut.
    """
    history, validity = fibre.history, fibre.validity
    is_recorded = joint.site in history.terminations
    if joint.kind is JointKind.SPLICE:
        is_recorded = is_recorded or latest_splice(fibre, joint) is not None
    else:
        termination = fibre.layout.design.sites[joint.site_index].termination
        is_recorded = is_recorded or termination is not Termination.SPLICE_ON_CONNECTOR
    if is_recorded or validity.is_sealed(joint.site):
        return False
    is_under_work = bool(history.splices) and not _are_all_shut(fibre)
    tests = (*history.traces, *history.links)
    is_tested = any(joint.site_index in sites_run_over(fibre.layout, *test.span) for test in tests)
    return is_under_work or not is_tested


def _are_all_shut(fibre: FibreMeasured) -> bool:
    sites = fibre.layout.design.sites
    return all(fibre.validity.is_sealed(sites[index].id) for index in fibre.validity.closures)


def _first_item(place: Place, joint: Joint, own: Sequence[Finding]) -> WorkItem:
    act = Act.SPLICE if joint.kind is JointKind.SPLICE else Act.TERMINATE
    codes = tuple(dict.fromkeys(one.code for one in own))
    return WorkItem(act, (joint.site,), (Cause(_NOT_MADE[joint.kind, place.is_closure], codes),), joint.position)


def _splice_work(
    fibre: FibreMeasured, place: Place, joint: Joint, own: Sequence[Finding], acted_on: ActedOn
) -> Iterator[WorkItem]:
    splice, is_proven = latest_splice(fibre, joint), any(_proves(one) for one in own)
    has_failed = splice is not None and splice.proof_test_passed is False
    is_unshrunk = splice is not None and not splice.sleeve_is_shrunk
    if is_proven and not (has_failed or is_unshrunk) and all(one.is_good for one in own):
        # As nearly every splice of a finished route.
        return
    records = () if splice is None else (splice.stamp.id,)
    codes = tuple(one.code for one in own if one.reason is Reason.WORK_NOT_FINISHED)
    causes = [Cause("the splice did not pass its proof test", codes, records)] if has_failed else []
    causes += _workmanship_causes(own)
    causes += _reflectance_causes(own)
    losses = list(_loss_causes(fibre, place, joint, own, acted_on, is_proven=is_proven))
    if place.is_closure and any(one.quantity is Quantity.BEND for one in own):
        losses += bend_causes(fibre, place, joint, own)
    causes += [cause for act, cause in losses if act is Act.RE_SPLICE]
    # A fibre that is spliced again is laid anew with it.
    bends = [] if causes else [cause for act, cause in losses if act is Act.RELIEVE_BEND]
    asked = [(Act.RE_SPLICE, causes), (Act.RELIEVE_BEND, bends)]
    if is_unshrunk and not causes:
        asked.append((Act.SHRINK_SLEEVE, [Cause("the sleeve has not been shrunk", codes, records)]))
    is_urgent = place.is_closure and not fibre.validity.is_sealed(place.site)
    for act, own_causes in asked:
        if own_causes:
            yield WorkItem(act, (joint.site,), tuple(own_causes), joint.position, is_urgent)


def _proves(finding: Finding) -> bool:
    """Tell whether a final reading proves a splice: it says more than an estimate or one direction ever could.

    What only waits for the splice to be finished is proven.
    """
    criterion, is_proven = finding.criterion, finding.is_good or finding.reason is Reason.WORK_NOT_FINISHED
    return is_proven and isinstance(criterion, SpliceLossCriterion) and criterion.basis is not Basis.ESTIMATE


def _workmanship_causes(own: Sequence[Finding]) -> Iterator[Cause]:
    for finding in own:
        if finding.is_bad and isinstance(finding.criterion, WorkmanshipCriterion):
            said = _NEW_SPLICE.get(finding.criterion.demand.aspect)
            if said is not None:
                yield cause_of(finding, said.format(finding.judged.detail))


def _reflectance_causes(own: Sequence[Finding]) -> Iterator[Cause]:
    for finding in own:
        if finding.is_bad and finding.quantity is Quantity.REFLECTANCE:
            name = f"the reflectance{at_wavelength(finding.wavelength_nm)}"
            yield cause_of(finding, f"{name} {beyond_limit(finding)}, and a fusion splice shows none")


def _loss_causes(
    fibre: FibreMeasured,
    place: Place,
    joint: Joint,
    own: Sequence[Finding],
    acted_on: ActedOn,
    *,
    is_proven: bool,
) -> Iterator[tuple[Act, Cause]]:
    losses = {one.code: one for one in own if one.quantity is Quantity.SPLICE_LOSS}
    if is_proven and not any(one.is_bad for one in losses.values()):
        return
    splice, attempts = latest_splice(fibre, joint), len(documented_attempts(fibre, joint))
    since = None if splice is None else splice.stamp
    # A loss that was read with a connection is the splice's once that is known to be clean.
    is_the_splices = place.pair is None or is_clean(fibre.history, place, place.pair)
    for criterion in fibre.criteria.criteria:
        if not isinstance(criterion, SpliceLossCriterion) or criterion.code in acted_on.unmeetable:
            continue
        finding, nm = losses.get(criterion.code), criterion.wavelength_nm
        if finding is not None and finding.is_bad:
            if criterion.basis is Basis.ESTIMATE:
                yield Act.RE_SPLICE, cause_of(finding, f"{_name(criterion)} {beyond_limit(finding)}")
            elif is_the_splices:
                together = ", together with what lies beside it" if place.is_group else ""
                cause = cause_of(finding, f"{_name(criterion)} {beyond_limit(finding)}{together}")
                shown = bends_shown(final_means(fibre, place), own)
                yield from splice_or_bend(fibre, place, joint, cause, shown, at_nm=nm)
        elif not is_proven:
            limits = ActionLimits(criterion, attempts)
            yield from ((Act.RE_SPLICE, cause) for cause in estimate_causes(limits, splice))
            is_told = not (place.is_group or acted_on.is_crossed)
            for cause in interim_causes(fibre, place, limits, since=since) if is_told else ():
                shown = bends_shown(interim_means(fibre, place, since=since), own)
                yield from splice_or_bend(fibre, place, joint, cause, shown, at_nm=nm)


def _name(criterion: SpliceLossCriterion) -> str:
    """Name the loss that a criterion is about, as what was asked for gives it."""
    if criterion.basis is Basis.ESTIMATE:
        return "the splicer's estimate"
    is_mean = criterion.combination is Combination.MEAN and criterion.tested_from is From.BOTH
    name = "the mean of both directions" if is_mean else "the loss"
    return f"{name}{at_wavelength(criterion.wavelength_nm)}"


def _state_of(lid: Lid | None) -> str:
    if lid is None or lid.opened is None:
        return "its sealing is not recorded"
    if lid.opened.is_ended:
        return "work after it was sealed was withdrawn without the engineer's word"
    return "no sealing after it is recorded" if lid.opened.is_splicing else "it is open"
