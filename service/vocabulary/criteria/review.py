"""What criteria say about themselves, whatever route they meet: that they cannot be met, contradict or never decide.

All of it is reported, and the criteria are stored anyway.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria import joints, links
from service.vocabulary.criteria.base import AppliesWhen, Criterion, RequiredTest
from service.vocabulary.criteria.criteria import AnyCriterion, Criteria
from service.vocabulary.criteria.selection import can_meet, selects_within
from service.vocabulary.criteria.words import Basis, DecisionRule, Force, From, LinkStretch
from service.vocabulary.design.words import JointKind

_TEST_LABELS = {"otdr": "OTDR traces", "attenuation": "attenuation tests", "return_loss": "return loss tests"}
_OF_STRETCH = {LinkStretch.ROUTE: "", LinkStretch.SPAN: " of each span"}
_ENDS = {From.A: "from A", From.B: "from B", From.EITHER: "from one end", From.BOTH: "from both ends"}
# What two criteria about the same quantity may differ in, beside their limits and where they hold.
_OWN = ("code", "clause", "fallback", "estimate_action_limit_db", "one_way_action_limit_db")
_WHERE = ("applies_when", "at", "splicing", "joining")
_ALL_OF_THEM_PERCENT = 100.0


class Severity(StrEnum):
    """Whether nothing can conform, it is doubtful that anything is decided or kept, or limits exclude each other."""

    UNMEETABLE = "unmeetable"
    QUESTIONABLE = "questionable"
    CONTRADICTORY = "contradictory"


@dataclass(frozen=True, kw_only=True, slots=True)
class CriteriaReport:
    """Why criteria, one or several together by their codes, cannot be met, contradict each other or decide nothing."""

    criteria: tuple[str, ...]
    severity: Severity
    detail: str


def report_on(*criteria: Criterion, severity: Severity, detail: str) -> CriteriaReport:
    """Return a report on one criterion, or on several together."""
    return CriteriaReport(criteria=tuple(one.code for one in criteria), severity=severity, detail=detail)


def contradictions_in(criteria: Criteria) -> list[CriteriaReport]:
    """Return what cannot be met, contradicts itself or decides nothing in criteria, whatever their route."""
    required = [one for one in criteria.criteria if one.force is Force.REQUIRED]
    return [
        *(report for criterion in criteria.criteria for report in _within(criterion)),
        *_terminations(required),
        *_looser(required),
        *_redundant_statistics(required),
        *_bends(criteria.criteria),
        *_untested(required),
    ]


def _within(criterion: AnyCriterion) -> Iterator[CriteriaReport]:
    if isinstance(criterion, joints.SpliceLossCriterion):
        yield from _splice_limits(criterion)
    if isinstance(criterion, joints.PlaceLossCriterion):
        yield from _one_way_limit(criterion)
    if isinstance(criterion, links.LinkAttenuationCriterion):
        yield from _budget(criterion)
    limit, band = criterion.single_limit, criterion.guard_band
    # A true loss is never below zero, so nothing conforms beyond a guard band that takes in the whole limit.
    if not criterion.limits_loss or limit is None or band is None or limit >= band:
        return
    unit = "dB/km" if isinstance(criterion, links.AttenuationCoefficientCriterion) else "dB"
    said = f"the limit {limit:.3f} {unit} less its guard band {band:.3f} {unit} is below zero"
    if criterion.decision_rule is DecisionRule.GUARDED:
        yield report_on(criterion, severity=Severity.UNMEETABLE, detail=f"{said}, which no loss is")
    else:
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=f"{said}, so every pass is conditional")


def _splice_limits(criterion: joints.SpliceLossCriterion) -> Iterator[CriteriaReport]:
    limit_db = criterion.limit_db
    if criterion.fallback is not None and criterion.fallback.limit_db <= limit_db:
        wider = f"the fallback limit {criterion.fallback.limit_db:.3f} dB is not above the limit"
        yield report_on(criterion, severity=Severity.CONTRADICTORY, detail=f"{wider} {limit_db:.3f} dB")
    warnings = [("splicer's estimate", criterion.estimate_action_limit_db, limit_db)]
    if criterion.tested_from is not From.BOTH:
        # Beside a bidirectional limit a wider one is right: one direction also shows what differs between the fibres.
        warnings.append(("one-way loss", criterion.one_way_action_limit_db, criterion.limit_of_one_way_db))
    for of, action_limit_db, warned_of_db in warnings:
        if action_limit_db is not None and action_limit_db > warned_of_db:
            late = f"the action limit {action_limit_db:.3f} dB for the {of} is above the limit that it warns of"
            yield report_on(criterion, severity=Severity.CONTRADICTORY, detail=f"{late}, {warned_of_db:.3f} dB")


def _one_way_limit(criterion: joints.PlaceLossCriterion) -> Iterator[CriteriaReport]:
    limit_db, one_way_db = criterion.limit_db, criterion.one_way_limit_db
    if one_way_db is not None and one_way_db < limit_db:
        detail = f"one direction may show {one_way_db:.3f} dB, less than both together, {limit_db:.3f} dB"
        yield report_on(criterion, severity=Severity.CONTRADICTORY, detail=detail)


def _budget(criterion: links.LinkAttenuationCriterion) -> Iterator[CriteriaReport]:
    limit, least = criterion.limit, criterion.least_attenuation_db_per_km
    allows = min(limit.coefficients_db_per_km) if isinstance(limit, links.Budget) else least
    if least is not None and allows is not None and allows < least:
        allowed = f"the budget allows {allows:.3f} dB/km"
        detail = f"{allowed}, less than the {least:.3f} dB/km that the fibre alone has"
        yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=detail)
    unlike_db = limit.unlike_splice_db if isinstance(limit, links.Budget) else None
    if isinstance(limit, links.Budget) and unlike_db is not None and unlike_db < limit.splice_db:
        detail = f"a splice between two fibre types is allowed {unlike_db:.3f} dB, less than any other"
        yield report_on(criterion, severity=Severity.CONTRADICTORY, detail=f"{detail}, {limit.splice_db:.3f} dB")


def _terminations(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find terminations that may lose less together than a member of theirs may alone."""
    members = {joints.SpliceLossCriterion: "splice", joints.ConnectionLossCriterion: "connection"}
    for whole in required:
        if not (isinstance(whole, joints.TerminationLossCriterion) and whole.is_mean_of_both):
            continue
        for part in required:
            if (
                isinstance(part, joints.SpliceLossCriterion | joints.ConnectionLossCriterion)
                and part.is_mean_of_both
                and part.wavelength_nm == whole.wavelength_nm
                and can_meet(whole, part)
                and (
                    _applies_within(whole.applies_when, part.applies_when)
                    or _applies_within(part.applies_when, whole.applies_when)
                )
                and whole.limit_db < part.limit_db
            ):
                together = f"connection and splice together may lose {whole.limit_db:.3f} dB"
                detail = f"{together}, the {members[type(part)]} in it alone {part.limit_db:.3f} dB"
                yield report_on(whole, part, severity=Severity.CONTRADICTORY, detail=detail)


def _looser(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find criteria that never decide: wherever they hold another one does that is at least as strict."""
    alike: dict[bytes, list[AnyCriterion]] = {}
    for criterion in required:
        if criterion.single_limit is not None:
            same = criterion.model_dump(exclude={*_OWN, *_WHERE, str(criterion.limit_member)})
            alike.setdefault(canonical_json(same), []).append(criterion)
    for group in alike.values():
        # A limit that a fallback may widen leaves something to the others.
        firm = sorted((one for one in group if getattr(one, "fallback", None) is None), key=_allowance)
        for other in group:
            for strict in firm:
                if _decides_before(strict, other, group):
                    yield _redundant(other, because=strict)
                    break


def _decides_before(strict: AnyCriterion, other: AnyCriterion, group: Sequence[AnyCriterion]) -> bool:
    if strict is other or _allowance(strict) > _allowance(other) or not _holds_within(other, strict):
        return False
    # Of two that are one and the same in all but their code, the first decides.
    is_alike = _allowance(strict) == _allowance(other) and _holds_within(strict, other)
    is_later = group.index(strict) > group.index(other)
    return not (is_alike and is_later and getattr(other, "fallback", None) is None)


def _allowance(criterion: AnyCriterion) -> float:
    """Return a number that is smaller the stricter the limit of a criterion is."""
    limit = criterion.single_limit or 0.0
    return -limit if criterion.limit_is_least else limit


def _redundant_statistics(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find means and shares that hold by themselves where every single joint has to keep no wider a limit."""
    for statistic in required:
        if not isinstance(statistic, joints.JointStatisticCriterion):
            continue
        for every in required:
            if every is not statistic and _covers(every, statistic):
                yield _redundant(statistic, because=every)
                break


def _covers(every: AnyCriterion, statistic: joints.JointStatisticCriterion) -> bool:
    match every:
        case joints.SpliceLossCriterion(fallback=None, basis=Basis.TRACES):
            joint: JointKind = JointKind.SPLICE
        case joints.ConnectionLossCriterion():
            joint = JointKind.PAIR
        case joints.JointStatisticCriterion(statistic=joints.Statistic.SHARE_WITHIN, least_share_percent=share) if (
            share == _ALL_OF_THEM_PERCENT and statistic.statistic is joints.Statistic.MEAN
        ):
            joint = every.joint
        case _:
            return False
    return (
        joint is statistic.joint
        and _is_read_alike(every, statistic)
        and every.wavelength_nm == statistic.wavelength_nm
        and (every.decision, every.uncertainty_db) == (statistic.decision, statistic.uncertainty_db)
        and _holds_within(statistic, every)
        and every.limit_db <= statistic.limit_db
    )


def _is_read_alike(one: joints.PlaceLossCriterion, other: joints.PlaceLossCriterion) -> bool:
    how = [(each.tested_from, each.combination, each.one_way_limit_db) for each in (one, other)]
    return how[0] == how[1]


def _redundant(criterion: AnyCriterion, *, because: AnyCriterion) -> CriteriaReport:
    detail = f"{criterion.code} never decides: {because.code} is no less strict about the same"
    return report_on(criterion, because, severity=Severity.QUESTIONABLE, detail=detail)


def _bends(criteria: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    asked = _asked_for(criteria)
    for criterion in criteria:
        if isinstance(criterion, joints.BendCriterion) and not all(
            _covered(one, asked) for one in _of_whole(criterion)
        ):
            both = f"{criterion.short_wavelength_nm} and {criterion.long_wavelength_nm} nm"
            detail = f"traces at {both} are not both required, and without either no bend is seen"
            yield report_on(criterion, severity=Severity.QUESTIONABLE, detail=detail)


def _untested(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find tests that criteria are judged by and the required tests leave out; without any, nothing was left out."""
    asked = _asked_for(required)
    if not asked:
        return
    judged_by: dict[RequiredTest, list[AnyCriterion]] = {}
    for criterion in required:
        if not isinstance(criterion, links.RequiredTestCriterion | joints.BendCriterion):
            for test in _of_whole(criterion):
                judged_by.setdefault(test, []).append(criterion)
    for test, criteria in judged_by.items():
        if test.name in _TEST_LABELS and not _covered(test, asked):
            is_half_asked = any(one[:3] == test[:3] for one in asked)
            ends = f" {_ENDS[test.tested_from]}" if is_half_asked else ""
            named = f"{_TEST_LABELS[test.name]} at {test.wavelength_nm} nm{_OF_STRETCH[test.over]}{ends}"
            detail = f"{named} are not among the required tests"
            yield report_on(*criteria, severity=Severity.QUESTIONABLE, detail=detail)


def _covered(test: RequiredTest, asked: Iterable[RequiredTest]) -> bool:
    return any(one.covers(test) for one in asked)


def _asked_for(criteria: Iterable[AnyCriterion]) -> set[RequiredTest]:
    asked = {
        test
        for one in criteria
        if isinstance(one, links.RequiredTestCriterion) and one.force is Force.REQUIRED
        for test in _of_whole(one)
    }
    # Traces of the spans join up from end to end.
    return asked | {test._replace(over=LinkStretch.ROUTE) for test in asked if test.name == "otdr"}


def _of_whole(criterion: AnyCriterion) -> Iterator[RequiredTest]:
    """Give the tests of a criterion; as far as a link is joined is the whole route in the end."""
    for test in criterion.required_tests:
        yield test._replace(over=LinkStretch.ROUTE) if test.over is LinkStretch.JOINED else test


def _holds_within(inner: Criterion, outer: Criterion) -> bool:
    """Tell whether one criterion surely holds wherever another does; bounds that merely overlap are not compared."""
    return _applies_within(inner.applies_when, outer.applies_when) and selects_within(inner, outer)


def _applies_within(inner: AppliesWhen | None, outer: AppliesWhen | None) -> bool:
    return outer is None or inner == outer
