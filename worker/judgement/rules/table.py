"""Which rule holds which kind of criterion."""

from collections.abc import Callable, Mapping
from typing import Any

from service.vocabulary.criteria.criteria import AnyCriterion, Criteria
from service.vocabulary.criteria.joints import (
    ConnectionLossCriterion,
    SpliceLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.words import Force, Quantity
from service.vocabulary.design.layout import Layout
from worker.judgement.rules.base import Rule
from worker.judgement.rules.kinds.bends import BendRule
from worker.judgement.rules.kinds.coefficients import CoefficientRule
from worker.judgement.rules.kinds.continuity import ContinuityRule
from worker.judgement.rules.kinds.density import SpliceDensityRule
from worker.judgement.rules.kinds.direction_differences import DirectionDifferenceRule
from worker.judgement.rules.kinds.dispersion import DispersionRule
from worker.judgement.rules.kinds.end_faces import EndFaceRule
from worker.judgement.rules.kinds.joint_losses import JointLossRule, TerminationRule
from worker.judgement.rules.kinds.lengths import LengthRule
from worker.judgement.rules.kinds.links import LinkRule, RequiredTestRule
from worker.judgement.rules.kinds.reel_differences import ReelDifferenceRule
from worker.judgement.rules.kinds.reference_age import ReferenceAgeRule
from worker.judgement.rules.kinds.reflectance import ReflectanceRule
from worker.judgement.rules.kinds.required_records import RequiredRecordRule
from worker.judgement.rules.kinds.return_loss import ReturnLossRule
from worker.judgement.rules.kinds.statistics import JointStatisticRule
from worker.judgement.rules.kinds.trace_settings import TraceSettingsRule
from worker.judgement.rules.kinds.unexpected_events import UnexpectedLossRule
from worker.judgement.rules.kinds.workmanship import WorkmanshipRule

# All but the losses of splices and mated pairs: their rule needs the limits for terminations too, which decide where a
# trace sees a joint only together with what lies beside it.
_RULES: Mapping[Quantity, Callable[[Any, Layout], Rule[Any]]] = {
    Quantity.TERMINATION_LOSS: TerminationRule,
    Quantity.DIRECTION_DIFFERENCE: DirectionDifferenceRule,
    Quantity.REFLECTANCE: ReflectanceRule,
    Quantity.JOINT_STATISTIC: JointStatisticRule,
    Quantity.STRAY_LOSS: UnexpectedLossRule,
    Quantity.BEND: BendRule,
    Quantity.SPLICE_DENSITY: SpliceDensityRule,
    Quantity.LINK_ATTENUATION: LinkRule,
    Quantity.REFERENCE_AGE: ReferenceAgeRule,
    Quantity.ATTENUATION_COEFFICIENT: CoefficientRule,
    Quantity.REEL_DIFFERENCE: ReelDifferenceRule,
    Quantity.RETURN_LOSS: ReturnLossRule,
    Quantity.LENGTH: LengthRule,
    Quantity.CONTINUITY: ContinuityRule,
    Quantity.END_FACE: EndFaceRule,
    Quantity.CHROMATIC_DISPERSION: DispersionRule,
    Quantity.POLARIZATION_MODE_DISPERSION: DispersionRule,
    Quantity.WORKMANSHIP: WorkmanshipRule,
    Quantity.REQUIRED_TEST: RequiredTestRule,
    Quantity.TRACE_SETTINGS: TraceSettingsRule,
    Quantity.REQUIRED_RECORD: RequiredRecordRule,
}


def rules_for(criteria: Criteria, layout: Layout) -> tuple[Rule[Any], ...]:
    """Return the rules of criteria in their order, ready for one layout."""
    terminations = [
        TerminationRule(criterion, layout)
        for criterion in criteria.criteria
        if isinstance(criterion, TerminationLossCriterion) and criterion.force is Force.REQUIRED
    ]
    return tuple(_rule(criterion, layout, terminations) for criterion in criteria.criteria)


def _rule(criterion: AnyCriterion, layout: Layout, terminations: list[TerminationRule]) -> Rule[Any]:
    if isinstance(criterion, SpliceLossCriterion | ConnectionLossCriterion):
        return JointLossRule(criterion, layout, terminations=terminations)
    return _RULES[criterion.quantity](criterion, layout)
