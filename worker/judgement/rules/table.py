"""Which rule holds which kind of criterion."""

from collections.abc import Callable, Mapping
from typing import Any

from service.vocabulary.criteria.criteria import AnyCriterion, Criteria
from service.vocabulary.criteria.joints import (
    BendCriterion,
    ConnectionLossCriterion,
    EndFaceCriterion,
    JointStatisticCriterion,
    ReflectanceCriterion,
    SpliceDensityCriterion,
    SpliceLossCriterion,
    StrayLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.links import (
    AttenuationCoefficientCriterion,
    ChromaticDispersionCriterion,
    ContinuityCriterion,
    LengthCriterion,
    LinkAttenuationCriterion,
    PolarizationModeDispersionCriterion,
    RequiredTestCriterion,
    ReturnLossCriterion,
)
from service.vocabulary.criteria.workmanship import WorkmanshipCriterion
from service.vocabulary.design.layout import Layout
from service.vocabulary.words import Basis, Force
from worker.judgement.rules.base import Rule
from worker.judgement.rules.kinds.bends import BendRule
from worker.judgement.rules.kinds.coefficients import CoefficientRule
from worker.judgement.rules.kinds.continuity import ContinuityRule
from worker.judgement.rules.kinds.density import SpliceDensityRule
from worker.judgement.rules.kinds.dispersion import ChromaticDispersionRule, PolarizationModeDispersionRule
from worker.judgement.rules.kinds.end_faces import EndFaceRule
from worker.judgement.rules.kinds.estimates import EstimateRule
from worker.judgement.rules.kinds.joint_losses import ConnectionRule, SpliceRule, TerminationRule
from worker.judgement.rules.kinds.lengths import LengthRule
from worker.judgement.rules.kinds.links import LinkRule, RequiredTestRule
from worker.judgement.rules.kinds.reflectance import ReflectanceRule
from worker.judgement.rules.kinds.return_loss import return_loss_rule
from worker.judgement.rules.kinds.statistics import JointStatisticRule
from worker.judgement.rules.kinds.unexpected_events import UnexpectedLossRule
from worker.judgement.rules.kinds.workmanship import WorkmanshipRule

_RULES: Mapping[type[AnyCriterion], Callable[[Any, Layout], Rule[Any]]] = {
    TerminationLossCriterion: TerminationRule,
    ReflectanceCriterion: ReflectanceRule,
    JointStatisticCriterion: JointStatisticRule,
    StrayLossCriterion: UnexpectedLossRule,
    BendCriterion: BendRule,
    SpliceDensityCriterion: SpliceDensityRule,
    LinkAttenuationCriterion: LinkRule,
    AttenuationCoefficientCriterion: CoefficientRule,
    ReturnLossCriterion: return_loss_rule,
    LengthCriterion: LengthRule,
    ContinuityCriterion: ContinuityRule,
    EndFaceCriterion: EndFaceRule,
    ChromaticDispersionCriterion: ChromaticDispersionRule,
    PolarizationModeDispersionCriterion: PolarizationModeDispersionRule,
    WorkmanshipCriterion: WorkmanshipRule,
    RequiredTestCriterion: RequiredTestRule,
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
    match criterion:
        case SpliceLossCriterion(basis=Basis.ESTIMATE):
            return EstimateRule(criterion, layout)
        case SpliceLossCriterion():
            return SpliceRule(criterion, layout, terminations=terminations)
        case ConnectionLossCriterion():
            return ConnectionRule(criterion, layout, terminations=terminations)
        case _:
            return _RULES[type(criterion)](criterion, layout)
