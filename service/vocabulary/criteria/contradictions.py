"""What criteria say about themselves, whatever route they meet: limits that exclude or empty each other."""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from service.vocabulary.criteria.base import LimitedDb
from service.vocabulary.criteria.criteria import AnyCriterion, Criteria
from service.vocabulary.criteria.joints import (
    BendCriterion,
    ConnectionLossCriterion,
    JointStatisticCriterion,
    SpliceLossCriterion,
    StrayLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.links import (
    AttenuationCoefficientCriterion,
    Budget,
    FixedLimit,
    LinkAttenuationCriterion,
    RequiredTestCriterion,
)
from service.vocabulary.criteria.redundant_criteria import redundancies_in
from service.vocabulary.criteria.report import CriteriaReport, Severity, holds_within
from service.vocabulary.criteria.required_tests import RequiredTest, required_tests_of
from service.vocabulary.quantities import decimal_text, to_last_place
from service.vocabulary.words import Basis, DecisionRule, Force

_LOSSES = (
    SpliceLossCriterion,
    ConnectionLossCriterion,
    TerminationLossCriterion,
    JointStatisticCriterion,
    StrayLossCriterion,
)
_TEST_LABELS = {"otdr": "OTDR traces", "attenuation": "attenuation tests", "return_loss": "return loss tests"}


class _Guarded(NamedTuple):
    """A limit that a true value is never below zero of, and its guard band, in 0.001 of their unit."""

    limit: int
    band: int
    unit: str


def contradictions_in(criteria: Criteria) -> list[CriteriaReport]:
    """Return what cannot be met, contradicts itself or decides nothing in criteria, whatever their route."""
    required = [one for one in criteria.criteria if one.force is Force.REQUIRED]
    return [
        *(report for criterion in criteria.criteria for report in _within(criterion)),
        *_terminations(required),
        *redundancies_in(required),
        *_bends(criteria.criteria),
        *_untested(required),
    ]


def _within(criterion: AnyCriterion) -> Iterator[CriteriaReport]:
    if isinstance(criterion, SpliceLossCriterion):
        yield from _splice_limits(criterion)
    if isinstance(criterion, LinkAttenuationCriterion):
        yield from _budget(criterion)
    guarded = _guarded(criterion)
    if guarded is None or guarded.limit >= guarded.band:
        return
    limit, band = (f"{decimal_text(one, places=3)} {guarded.unit}" for one in (guarded.limit, guarded.band))
    said = f"the limit {limit} less its guard band {band} is below zero"
    if criterion.decision is DecisionRule.GUARDED:  # type: ignore[union-attr]
        yield _report(criterion, severity=Severity.UNMEETABLE, detail=f"{said}, which no loss is")
    else:
        yield _report(criterion, severity=Severity.QUESTIONABLE, detail=f"{said}, so every pass is conditional")


def _splice_limits(criterion: SpliceLossCriterion) -> Iterator[CriteriaReport]:
    limit = _db(criterion.limit_db)
    if criterion.fallback is not None and _db(criterion.fallback.limit_db) <= limit:
        wider = f"the fallback limit {criterion.fallback.limit_db:.3f} dB is not above the limit"
        yield _report(criterion, severity=Severity.CONTRADICTORY, detail=f"{wider} {criterion.limit_db:.3f} dB")
    warnings = {"splicer's estimate": criterion.estimate_action_limit_db}
    if criterion.basis is Basis.ONE_WAY:
        # Beside a bidirectional limit a wider one is right: one direction also shows what differs between the fibres.
        warnings["one-way loss"] = criterion.one_way_action_limit_db
    for of, action_limit_db in warnings.items():
        if action_limit_db is not None and _db(action_limit_db) > limit:
            late = f"the action limit {action_limit_db:.3f} dB for the {of} is above the limit that it warns of"
            yield _report(criterion, severity=Severity.CONTRADICTORY, detail=f"{late}, {criterion.limit_db:.3f} dB")


def _budget(criterion: LinkAttenuationCriterion) -> Iterator[CriteriaReport]:
    least = criterion.least_attenuation_db_per_km
    if isinstance(criterion.limit, Budget) and _db(criterion.limit.attenuation_db_per_km) < _db(least):
        allowed = f"the budget allows {criterion.limit.attenuation_db_per_km:.3f} dB/km"
        detail = f"{allowed}, less than the {least:.3f} dB/km that the fibre alone has"
        yield _report(criterion, severity=Severity.QUESTIONABLE, detail=detail)


def _guarded(criterion: AnyCriterion) -> _Guarded | None:
    match criterion:
        case AttenuationCoefficientCriterion():
            limit, band, unit = criterion.limit_db_per_km, criterion.uncertainty_db_per_km, "dB/km"
        case LinkAttenuationCriterion(limit=FixedLimit(limit_db=limit)):
            band, unit = criterion.uncertainty_db, "dB"
        case LimitedDb() if isinstance(criterion, _LOSSES):
            limit, band, unit = criterion.limit_db, criterion.uncertainty_db, "dB"
        case _:
            return None
    if band is None or criterion.decision is DecisionRule.SIMPLE:
        return None
    return _Guarded(_db(limit), _db(band), unit)


def _terminations(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find terminations that may lose less together than a member of theirs may alone."""
    members = {SpliceLossCriterion: "splice", ConnectionLossCriterion: "connection"}
    for whole in required:
        if not isinstance(whole, TerminationLossCriterion):
            continue
        for part in required:
            if (
                isinstance(part, SpliceLossCriterion | ConnectionLossCriterion)
                and part.basis is Basis.BIDIRECTIONAL
                and part.wavelength_nm == whole.wavelength_nm
                and (
                    holds_within(whole.applies_when, part.applies_when)
                    or holds_within(part.applies_when, whole.applies_when)
                )
                and _db(whole.limit_db) < _db(part.limit_db)
            ):
                together = f"connection and splice together may lose {whole.limit_db:.3f} dB"
                detail = f"{together}, the {members[type(part)]} in it alone {part.limit_db:.3f} dB"
                yield CriteriaReport(criteria=(whole.code, part.code), severity=Severity.CONTRADICTORY, detail=detail)


def _bends(criteria: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    asked = _asked_for(criteria)
    for criterion in criteria:
        if isinstance(criterion, BendCriterion) and not asked.issuperset(required_tests_of(criterion)):
            both = f"{criterion.short_wavelength_nm} and {criterion.long_wavelength_nm} nm"
            detail = f"traces at {both} are not both required, and without either no bend is seen"
            yield _report(criterion, severity=Severity.QUESTIONABLE, detail=detail)


def _untested(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find tests that criteria are judged by and the required tests leave out; without any, nothing was left out."""
    asked = _asked_for(required)
    if not asked:
        return
    judged_by: dict[RequiredTest, list[str]] = {}
    for criterion in required:
        if not isinstance(criterion, RequiredTestCriterion | BendCriterion):
            for test in required_tests_of(criterion):
                judged_by.setdefault(test, []).append(criterion.code)
    for test, codes in judged_by.items():
        if test.name in _TEST_LABELS and test not in asked:
            detail = f"{_TEST_LABELS[test.name]} at {test.wavelength_nm} nm are not among the required tests"
            yield CriteriaReport(criteria=tuple(codes), severity=Severity.QUESTIONABLE, detail=detail)


def _asked_for(criteria: Iterable[AnyCriterion]) -> set[RequiredTest]:
    return {
        test
        for one in criteria
        if isinstance(one, RequiredTestCriterion) and one.force is Force.REQUIRED
        for test in required_tests_of(one)
    }


def _report(criterion: AnyCriterion, *, severity: Severity, detail: str) -> CriteriaReport:
    return CriteriaReport(criteria=(criterion.code,), severity=severity, detail=detail)


def _db(value_db: float) -> int:
    return to_last_place(value_db, places=3)
