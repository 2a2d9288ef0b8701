"""The criteria about how splices were made, each about the latest attempt at a joint."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from service.vocabulary.criteria.workmanship import (
    AttemptsAboveLoss,
    CalibratedSplicer,
    Certificate,
    CleaveAngle,
    CleaveLength,
    Demand,
    FusionOnly,
    MostAttempts,
    ProofTest,
    SleeveLength,
    WorkmanshipCriterion,
)
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.words import JointKind, Outcome, Reason, SpliceMethod, Unit
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import SpliceAct
from worker.judgement.numbers.clocks import latest_is_proven
from worker.judgement.numbers.exact import PARTS, decimal_text, limit_mdb
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.attempts import attempts_at
from worker.judgement.rules.base import Rule, joint_finding
from worker.judgement.rules.kinds.calibrated_splicers import judge_calibration
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS

_PARTS_OF_TENTH_MM, _PARTS_OF_HUNDREDTH_DEG = 10**11, 10**10


class WorkmanshipRule(Rule[WorkmanshipCriterion]):
    """One demand on each splice: in closures, at terminations, or everywhere."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each splice."""
        for place in fibre.places:
            if place.site_index not in self.scope.sites or not self._is_asked_for(place):
                continue
            for joint in place.joints:
                if joint.kind is JointKind.SPLICE and joint.segment in fibre.segments:
                    yield joint_finding(self.criterion, fibre, joint, self.judge(fibre, place, joint))

    def judge(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
        """Hold the latest attempt at a joint against the demand."""
        attempts = attempts_at(fibre, joint)
        if not attempts:
            return Judgement(Outcome.UNDETERMINED, Reason.NO_EVIDENCE, "no splice is recorded here")
        latest = attempts[-1]
        known = Judgement(Outcome.UNDETERMINED, None, "", readings=(RecordReading(latest.stamp.id),))
        if not latest_is_proven([attempt.stamp for attempt in attempts]):
            return _order_not_proven(known)
        return self._hold(fibre, place, joint, attempts, known)

    def _is_asked_for(self, place: Place) -> bool:
        match self.criterion.at:
            case "closures":
                return place.is_closure
            case "terminations":
                return not place.is_closure
            case _:
                return True

    def _hold(
        self, fibre: FibreMeasured, place: Place, joint: Joint, attempts: Sequence[SpliceAct], known: Judgement
    ) -> Judgement:
        latest = attempts[-1]
        match self.criterion.demand:
            case CalibratedSplicer() as demand:
                return judge_calibration(demand, fibre, joint, latest, known)
            case MostAttempts() as demand:
                return _judge_attempts(demand, attempts, known)
            case AttemptsAboveLoss() as demand:
                return _judge_attempts_above_loss(demand, fibre, place, attempts, known)
            case demand:
                return _JUDGE[type(demand)](demand, latest, known)


def _judge_cleave_angle(demand: CleaveAngle, splice: SpliceAct, known: Judgement) -> Judgement:
    sides = [("left", splice.cleave_left_cdeg), ("right", splice.cleave_right_cdeg)]
    stated = [(cdeg, f"{side} cleave {decimal_text(cdeg, places=2)} deg") for side, cdeg in sides if cdeg is not None]
    if not stated:
        return _not_stated(known, "no cleave angle is stated")
    worst, detail = max(stated)[0] * _PARTS_OF_HUNDREDTH_DEG, ", ".join(said for _, said in stated)
    limit = Limit.most(to_parts(demand.limit_deg, places=2), unit=Unit.DEG)
    held = known._replace(detail=detail).held(worst, worst, limit)
    if len(stated) == 2 or held.outcome is Outcome.NONCONFORMING:
        return held
    missing = next(side for side, cdeg in sides if cdeg is None)
    return _not_stated(known._replace(limit=limit), f"no {missing} cleave angle is stated; {detail}")


def _judge_cleave_length(demand: CleaveLength, splice: SpliceAct, known: Judgement) -> Judgement:
    if splice.cleave_length_tenth_mm is None:
        return _not_stated(known, "no cleave length is stated")
    text = decimal_text(splice.cleave_length_tenth_mm, places=1)
    value = splice.cleave_length_tenth_mm * _PARTS_OF_TENTH_MM
    least, most = to_parts(demand.least_mm, places=1), to_parts(demand.most_mm, places=1)
    # The nearer bound is the one that matters: beyond it the other cannot be broken too.
    is_low = value - least < most - value
    limit = (Limit.least if is_low else Limit.most)(least if is_low else most, unit=Unit.MM)
    detail = f"cleave length {text} mm, allowed {demand.least_mm:.1f} to {demand.most_mm:.1f} mm"
    return known._replace(detail=detail).held(value, value, limit)


def _judge_sleeve_length(demand: SleeveLength, splice: SpliceAct, known: Judgement) -> Judgement:
    if splice.sleeve_length_tenth_mm is None:
        return _not_stated(known, "no sleeve length is stated")
    text = decimal_text(splice.sleeve_length_tenth_mm, places=1)
    allowed = [f"{length_mm:.1f}" for length_mm in demand.allowed_mm]
    outcome = Outcome.CONFORMING if text in allowed else Outcome.NONCONFORMING
    return known._replace(outcome=outcome, detail=f"sleeve {text} mm, allowed {' or '.join(allowed)} mm")


def _judge_attempts(demand: MostAttempts, attempts: Sequence[SpliceAct], known: Judgement) -> Judgement:
    # A crew that did not post the first attempts still numbers the last one.
    recorded = len({attempt.stamp.id for attempt in attempts})
    count = max(recorded, *(attempt.attempt for attempt in attempts)) * PARTS
    limit = Limit.most(demand.limit * PARTS, unit=Unit.COUNT, places=0)
    readings = tuple(RecordReading(attempt.stamp.id) for attempt in attempts)
    return known._replace(detail=f"{count // PARTS} attempts", readings=readings).held(count, count, limit)


def _judge_attempts_above_loss(
    demand: AttemptsAboveLoss, fibre: FibreMeasured, place: Place, attempts: Sequence[SpliceAct], known: Judgement
) -> Judgement:
    # Only what was recorded is documented, whatever number the last attempt bears.
    count = len({attempt.stamp.id for attempt in attempts})
    loss = fibre.loss_at(place, wavelength_nm=demand.wavelength_nm)
    above = limit_mdb(demand.loss_db) * 10
    readings = tuple(RecordReading(attempt.stamp.id) for attempt in attempts)
    known = known._replace(detail=f"{count} attempts; {loss.detail}", readings=(*readings, *loss.readings))
    if count < demand.least and (loss.reason is not None or loss.low_tenth_mdb <= above < loss.high_tenth_mdb):
        return known._replace(reason=loss.reason or Reason.BOUND_TOO_WIDE)
    if loss.reason is None and loss.high_tenth_mdb <= above:
        return known._replace(outcome=Outcome.CONFORMING)
    limit = Limit.least(demand.least * PARTS, unit=Unit.COUNT, places=0)
    return known.held(count * PARTS, count * PARTS, limit)


def _judge_proof_test(_: ProofTest, splice: SpliceAct, known: Judgement) -> Judgement:
    passed = splice.proof_test_passed
    if passed is None:
        return _not_stated(known, "no proof test is stated")
    outcome = Outcome.CONFORMING if passed else Outcome.NONCONFORMING
    return known._replace(outcome=outcome, detail="proof test passed" if passed else "proof test not passed")


def _judge_certificate(_: Certificate, splice: SpliceAct, known: Judgement) -> Judgement:
    until = splice.certified_until
    if until is None:
        return _not_stated(known, "no certificate is stated")
    if splice.stamp.clock_is_flagged:
        # Of a wrong clock not even the day is known.
        return _order_not_proven(known)
    day = splice.stamp.made_at[:10]
    outcome = Outcome.CONFORMING if day <= until else Outcome.NONCONFORMING
    return known._replace(outcome=outcome, detail=f"spliced on {day}, certificate valid until {until}")


def _judge_method(_: FusionOnly, splice: SpliceAct, known: Judgement) -> Judgement:
    method = splice.method
    outcome = Outcome.CONFORMING if method is SpliceMethod.FUSION else Outcome.NONCONFORMING
    return known._replace(outcome=outcome, detail=f"{method} splice")


def _not_stated(known: Judgement, detail: str) -> Judgement:
    return known._replace(reason=Reason.WORK_NOT_STATED, detail=detail)


def _order_not_proven(known: Judgement) -> Judgement:
    return known._replace(reason=Reason.ORDER_NOT_PROVEN, detail=REASON_LABELS[Reason.ORDER_NOT_PROVEN])


_JUDGE: Mapping[type[Demand], Callable[[Any, SpliceAct, Judgement], Judgement]] = {
    CleaveAngle: _judge_cleave_angle,
    CleaveLength: _judge_cleave_length,
    SleeveLength: _judge_sleeve_length,
    ProofTest: _judge_proof_test,
    Certificate: _judge_certificate,
    FusionOnly: _judge_method,
}
