"""Whether a splicer's arc was calibrated before a splice: not too long ago, passed, and where it stood."""

from fractions import Fraction

from service.vocabulary.criteria.workmanship import CalibratedSplicer
from service.vocabulary.design.layout import Joint
from service.vocabulary.findings.finding import RecordReading
from service.vocabulary.words import Outcome, Reason, Unit
from worker.judgement.fibre.findings import Judgement
from worker.judgement.fibre.measured import FibreMeasured
from worker.judgement.history.acts import CalibrationAct, SpliceAct
from worker.judgement.numbers.clocks import Stamp, age_us, order_is_proven
from worker.judgement.numbers.exact import PARTS, parts_text
from worker.judgement.numbers.limits import Limit, to_parts
from worker.judgement.words import REASON_LABELS

_US_PER_H = 3_600_000_000


def judge_calibration(
    demand: CalibratedSplicer, fibre: FibreMeasured, joint: Joint, splice: SpliceAct, known: Judgement
) -> Judgement:
    """Hold the age of the splicer's latest calibration before a splice against the most that is allowed."""
    serial, types = splice.splicer_serial, _fibre_types(fibre, joint)
    own = [act for act in fibre.history.calibrations if act.splicer_serial == serial and act.fibre_type in types]
    if any(not order_is_proven(act.stamp, splice.stamp) for act in own):
        return known._replace(reason=Reason.ORDER_NOT_PROVEN, detail=REASON_LABELS[Reason.ORDER_NOT_PROVEN])
    before = [act for act in own if act.stamp.made_at < splice.stamp.made_at]
    if not before:
        detail = f"no calibration of splicer {serial} for {' or '.join(sorted(types))} before the splice is recorded"
        return known._replace(reason=Reason.NO_EVIDENCE, detail=detail)
    latest = before[-1]
    readings = (*known.readings, RecordReading(latest.stamp.id))
    return _hold(demand, fibre, splice, latest, known._replace(readings=readings))


def _hold(
    demand: CalibratedSplicer, fibre: FibreMeasured, splice: SpliceAct, latest: CalibrationAct, known: Judgement
) -> Judgement:
    limit = Limit.most(to_parts(demand.most_age_h, places=1), unit=Unit.H)
    age = Fraction(age_us(earlier=latest.stamp.made_at, later=splice.stamp.made_at) * PARTS, _US_PER_H)
    spoken = f"splicer {latest.splicer_serial} was calibrated {parts_text(age, places=1)} h before"
    held = known._replace(detail=spoken).held(age, age, limit)
    if not latest.passed:
        return held._replace(outcome=Outcome.NONCONFORMING, detail=f"{spoken}, and did not pass")
    if held.outcome is not Outcome.CONFORMING or not demand.again_after_move:
        return held
    return _judge_move(fibre, splice, latest, held)


def _judge_move(fibre: FibreMeasured, splice: SpliceAct, latest: CalibrationAct, held: Judgement) -> Judgement:
    site = latest.site
    if site not in {None, splice.site}:
        return held._replace(
            outcome=Outcome.NONCONFORMING, detail=f"{held.detail}, at {site}: not again after the move"
        )
    elsewhere = [
        other
        for own in fibre.history.splices.values()
        for other in own
        if other.site != splice.site and other.splicer_serial == latest.splicer_serial
    ]
    if any(not _is_ordered(other.stamp, latest.stamp, splice.stamp) for other in elsewhere):
        reason = Reason.ORDER_NOT_PROVEN
        return held._replace(outcome=Outcome.UNDETERMINED, reason=reason, detail=REASON_LABELS[reason])
    between = [other for other in elsewhere if latest.stamp.made_at < other.stamp.made_at < splice.stamp.made_at]
    if between:
        detail = f"{held.detail}, and spliced at {between[-1].site} since: not calibrated again after the move"
        readings = (*held.readings, RecordReading(between[-1].stamp.id))
        return held._replace(outcome=Outcome.NONCONFORMING, detail=detail, readings=readings)
    return held


def _is_ordered(stamp: Stamp, first: Stamp, last: Stamp) -> bool:
    return order_is_proven(stamp, first) and order_is_proven(stamp, last)


def _fibre_types(fibre: FibreMeasured, joint: Joint) -> set[str]:
    """Return the fibre types of the sections on both sides of a joint."""
    sections = fibre.layout.design.sections
    return {section.fibre_type for section in sections[max(joint.site_index - 1, 0) : joint.site_index + 1]}
