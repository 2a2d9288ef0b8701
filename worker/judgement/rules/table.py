"""Which rule holds which kind of criterion."""

from collections.abc import Callable, Mapping
from typing import Any

from service.vocabulary.criteria import AnyCriterion, Criteria
from service.vocabulary.joint_criteria import (
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
from service.vocabulary.layout import Layout
from service.vocabulary.link_criteria import (
    AttenuationCoefficientCriterion,
    ChromaticDispersionCriterion,
    ContinuityCriterion,
    LengthCriterion,
    LinkAttenuationCriterion,
    PolarizationModeDispersionCriterion,
    RequiredTestCriterion,
    ReturnLossCriterion,
)
from service.vocabulary.words import Basis, Force
from service.vocabulary.workmanship_criteria import WorkmanshipCriterion
from worker.judgement.rules.base import Rule
from worker.judgement.rules.bends import BendRule
from worker.judgement.rules.coefficients import CoefficientRule
from worker.judgement.rules.connections import ConnectionRule
from worker.judgement.rules.continuity import ContinuityRule
from worker.judgement.rules.density import SpliceDensityRule
from worker.judgement.rules.dispersion import ChromaticDispersionRule, PolarizationModeDispersionRule
from worker.judgement.rules.end_faces import EndFaceRule
from worker.judgement.rules.estimates import EstimateRule
from worker.judgement.rules.lengths import LengthRule
from worker.judgement.rules.links import LinkRule, RequiredTestRule
from worker.judgement.rules.reflectance import ReflectanceRule
from worker.judgement.rules.return_loss import return_loss_rule
from worker.judgement.rules.splices import SpliceRule
from worker.judgement.rules.statistics import JointStatisticRule
from worker.judgement.rules.stray import StrayLossRule
from worker.judgement.rules.terminations import TerminationRule
from worker.judgement.rules.workmanship import WorkmanshipRule

_RULES: Mapping[type[AnyCriterion], Callable[[Any, Layout], Rule[Any]]] = {
    TerminationLossCriterion: TerminationRule,
    ReflectanceCriterion: ReflectanceRule,
    JointStatisticCriterion: JointStatisticRule,
    StrayLossCriterion: StrayLossRule,
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
