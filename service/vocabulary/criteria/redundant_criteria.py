"""Required criteria that never decide, because another one is at least as strict about the same thing."""

from collections.abc import Iterator, Mapping, Sequence

from service.vocabulary.canonical import canonical_json
from service.vocabulary.criteria.criteria import AnyCriterion
from service.vocabulary.criteria.joints import (
    BendCriterion,
    ConnectionLossCriterion,
    JointStatisticCriterion,
    ReflectanceCriterion,
    SpliceDensityCriterion,
    SpliceLossCriterion,
    Statistic,
    StrayLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.links import (
    AttenuationCoefficientCriterion,
    ChromaticDispersionCriterion,
    FixedLimit,
    LengthCriterion,
    LinkAttenuationCriterion,
    PolarizationModeDispersionCriterion,
    ReturnLossCriterion,
)
from service.vocabulary.criteria.report import CriteriaReport, Severity, holds_within
from service.vocabulary.words import Basis, JointKind

_LIMIT_OF: Mapping[type[AnyCriterion], str] = {
    SpliceLossCriterion: "limit_db",
    ConnectionLossCriterion: "limit_db",
    TerminationLossCriterion: "limit_db",
    JointStatisticCriterion: "limit_db",
    ReflectanceCriterion: "limit_db",
    StrayLossCriterion: "limit_db",
    BendCriterion: "limit_db",
    SpliceDensityCriterion: "limit_per_km",
    LinkAttenuationCriterion: "limit",
    AttenuationCoefficientCriterion: "limit_db_per_km",
    ReturnLossCriterion: "limit_db",
    LengthCriterion: "limit_percent",
    ChromaticDispersionCriterion: "limit_ps_per_nm",
    PolarizationModeDispersionCriterion: "limit_ps",
}
# What two criteria about the same thing may differ in.
_OWN = ("code", "clause", "fallback", "estimate_action_limit_db", "one_way_action_limit_db")
_ALL_OF_THEM_PERCENT = 100.0


def redundancies_in(required: Sequence[AnyCriterion]) -> list[CriteriaReport]:
    """Return those of some required criteria that another makes redundant, each with the one that does."""
    return [*_looser(required), *_redundant_statistics(required)]


def _looser(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    alike: dict[bytes, list[AnyCriterion]] = {}
    for criterion in required:
        if _strictness(criterion) is not None:
            exclude = {*_OWN, _LIMIT_OF[type(criterion)]}
            alike.setdefault(canonical_json(criterion.model_dump(exclude=exclude)), []).append(criterion)
    for group in alike.values():
        # A limit that a fallback may widen leaves something to the others.
        firm = [one for one in group if getattr(one, "fallback", None) is None]
        if not firm:
            continue
        strictest = min(firm, key=lambda one: _strictness(one) or 0.0)
        for other in group:
            if other is not strictest and _is_no_stricter(other, strictest):
                yield _redundant(other, because=strictest)


def _redundant_statistics(required: Sequence[AnyCriterion]) -> Iterator[CriteriaReport]:
    """Find means and shares that hold by themselves where every single joint has to keep no wider a limit."""
    for statistic in required:
        if not isinstance(statistic, JointStatisticCriterion):
            continue
        for every in required:
            if every is not statistic and _covers(every, statistic):
                yield _redundant(statistic, because=every)
                break


def _covers(every: AnyCriterion, statistic: JointStatisticCriterion) -> bool:
    match every:
        case SpliceLossCriterion(fallback=None):
            joint: JointKind = JointKind.SPLICE
        case ConnectionLossCriterion(basis=Basis.BIDIRECTIONAL):
            joint = JointKind.PAIR
        case JointStatisticCriterion(statistic=Statistic.SHARE_WITHIN, least_share_percent=share) if (
            share == _ALL_OF_THEM_PERCENT and statistic.statistic is Statistic.MEAN
        ):
            joint = every.joint
        case _:
            return False
    return (
        joint is statistic.joint
        and every.basis == statistic.basis
        and every.wavelength_nm == statistic.wavelength_nm
        and (every.decision, every.uncertainty_db) == (statistic.decision, statistic.uncertainty_db)
        and holds_within(statistic.applies_when, every.applies_when)
        and every.limit_db <= statistic.limit_db
    )


def _strictness(criterion: AnyCriterion) -> float | None:
    """Return a number that is smaller the stricter a criterion is; None for what has no single limit."""
    name = _LIMIT_OF.get(type(criterion))
    if name is None:
        return None
    limit = getattr(criterion, name)
    if isinstance(criterion, LinkAttenuationCriterion):
        return limit.limit_db if isinstance(limit, FixedLimit) else None
    value = float(limit)
    return -value if isinstance(criterion, ReturnLossCriterion) else value


def _is_no_stricter(criterion: AnyCriterion, strictest: AnyCriterion) -> bool:
    return (_strictness(criterion) or 0.0) >= (_strictness(strictest) or 0.0)


def _redundant(criterion: AnyCriterion, *, because: AnyCriterion) -> CriteriaReport:
    return CriteriaReport(
        criteria=(criterion.code, because.code),
        severity=Severity.QUESTIONABLE,
        detail=f"{criterion.code} never decides: {because.code} is no less strict about the same",
    )
