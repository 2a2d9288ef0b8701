"""Work at splices and closures, by what is final and by what traces taken while a closure is open already show.

Interim readings are an early warning, never part of the verdict: they are held against action limits.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.joints import JointStatisticCriterion, SpliceLossCriterion
from service.vocabulary.criteria.words import Basis, Combination, From, Quantity
from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.design.layout import Joint
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.words import Act, Outcome, Reason
from worker.judgement.fibre.end_faces import is_clean
from worker.judgement.fibre.findings import Finding
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct, Trace
from worker.judgement.history.lids import Lid
from worker.judgement.history.validity import Side
from worker.judgement.numbers.clocks import Stamp
from worker.judgement.numbers.exact import db_text, limit_mdb, mdb_text, mean_tenth_mdb
from worker.judgement.rules.attempts import documented_attempts, latest_splice
from worker.judgement.rules.kinds.statistics import JointStatisticRule, Member
from worker.judgement.traces.aligned_trace import Reading
from worker.judgement.traces.places import Place
from worker.judgement.words import DIRECTION_LABELS, at_wavelength
from worker.judgement.work.items import Cause, WorkItem, beyond_limit, cause_of

_ByJoint = Mapping[tuple[str | None, int | None], Sequence[Finding]]

# What is bad about a splice itself is turned around by making it again.
_OF_SPLICES = {Quantity.SPLICE_LOSS, Quantity.WORKMANSHIP, Quantity.REFLECTANCE}
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
_INTERIM = {Reason.SEALING_NOT_RECORDED, Reason.CLOSURE_OPEN, Reason.BEFORE_SEALING}


class ActionLimits(NamedTuple):
    """A criterion's limits for what is known while a closure is open, after so many attempts at the joint."""

    criterion: SpliceLossCriterion
    attempts: int

    def hold(
        self, said: str, value_tenth_mdb: int, limit_db: float | None, named: str, *records: str
    ) -> Iterator[Cause]:
        """Give the cause that a loss above a limit is.

        After enough attempts nothing is asked for that the fallback would accept.
        """
        if limit_db is None:
            return
        limit, fallback = limit_mdb(limit_db), self.criterion.fallback
        if fallback is not None and self.attempts >= fallback.attempts:
            limit = max(limit, limit_mdb(fallback.limit_db))
        if value_tenth_mdb > limit * 10:
            yield Cause(f"{said} above the {named} of {mdb_text(limit)} dB", (self.criterion.code,), records)


def joint_work(fibre: FibreMeasured, findings: Sequence[Finding]) -> Iterator[WorkItem]:
    """Return what is to be done at each place before it is worth testing."""
    if _is_all_done(fibre, findings):
        return
    by_joint: dict[tuple[str | None, int | None], list[Finding]] = {}
    for finding in findings:
        if finding.quantity in _OF_SPLICES:
            by_joint.setdefault((finding.site, finding.position), []).append(finding)
    for place in fibre.places:
        splices = [one for one in place.joints if one.kind is JointKind.SPLICE and one.segment in fibre.segments]
        work = [
            item
            for joint in splices
            for item in _splice_work(fibre, place, joint, by_joint.get((joint.site, joint.position), ()))
        ]
        yield from work
        if splices and not work:
            yield from _sealing_work(fibre, place, by_joint)


def _is_all_done(fibre: FibreMeasured, findings: Sequence[Finding]) -> bool:
    """Tell at once whether each splice is proven, finished and shut, as on nearly every finished fibre."""
    validity, conforming = fibre.validity, Outcome.CONFORMING
    if any(one.judged.outcome is not conforming for one in findings):
        return False
    proving = {
        one.code
        for one in fibre.criteria.criteria
        if isinstance(one, SpliceLossCriterion) and one.basis is not Basis.ESTIMATE
    }
    proven = {(one.site, one.position) for one in findings if one.criterion.code in proving}
    if not all((joint.site, joint.position) in proven for _, joint in fibre.joints_of_kind[JointKind.SPLICE]):
        return False
    if validity.final_after_sealing and not all(validity.is_sealed(one.site) for one in fibre.places if one.is_closure):
        return False
    acts = (act for own in fibre.history.splices.values() for act in own)
    return all(act.sleeve_is_shrunk and act.proof_test_passed is not False for act in acts)


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
            yield WorkItem(_act(fibre, worst), worst.joint.site, (cause_of(finding, clause),), worst.joint.position)


def _act(fibre: FibreMeasured, worst: Member) -> Act:
    if worst.joint.kind is JointKind.SPLICE:
        return Act.RE_SPLICE
    place = next(place for place in fibre.places if place.site_index == worst.joint.site_index)
    return Act.RE_TERMINATE if is_clean(fibre.history, place, worst.joint) else Act.CLEAN_AND_INSPECT


def _splice_work(fibre: FibreMeasured, place: Place, joint: Joint, own: Sequence[Finding]) -> Iterator[WorkItem]:
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
    causes += _loss_causes(fibre, place, joint, own, is_proven=is_proven)
    act = Act.RE_SPLICE
    if is_unshrunk and not causes:
        act, causes = Act.SHRINK_SLEEVE, [Cause("the sleeve has not been shrunk", codes, records)]
    if causes:
        is_urgent = place.is_closure and not fibre.validity.is_sealed(place.site)
        yield WorkItem(act, joint.site, tuple(causes), joint.position, is_urgent)


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
    fibre: FibreMeasured, place: Place, joint: Joint, own: Sequence[Finding], *, is_proven: bool
) -> Iterator[Cause]:
    losses = {one.code: one for one in own if one.quantity is Quantity.SPLICE_LOSS}
    if is_proven and not any(one.is_bad for one in losses.values()):
        return
    splice, attempts = latest_splice(fibre, joint), len(documented_attempts(fibre, joint))
    # A loss that was read with a connection is the splice's once that is known to be clean.
    is_the_splices = place.pair is None or is_clean(fibre.history, place, place.pair)
    for criterion in fibre.criteria.criteria:
        if not isinstance(criterion, SpliceLossCriterion):
            continue
        finding = losses.get(criterion.code)
        if finding is not None and finding.is_bad:
            if criterion.basis is Basis.ESTIMATE:
                yield cause_of(finding, f"the splicer's estimate {beyond_limit(finding)}")
            elif is_the_splices:
                together = ", together with what lies beside it" if place.is_group else ""
                said = f"the final loss at {finding.wavelength_nm} nm {beyond_limit(finding)}{together}"
                yield cause_of(finding, said)
        elif not is_proven:
            limits = ActionLimits(criterion, attempts)
            yield from _estimate_causes(limits, splice)
            if not place.is_group:
                yield from _interim_causes(fibre, place, limits, since=None if splice is None else splice.stamp)


def _estimate_causes(limits: ActionLimits, splice: SpliceAct | None) -> Iterator[Cause]:
    if splice is not None:
        said = f"the estimate of {mdb_text(splice.estimate_mdb)} dB is"
        limit_db = limits.criterion.estimate_action_limit_db
        yield from limits.hold(said, splice.estimate_mdb * 10, limit_db, "action limit", splice.stamp.id)


def _interim_causes(
    fibre: FibreMeasured, place: Place, limits: ActionLimits, *, since: Stamp | None
) -> Iterator[Cause]:
    """Return why a splice has to be made again by the traces since it was made, held as they will be at the end."""
    criterion = limits.criterion
    sides = (Side(criterion.wavelength_nm, is_forward) for is_forward in (True, False))
    seen = [found for side in sides if (found := _latest(fibre, place, side, since)) is not None]
    # The limit of an estimate is none for what traces show.
    if criterion.basis is Basis.TRACES:
        asked = [one for one in seen if one.trace.is_forward in criterion.tested_from.directions]
        causes = list(_limit_causes(limits, asked))
        if causes:
            yield causes[0]
            return
    if len(seen) == 1:
        yield from _one_way_causes(limits, seen[0], criterion.one_way_action_limit_db, "action limit")


def _limit_causes(limits: ActionLimits, asked: Sequence[Reading]) -> Iterator[Cause]:
    """Return why what the directions asked for show would not keep the limit at the end."""
    criterion = limits.criterion
    if len(asked) == 2 and criterion.combination is Combination.MEAN:
        yield from _mean_causes(limits, *asked)
    elif len(asked) == 2 or criterion.tested_from is not From.BOTH:
        limit_db = criterion.limit_db if len(asked) == 2 else criterion.limit_of_one_way_db
        for one in asked:
            yield from _one_way_causes(limits, one, limit_db, "limit")


def _latest(fibre: FibreMeasured, place: Place, side: Side, since: Stamp | None) -> Reading | None:
    for trace in reversed(fibre.history.traces):
        if (trace.wavelength_nm, trace.is_forward) == side and _is_interim(fibre, place, trace, since):
            shown = fibre.aligned(trace).readings[place.site_index]
            if isinstance(shown, Reading):
                return shown
    return None


def _is_interim(fibre: FibreMeasured, place: Place, trace: Trace, since: Stamp | None) -> bool:
    if trace.is_ended or trace.calibration_has_run_out or not trace.low_index < place.site_index < trace.high_index:
        return False
    if since is not None and trace.stamp.made_at <= since.made_at:
        return False
    # Where sealing is not asked for, every reading is final as soon as there is one from each direction.
    return not fibre.validity.final_after_sealing or fibre.validity.fault_at(trace, place.site_index) in _INTERIM


def _mean_causes(limits: ActionLimits, first: Reading, second: Reading) -> Iterator[Cause]:
    criterion, low = limits.criterion, mean_tenth_mdb(first_mdb=first.low_mdb, second_mdb=second.low_mdb)
    is_exact = first.is_seen and second.is_seen
    mean = f"the mean of both directions at {criterion.wavelength_nm} nm {'is' if is_exact else 'is at least'}"
    records = first.trace.stamp.id, second.trace.stamp.id
    yield from limits.hold(f"{mean} {db_text(low)} dB,", low, criterion.limit_db, "limit", *records)


def _one_way_causes(limits: ActionLimits, reading: Reading, limit_db: float | None, named: str) -> Iterator[Cause]:
    if reading.is_seen:
        direction, nm = DIRECTION_LABELS[reading.trace.is_forward], limits.criterion.wavelength_nm
        said = f"the one-way loss of {mdb_text(reading.high_mdb)} dB ({direction}, {nm} nm) is"
        yield from limits.hold(said, reading.low_mdb * 10, limit_db, named, reading.trace.stamp.id)


def _sealing_work(fibre: FibreMeasured, place: Place, by_joint: _ByJoint) -> Iterator[WorkItem]:
    if not (place.is_closure and fibre.validity.final_after_sealing) or fibre.validity.is_sealed(place.site):
        return
    splices = [splice for joint in place.joints if (splice := latest_splice(fibre, joint)) is not None]
    if not splices:
        return
    state = _state_of(fibre.validity.lids.get(place.site))
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


def _state_of(lid: Lid | None) -> str:
    if lid is None or lid.opened is None:
        return "its sealing is not recorded"
    if lid.opened.is_ended:
        return "work after it was sealed was withdrawn without the engineer's word"
    return "no sealing after it is recorded" if lid.opened.is_splicing else "the closure is open"
