"""Criteria in words: what each holds, how it takes uncertainty into account, and where it applies."""

from collections.abc import Mapping

from service.vocabulary.criteria.base import Criterion, Tested
from service.vocabulary.criteria.criteria import AnyCriterion
from service.vocabulary.criteria.joints import (
    EndFaceCriterion,
    Fallback,
    JointStatisticCriterion,
    PlaceLossCriterion,
    ReflectanceCriterion,
    SpliceLossCriterion,
    Statistic,
)
from service.vocabulary.criteria.links import Budget, FixedLimit, LinkAttenuationCriterion, ReturnLossCriterion
from service.vocabulary.criteria.trace_settings import TraceSettingsCriterion
from service.vocabulary.criteria.words import Basis, Combination, DecisionRule, From, LinkStretch, Quantity
from service.vocabulary.criteria.workmanship import (
    CalibratedSplicer,
    Demand,
    MostAttempts,
    RequiredRecordCriterion,
    SleeveLength,
    WorkmanshipCriterion,
)
from service.vocabulary.design.words import JointKind
from worker.package.phrases import count_text, words
from worker.package.wording.values import texts_of

# How the words of a member are said; those that are not here are said as they are.
_PHRASES: Mapping[str, Mapping[str, str]] = {
    "joint": {"pair": "mated pair"},
    "test": {
        "otdr": "an OTDR trace",
        "attenuation": "an attenuation test by source and meter",
        "return_loss": "a return loss test",
    },
    "far_end": {
        "angled": ", with an angled connector",
        "absorbed": ", with the light absorbed",
        "open": ", with the far end open",
    },
}
_WAYS = {
    (From.BOTH, Combination.MEAN): "mean of both directions",
    (From.BOTH, Combination.WORSE): "worse of both directions",
    (From.EITHER, Combination.MEAN): "mean of both directions, or what one shows where only one is there,",
    (From.EITHER, Combination.WORSE): "worse of the directions there are",
    (From.A, Combination.MEAN): "what is read from A",
    (From.B, Combination.MEAN): "what is read from B",
    (From.A, Combination.WORSE): "what is read from A",
    (From.B, Combination.WORSE): "what is read from B",
}
_DIRECTIONS = {
    From.BOTH: "in both directions",
    From.EITHER: "in one direction at least",
    From.A: "from A",
    From.B: "from B",
}
_ENDS = {
    From.BOTH: "at each end",
    From.EITHER: "at each end that it is tested from, one at least,",
    From.A: "at A",
    From.B: "at B",
}
_RULES = {DecisionRule.GUARDED: "guarded", DecisionRule.FOUR_WAY: "by the four-way rule"}
_HELD = {
    Quantity.SPLICE_LOSS: "{ways} at most {limit_db} dB{one_way}{fallback}{action_limits}",
    Quantity.CONNECTION_LOSS: "{ways} at most {limit_db} dB{one_way}",
    Quantity.TERMINATION_LOSS: "{ways} at most {limit_db} dB{one_way}",
    Quantity.DIRECTION_DIFFERENCE: "both directions of each splice in a closure at most {limit_db} dB apart",
    Quantity.REFLECTANCE: "reflectance of each {event} {directions} at most {limit_db} dB",
    Quantity.STRAY_LOSS: "loss where no joint stands at most {limit_db} dB, by traces {directions}",
    Quantity.BEND: "a bend where a place loses more than {limit_db} dB and {ratio} times as much at "
    "{long_wavelength_nm} nm as at {short_wavelength_nm} nm, by traces {directions}",
    Quantity.SPLICE_DENSITY: "at most {limit_per_km} splices a kilometre of span, terminations not counted",
    Quantity.END_FACE: "both end faces of each mated pair {accepts}",
    Quantity.REQUIRED_TEST: "{test} {directions}{over}",
    Quantity.LINK_ATTENUATION: "{ways}{over} at most {limit}; {how}",
    Quantity.REFERENCE_AGE: "source and meter{over} referenced at most {limit_h} h before the test, both ways",
    Quantity.ATTENUATION_COEFFICIENT: "the fibre's own loss at most {limit_db_per_km} dB/km in each {over} of at least "
    "{least_length_m} m, {ways}",
    Quantity.REEL_DIFFERENCE: "the fibre's own loss, mean of both directions, in each section of at least "
    "{least_length_m} m at most {limit_db_per_km} dB/km more than on its reel",
    Quantity.RETURN_LOSS: "{basis} {ends}{over} at least {limit_db} dB{far_end}",
    Quantity.LENGTH: "fibre length of each span within {limit_percent} % of the design, by traces {directions}",
    Quantity.CONTINUITY: "the fibre lit at one end is the fibre seen at the other",
    Quantity.CHROMATIC_DISPERSION: "at most {limit_ps_per_nm} ps/nm, whatever its sign",
    Quantity.POLARIZATION_MODE_DISPERSION: "at most {limit_ps} ps",
    Quantity.WORKMANSHIP: "{demand}",
    Quantity.TRACE_SETTINGS: "{directions} one trace that counts {settings}",
}
_RECORDS = {
    None: "the record of each splice and of each termination of the plan",
    JointKind.SPLICE: "the record of each splice of the plan",
    JointKind.PAIR: "the record of each termination of the plan",
}
_STATISTICS = {
    Statistic.MEAN: "the average over the {joint}s of each {over} ({ways}) at most {limit_db} dB{one_way}",
    Statistic.SHARE_WITHIN: "at least {least_share_percent} % of the {joint}s of each {over} ({ways}) within "
    "{limit_db} dB{one_way}",
}
_POPULATIONS = {"fibre": "fibre", "span": "span of a fibre", "site": "site", "route": "segment"}
_BY_INSTRUMENT = "pass by the instrument by IEC 61300-3-35:{edition}, each image named"
_ACCEPTS = {
    "zones": "keep the zones of IEC 61300-3-35:{edition}, as counted",
    "instrument": _BY_INSTRUMENT,
    "either": f"keep the zones of IEC 61300-3-35:{{edition}}, as counted, or {_BY_INSTRUMENT}; neither may say a fail",
}
_OVER = {
    LinkStretch.ROUTE: "",
    LinkStretch.SPAN: " of each span from panel to panel",
    LinkStretch.JOINED: " of the link as far as its segments are joined",
}
_LINK_LIMITS = {
    "fixed": "{limit_db} dB",
    "budget": "the budget: {fibre}, {splice_db} dB a splice{unlike}, {connection_db} dB a "
    "connection that the reference includes, {other_db} dB other",
}
_ONE_WAY = "both end connections counted, with what the glass at both ends scatters unlike; one that is not seen"
_TRACED = {
    From.BOTH: "from both ends, both end connections counted; one that is not seen from both ends",
    From.EITHER: f"from one end at least, {_ONE_WAY}",
    From.A: f"from A, {_ONE_WAY}",
    From.B: f"from B, {_ONE_WAY}",
}
_TOO_LOW = {
    True: "a loss below {least_attenuation_db_per_km} dB/km of fibre by more than its uncertainty of {uncertainty_db} "
    "dB is set aside",
    False: "its uncertainty is {uncertainty_db} dB, and no loss is set aside for being too low",
}
_SETTINGS = {
    "least_averaging_s": "is averaged for at least {least_averaging_s} s",
    "most_loss_threshold_db": "has a loss threshold of at most {most_loss_threshold_db} dB",
    "least_range_ratio": "has a range of at least {least_range_ratio} times its fibre and cords",
    "most_range_ratio": "has a range of at most {most_range_ratio} times its fibre and cords",
}
_DEMANDS = {
    "calibrated_splicer": "the splicer's arc calibrated at most {most_age_h} h before{moved}",
    "cleave_angle": "cleave angle at most {limit_deg} degrees on both sides",
    "cleave_length": "cleave length from {least_mm} to {most_mm} mm",
    "sleeve_length": "sleeve of {allowed} mm",
    "attempts": "at most {attempts} at a joint",
    "attempts_above_loss": "at least {least} documented attempts where the mean of both directions at {wavelength_nm} "
    "nm is above {loss_db} dB",
    "proof_test": "proof test passed",
    "certificate": "the splicing person's certificate valid on the day",
    "fusion": "fusion splices only",
}


def held_text(criterion: AnyCriterion) -> str:
    """Return what a criterion holds."""
    said = {name: _PHRASES.get(name, {}).get(text, text) for name, text in texts_of(criterion).items()}
    if isinstance(criterion, Tested):
        said |= _from_texts(criterion)
    if isinstance(getattr(criterion, "over", None), LinkStretch):
        said["over"] = _OVER[criterion.link_stretch]
    match criterion:
        case SpliceLossCriterion():
            said["fallback"] = _fallback_text(criterion.fallback)
            said["action_limits"] = _action_limits_text(criterion)
        case JointStatisticCriterion():
            return _STATISTICS[criterion.statistic].format_map({**said, "over": _POPULATIONS[criterion.over]})
        case LinkAttenuationCriterion():
            said["limit"] = _link_limit_text(criterion.limit)
            said["how"] = _how_text(criterion, said)
        case EndFaceCriterion():
            said["accepts"] = _ACCEPTS[criterion.accepts].format_map(said)
        case ReflectanceCriterion():
            said["event"] = said.get("joint", "event, echoes apart,")
        case ReturnLossCriterion():
            said.setdefault("far_end", "")
        case RequiredRecordCriterion():
            return _RECORDS[criterion.joint]
        case WorkmanshipCriterion():
            said["demand"] = _demand_text(criterion.demand)
        case TraceSettingsCriterion():
            said["settings"] = _settings_text(criterion)
    return _HELD[criterion.quantity].format_map(said)


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


def ways_text(criterion: PlaceLossCriterion) -> str:
    """Return from what a loss at a joint is taken."""
    if isinstance(criterion, SpliceLossCriterion) and criterion.basis is Basis.ESTIMATE:
        return "the splicer's estimate"
    return _WAYS[criterion.tested_from, criterion.combination]


def _from_texts(criterion: Tested) -> Mapping[str, str]:
    """Return from which ends a quantity is tested, for a sentence about either, and what one of them may show."""
    tested_from, one_way = criterion.tested_from, texts_of(criterion).get("one_way_limit_db")
    if isinstance(criterion, PlaceLossCriterion):
        ways = ways_text(criterion)
    else:
        ways = _WAYS[tested_from, getattr(criterion, "combination", Combination.MEAN)]
    return {
        "ways": ways,
        "directions": _DIRECTIONS[tested_from],
        "ends": _ENDS[tested_from],
        "one_way": "" if one_way is None else f", {one_way} dB where it is read from one end only",
    }


def _fallback_text(fallback: Fallback | None) -> str:
    if fallback is None:
        return ""
    return (
        f"; after {fallback.attempts} documented attempts at most {texts_of(fallback)['limit_db']} dB, listed as out "
        "of specification"
    )


def _action_limits_text(criterion: SpliceLossCriterion) -> str:
    text = texts_of(criterion)
    named = (("estimate_action_limit_db", "estimate"), ("one_way_action_limit_db", "one way"))
    texts = [f"{name} {text[member]} dB" for member, name in named if member in text]
    return f"; while the closure is open: {', '.join(texts)}" if texts else ""


def _link_limit_text(limit: FixedLimit | Budget) -> str:
    said = dict(texts_of(limit))
    if isinstance(limit, Budget):
        own = [texts_of(one) for one in limit.by_fibre_type]
        texts = [f"{one['attenuation_db_per_km']} dB/km of {one['fibre_type']} fibre" for one in own]
        if limit.attenuation_db_per_km is not None:
            texts.append(f"{said['attenuation_db_per_km']} dB/km of {'other ' if own else ''}fibre")
        said["fibre"] = ", ".join(texts)
        unlike = said.get("unlike_splice_db")
        said["unlike"] = "" if unlike is None else f", {unlike} dB one between two fibre types"
    return _LINK_LIMITS[limit.kind].format_map(said)


def _how_text(criterion: LinkAttenuationCriterion, said: Mapping[str, str]) -> str:
    """Return how a link's loss is measured."""
    if criterion.basis == "otdr":
        return (
            f"by OTDR {_TRACED[criterion.tested_from]} only adds to it; its uncertainty is {said['uncertainty_db']} dB"
        )
    too_low = _TOO_LOW[criterion.least_attenuation_db_per_km is not None].format_map(said)
    return f"referenced with {_cords_text(criterion.reference_cords)}; {too_low}"


def _cords_text(cords: int | None) -> str:
    return "any number of cords, the same both ways" if cords is None else count_text(cords, one="cord", many="cords")


def _demand_text(demand: Demand) -> str:
    said = dict(texts_of(demand))
    match demand:
        case CalibratedSplicer():
            said["moved"] = " and again after a move" if demand.again_after_move else ""
        case SleeveLength():
            said["allowed"] = " or ".join(demand.model_dump()["allowed_mm"])
        case MostAttempts():
            said["attempts"] = count_text(demand.limit, one="attempt", many="attempts")
    return _DEMANDS[demand.aspect].format_map(said)


def _settings_text(criterion: TraceSettingsCriterion) -> str:
    text = texts_of(criterion)
    pulses = [texts_of(one) for one in criterion.pulses]
    texts = [f"over at most {one['up_to_m']} m of fibre has a pulse of at most {one['most_ns']} ns" for one in pulses]
    texts += [said.format_map(text) for member, said in _SETTINGS.items() if member in text]
    if criterion.states:
        texts.append(f"states its {', '.join(words(one) for one in criterion.states)}")
    return "; ".join(texts)
