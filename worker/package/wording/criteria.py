"""Criteria in words: what each holds, how it takes uncertainty into account, and where it applies."""

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.criteria import AnyCriterion
from service.vocabulary.criteria.joints import (
    ConnectionLossCriterion,
    Fallback,
    JointStatisticCriterion,
    ReflectanceCriterion,
    SpliceLossCriterion,
    Statistic,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.links import (
    Budget,
    FixedLimit,
    LinkAttenuationCriterion,
    RequiredTestCriterion,
    ReturnLossCriterion,
)
from service.vocabulary.criteria.workmanship import (
    AttemptsAboveLoss,
    CalibratedSplicer,
    Demand,
    MostAttempts,
    SleeveLength,
    WorkmanshipCriterion,
)
from service.vocabulary.words import Basis, DecisionRule, Quantity
from worker.package.phrases import count_text
from worker.package.wording.values import texts_of

_BASIS = {
    Basis.BIDIRECTIONAL: "mean of both directions",
    Basis.ONE_WAY: "each one-way reading there is",
    Basis.EACH_WAY: "the reading in each direction",
    Basis.ESTIMATE: "the splicer's estimate",
}
_OF_JOINT = {"splice": "of each splice", "pair": "of each mated pair"}
_JOINTS = {"splice": "splices", "pair": "mated pairs"}
_OVER = {
    "fibre": "of each fibre",
    "span": "of each span of a fibre",
    "site": "of each site",
    "route": "of each segment",
}
_TESTS = {
    "otdr": "an OTDR trace",
    "attenuation": "an attenuation test by source and meter",
    "return_loss": "a return loss test",
}
_COMBINED = {"mean": "mean of both directions", "worse": "worse of both directions"}
_FAR_END = {"angled": "an angled connector", "absorbed": "the light absorbed", "open": "the far end open"}
_AT = {"closures": "in closures", "terminations": "at terminations", "everywhere": "everywhere"}
_RULES = {DecisionRule.GUARDED: "guarded", DecisionRule.FOUR_WAY: "by the four-way rule"}
_TEMPLATES = {
    Quantity.STRAY_LOSS: "loss where no joint stands at most {limit_db} dB",
    Quantity.BEND: "a bend where a place loses more than {limit_db} dB and {ratio} times as much at "
    "{long_wavelength_nm} nm as at {short_wavelength_nm} nm",
    Quantity.SPLICE_DENSITY: "at most {limit_per_km} splices a kilometre of span, terminations not counted",
    Quantity.END_FACE: "both end faces of each mated pair keep the zones of IEC 61300-3-35:{edition}",
    Quantity.ATTENUATION_COEFFICIENT: "the fibre's own loss at most {limit_db_per_km} dB/km in each {over} of at least "
    "{least_length_m} m, mean of both directions",
    Quantity.LENGTH: "fibre length of each span within {limit_percent} % of the design",
    Quantity.CONTINUITY: "the fibre lit at one end is the fibre seen at the other",
    Quantity.CHROMATIC_DISPERSION: "at most {limit_ps_per_nm} ps/nm, whatever its sign",
    Quantity.POLARIZATION_MODE_DISPERSION: "at most {limit_ps} ps",
}
_DEMANDS = {
    "cleave_angle": "cleave angle at most {limit_deg} degrees on both sides",
    "cleave_length": "cleave length from {least_mm} to {most_mm} mm",
    "proof_test": "proof test passed",
    "certificate": "the splicing person's certificate valid on the day",
    "fusion": "fusion splices only",
}


def held_text(criterion: AnyCriterion) -> str:
    """Return what a criterion holds."""
    text = texts_of(criterion)
    match criterion:
        case SpliceLossCriterion():
            loss = f"{_BASIS[criterion.basis]} at most {text['limit_db']} dB"
            held = f"{loss}{_fallback_text(criterion.fallback)}{_action_limits_text(criterion)}"
        case ConnectionLossCriterion():
            held = f"{_BASIS[criterion.basis]} at most {text['limit_db']} dB"
        case TerminationLossCriterion():
            held = f"{_BASIS[Basis.BIDIRECTIONAL]} at most {text['limit_db']} dB"
        case ReflectanceCriterion():
            held = f"reflectance {_OF_JOINT[criterion.joint]}, the worse direction, at most {text['limit_db']} dB"
        case JointStatisticCriterion():
            held = _statistic_text(criterion)
        case RequiredTestCriterion():
            held = f"{_TESTS[criterion.test]} in both directions"
        case LinkAttenuationCriterion():
            limit = _link_limit_text(criterion.limit)
            held = f"{_COMBINED[criterion.combination]} at most {limit}; {_link_conditions_text(criterion)}"
        case ReturnLossCriterion():
            far_end = "" if criterion.far_end is None else f", with {_FAR_END[criterion.far_end]}"
            held = f"{criterion.basis} at each end at least {text['limit_db']} dB{far_end}"
        case WorkmanshipCriterion():
            held = f"{_demand_text(criterion.demand)}, {_AT[criterion.at]}"
        case _:
            held = _TEMPLATES[criterion.quantity].format_map(text)
    return held


def decision_text(criterion: Criterion) -> str:
    """Return the rule that takes uncertainty into account; where it is not the simple one it is an explicit choice."""
    text = texts_of(criterion)
    band = text.get("uncertainty_db") or text.get("uncertainty_db_per_km")
    rule = DecisionRule(text.get("decision", DecisionRule.SIMPLE))
    # A link's uncertainty is told with what it is always used for.
    is_told = criterion.quantity is Quantity.LINK_ATTENUATION
    if rule is DecisionRule.SIMPLE:
        return f"; uncertainty {band}, not taken into account" if band and not is_told else ""
    return f"; {_RULES[rule]} with a guard band of {band}"


def where_text(criterion: Criterion) -> str:
    """Return in which spans a criterion applies, where it does not apply in all."""
    if criterion.applies_when is None:
        return ""
    bounds, texts = texts_of(criterion.applies_when), []
    if "least_span_m" in bounds:
        texts.append(f"in spans of at least {bounds['least_span_m']} m")
    if "most_span_m" in bounds:
        texts.append(f"in spans of at most {bounds['most_span_m']} m")
    if criterion.applies_when.fibre_types:
        texts.append(f"on fibre of type {' or '.join(criterion.applies_when.fibre_types)}")
    return f"; {', '.join(texts)}"


def _fallback_text(fallback: Fallback | None) -> str:
    if fallback is None:
        return ""
    return (
        f"; after {fallback.attempts} documented attempts at most {texts_of(fallback)['limit_db']} dB, listed as out "
        "of specification"
    )


def _action_limits_text(criterion: SpliceLossCriterion) -> str:
    named, text = (
        (("estimate_action_limit_db", "estimate"), ("one_way_action_limit_db", "one way")),
        texts_of(criterion),
    )
    texts = [f"{name} {text[member]} dB" for member, name in named if member in text]
    return f"; while the closure is open: {', '.join(texts)}" if texts else ""


def _statistic_text(criterion: JointStatisticCriterion) -> str:
    text = texts_of(criterion)
    joints = f"the {_JOINTS[criterion.joint]} {_OVER[criterion.over]} ({_BASIS[criterion.basis]})"
    if criterion.statistic is Statistic.MEAN:
        return f"the average over {joints} at most {text['limit_db']} dB"
    return f"at least {text['least_share_percent']} % of {joints} within {text['limit_db']} dB"


def _link_limit_text(limit: FixedLimit | Budget) -> str:
    text = texts_of(limit)
    if isinstance(limit, FixedLimit):
        return f"{text['limit_db']} dB"
    return (
        f"the budget: {text['attenuation_db_per_km']} dB/km of fibre, {text['splice_db']} dB a splice, "
        f"{text['connection_db']} dB a connection that the reference includes, {text['other_db']} dB other"
    )


def _link_conditions_text(criterion: LinkAttenuationCriterion) -> str:
    cords, text = criterion.reference_cords, texts_of(criterion)
    asked = "any number of cords, the same both ways" if cords is None else count_text(cords, one="cord", many="cords")
    return (
        f"referenced with {asked}; a loss below {text['least_attenuation_db_per_km']} dB/km of fibre by more than "
        f"its uncertainty of {text['uncertainty_db']} dB is set aside"
    )


def _demand_text(demand: Demand) -> str:
    text = texts_of(demand)
    match demand:
        case CalibratedSplicer():
            moved = " and again after a move" if demand.again_after_move else ""
            return f"the splicer's arc calibrated at most {text['most_age_h']} h before{moved}"
        case SleeveLength():
            return f"sleeve of {' or '.join(demand.model_dump()['allowed_mm'])} mm"
        case MostAttempts():
            return f"at most {count_text(demand.limit, one='attempt', many='attempts')} at a joint"
        case AttemptsAboveLoss():
            return (
                f"at least {demand.least} documented attempts where the mean of both directions at "
                f"{demand.wavelength_nm} nm is above {text['loss_db']} dB"
            )
        case _:
            return _DEMANDS[demand.aspect].format_map(text)
