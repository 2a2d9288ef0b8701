"""The criteria about how splices were made, each about the latest attempt at a joint."""

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from typing import Any, NamedTuple

from service.vocabulary.criteria.words import Unit
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
from service.vocabulary.design.words import JointKind
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.findings.words import Outcome, Reason
from service.vocabulary.quantities import decimal_text
from service.vocabulary.records.words import SpliceMethod
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import CalibrationAct, SpliceAct
from worker.judgement.numbers.clocks import Stamp, instant_us, latest_is_proven, order_is_proven
from worker.judgement.numbers.exact import PARTS, limit_mdb, parts_text
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.rules.attempts import attempts_at, attempts_text, count_apart, documented_attempts, readings_of
from worker.judgement.rules.base import Rule
from worker.judgement.traces.places import Place
from worker.judgement.words import REASON_LABELS

_PARTS_OF_TENTH_MM, _PARTS_OF_HUNDREDTH_DEG = 10**11, 10**10
_US_PER_H = 3_600_000_000


class Spliced(NamedTuple):
    """A joint and the attempts at it in order of time; `known` is what is said of the latest so far."""

    fibre: FibreMeasured
    place: Place
    joint: Joint
    attempts: list[SpliceAct]
    known: Judgement

    @property
    def latest(self) -> SpliceAct:
        """The attempt that the demand is held against."""
        return self.attempts[-1]

    def not_stated(self, detail: str) -> Judgement:
        """Return that the record of the latest attempt does not say enough."""
        return self.known._replace(reason=Reason.WORK_NOT_STATED, detail=detail)

    def order_not_proven(self) -> Judgement:
        """Return that wrong clocks leave open what came first."""
        reason = Reason.ORDER_NOT_PROVEN
        return self.known._replace(reason=reason, detail=REASON_LABELS[reason])

    def decided(self, detail: str, *, is_good: bool) -> Judgement:
        """Return a decision that needs no limit."""
        outcome = Outcome.CONFORMING if is_good else Outcome.NONCONFORMING
        return self.known._replace(outcome=outcome, detail=detail)


class WorkmanshipRule(Rule[WorkmanshipCriterion]):
    """One demand on each splice."""

    def findings(self, fibre: FibreMeasured) -> Iterator[Finding]:
        """Give one finding for each splice."""
        for place, joint in self.joints(fibre, JointKind.SPLICE):
            yield self.joint_finding(fibre, joint, self._judge(fibre, place, joint))

    def _judge(self, fibre: FibreMeasured, place: Place, joint: Joint) -> Judgement:
        """Hold the latest attempt at a joint against the demand."""
        attempts = attempts_at(fibre, joint)
        if not attempts:
            return Judgement(Outcome.UNDETERMINED, Reason.NO_EVIDENCE, "no splice is recorded here")
        known = Judgement(Outcome.UNDETERMINED, None, "", readings=(RecordReading(attempts[-1].stamp.id),))
        spliced = Spliced(fibre, place, joint, attempts, known)
        if not latest_is_proven([attempt.stamp for attempt in attempts]):
            return spliced.order_not_proven()
        demand = self.criterion.demand
        return _JUDGE[type(demand)](demand, spliced)


def _judge_cleave_angle(demand: CleaveAngle, spliced: Spliced) -> Judgement:
    sides = [("left", spliced.latest.cleave_left_cdeg), ("right", spliced.latest.cleave_right_cdeg)]
    stated = [(cdeg, f"{side} cleave {decimal_text(cdeg, places=2)} deg") for side, cdeg in sides if cdeg is not None]
    if not stated:
        return spliced.not_stated("no cleave angle is stated")
    worst, detail = max(stated)[0] * _PARTS_OF_HUNDREDTH_DEG, ", ".join(said for _, said in stated)
    limit = Limit(to_parts(demand.limit_deg, places=2), unit=Unit.DEG)
    held = spliced.known._replace(detail=detail).held(worst, worst, limit)
    if len(stated) == 2 or held.outcome is Outcome.NONCONFORMING:
        return held
    missing = next(side for side, cdeg in sides if cdeg is None)
    return spliced.not_stated(f"no {missing} cleave angle is stated; {detail}")._replace(limit=limit)


def _judge_cleave_length(demand: CleaveLength, spliced: Spliced) -> Judgement:
    length_tenth_mm = spliced.latest.cleave_length_tenth_mm
    if length_tenth_mm is None:
        return spliced.not_stated("no cleave length is stated")
    value = length_tenth_mm * _PARTS_OF_TENTH_MM
    least, most = to_parts(demand.least_mm, places=1), to_parts(demand.most_mm, places=1)
    # The nearer bound is the one that matters: beyond it the other cannot be broken too.
    is_low = value - least < most - value
    limit = Limit(least if is_low else most, unit=Unit.MM, is_minimum=is_low)
    text = decimal_text(length_tenth_mm, places=1)
    detail = f"cleave length {text} mm, allowed {demand.least_mm:.1f} to {demand.most_mm:.1f} mm"
    return spliced.known._replace(detail=detail).held(value, value, limit)


def _judge_sleeve_length(demand: SleeveLength, spliced: Spliced) -> Judgement:
    length_tenth_mm = spliced.latest.sleeve_length_tenth_mm
    if length_tenth_mm is None:
        return spliced.not_stated("no sleeve length is stated")
    text = decimal_text(length_tenth_mm, places=1)
    allowed = [f"{length_mm:.1f}" for length_mm in demand.allowed_mm]
    return spliced.decided(f"sleeve {text} mm, allowed {' or '.join(allowed)} mm", is_good=text in allowed)


def _judge_attempts(demand: MostAttempts, spliced: Spliced) -> Judgement:
    # A crew that did not post the first attempts still numbers the last one.
    count = max(count_apart(spliced.fibre, spliced.joint), *(attempt.attempt for attempt in spliced.attempts))
    limit = Limit(demand.limit * PARTS, unit=Unit.COUNT, places=0)
    known = spliced.known._replace(detail=f"{count} attempts", readings=readings_of(spliced.attempts))
    return known.held(count * PARTS, count * PARTS, limit)


def _judge_attempts_above_loss(demand: AttemptsAboveLoss, spliced: Spliced) -> Judgement:
    # Only what was recorded one by one is documented, whatever number the last attempt bears.
    documented = documented_attempts(spliced.fibre, spliced.joint)
    count = len(documented)
    loss = spliced.fibre.loss_at(spliced.place, wavelength_nm=demand.wavelength_nm)
    above = limit_mdb(demand.loss_db) * 10
    readings = (*readings_of(spliced.attempts), *loss.readings)
    detail = f"{count} attempts documented, estimated {attempts_text(documented)}; {loss.detail}"
    known = spliced.known._replace(detail=detail, readings=readings)
    if count < demand.least and (loss.reason is not None or loss.low_tenth_mdb <= above < loss.high_tenth_mdb):
        return known._replace(reason=loss.reason or Reason.BOUND_TOO_WIDE)
    if loss.reason is None and loss.high_tenth_mdb <= above:
        return known._replace(outcome=Outcome.CONFORMING)
    limit = Limit(demand.least * PARTS, unit=Unit.COUNT, places=0, is_minimum=True)
    return known.held(count * PARTS, count * PARTS, limit)


def _judge_proof_test(_: ProofTest, spliced: Spliced) -> Judgement:
    passed = spliced.latest.proof_test_passed
    if passed is None:
        return spliced.not_stated("no proof test is stated")
    return spliced.decided("proof test passed" if passed else "proof test not passed", is_good=passed)


def _judge_certificate(_: Certificate, spliced: Spliced) -> Judgement:
    stamp, until = spliced.latest.stamp, spliced.latest.certified_until
    if until is None:
        return spliced.not_stated("no certificate is stated")
    if stamp.clock_is_flagged:
        # Of a wrong clock not even the day is known.
        return spliced.order_not_proven()
    day = stamp.made_at[:10]
    return spliced.decided(f"spliced on {day}, certificate valid until {until}", is_good=day <= until)


def _judge_method(_: FusionOnly, spliced: Spliced) -> Judgement:
    method = spliced.latest.method
    return spliced.decided(f"{method} splice", is_good=method is SpliceMethod.FUSION)


def _judge_calibration(demand: CalibratedSplicer, spliced: Spliced) -> Judgement:
    """Hold the age of the splicer's latest calibration before a splice against the most that is allowed."""
    stamp, serial = spliced.latest.stamp, spliced.latest.splicer_serial
    sections, index = spliced.fibre.layout.design.sections, spliced.joint.site_index
    # The fibres on both sides of the joint.
    types = {section.fibre_type for section in sections[max(index - 1, 0) : index + 1]}
    own = [
        act for act in spliced.fibre.history.calibrations if act.splicer_serial == serial and act.fibre_type in types
    ]
    if any(not order_is_proven(act.stamp, stamp) for act in own):
        return spliced.order_not_proven()
    before = [act for act in own if act.stamp.made_at < stamp.made_at]
    if not before:
        detail = f"no calibration of splicer {serial} for {' or '.join(sorted(types))} before the splice is recorded"
        return spliced.known._replace(reason=Reason.NO_EVIDENCE, detail=detail)
    calibration = before[-1]
    age_us = instant_us(stamp.made_at) - instant_us(calibration.stamp.made_at)
    age = Fraction(age_us * PARTS, _US_PER_H)
    detail = f"splicer {serial} was calibrated {parts_text(age, places=1)} h before"
    readings = (*spliced.known.readings, RecordReading(calibration.stamp.id))
    limit = Limit(to_parts(demand.most_age_h, places=1), unit=Unit.H)
    held = spliced.known._replace(detail=detail, readings=readings).held(age, age, limit)
    if not calibration.passed:
        return held._replace(outcome=Outcome.NONCONFORMING, detail=f"{detail}, and did not pass")
    if held.outcome is not Outcome.CONFORMING or not demand.again_after_move:
        return held
    return _judge_move(spliced, calibration, held)


def _judge_move(spliced: Spliced, calibration: CalibrationAct, held: Judgement) -> Judgement:
    """Tell whether a splicer was at another site between its calibration and a splice."""
    splice, site = spliced.latest, calibration.site
    if site not in {None, splice.site}:
        detail = f"{held.detail}, at {site}: not again after the move"
        return held._replace(outcome=Outcome.NONCONFORMING, detail=detail)
    elsewhere = [
        other
        for own in spliced.fibre.history.splices.values()
        for other in own
        if other.site != splice.site and other.splicer_serial == splice.splicer_serial
    ]
    if any(not _is_ordered(other.stamp, calibration.stamp, splice.stamp) for other in elsewhere):
        reason = Reason.ORDER_NOT_PROVEN
        return held._replace(outcome=Outcome.UNDETERMINED, reason=reason, detail=REASON_LABELS[reason])
    between = [other for other in elsewhere if calibration.stamp.made_at < other.stamp.made_at < splice.stamp.made_at]
    if between:
        detail = f"{held.detail}, and spliced at {between[-1].site} since: not calibrated again after the move"
        readings = (*held.readings, RecordReading(between[-1].stamp.id))
        return held._replace(outcome=Outcome.NONCONFORMING, detail=detail, readings=readings)
    return held


def _is_ordered(stamp: Stamp, first: Stamp, last: Stamp) -> bool:
    return order_is_proven(stamp, first) and order_is_proven(stamp, last)


_JUDGE: Mapping[type[Demand], Callable[[Any, Spliced], Judgement]] = {
    CalibratedSplicer: _judge_calibration,
    CleaveAngle: _judge_cleave_angle,
    CleaveLength: _judge_cleave_length,
    SleeveLength: _judge_sleeve_length,
    MostAttempts: _judge_attempts,
    AttemptsAboveLoss: _judge_attempts_above_loss,
    ProofTest: _judge_proof_test,
    Certificate: _judge_certificate,
    FusionOnly: _judge_method,
}
