"""Check values of decision rules and of combined uncertainty, as data."""

from dataclasses import dataclass

from service.vocabulary.findings.words import Grade, Outcome
from tests.published.check_values import Provenance

ILAC_G8 = "ILAC-G8:09/2019, 4.2"
# Its number is from memory.
_GUARD_BANDS = "ILAC-G8:09/2019, table 1, guard bands and probabilities of false acceptance"


@dataclass(frozen=True, kw_only=True)
class ConformityCheck(Provenance):
    """A reading, its upper limit and standard uncertainty, and how likely the item conforms."""

    value: float
    upper_limit: float
    standard_uncertainty: float
    probability: float


CONFORMITY = [
    ConformityCheck(
        value=-5.47, upper_limit=-5.40, standard_uncertainty=0.05, probability=0.92, tolerance=0.005,
        source="JCGM 106:2012, 7, example of one upper limit: a breakdown voltage", mark="from memory",
    ),
    ConformityCheck(
        value=-5.47, upper_limit=-5.40, standard_uncertainty=0.05, probability=0.9192, tolerance=5e-5,
        source="normal distribution at 1.4", mark="computed",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class FourWayCheck(Provenance):
    """A reading against 0.10 with an expanded uncertainty of 0.04, a whole one as guard band."""

    value: float
    outcome: Outcome
    grade: Grade


FOUR_WAY_LIMIT, FOUR_WAY_EXPANDED = 0.10, 0.04
FOUR_WAY = [
    FourWayCheck(value=value, outcome=outcome, grade=grade, tolerance=0, source=ILAC_G8, mark="computed")
    for value, outcome, grade in (
        (0.05, Outcome.CONFORMING, Grade.FULL),
        (0.07, Outcome.CONFORMING, Grade.CONDITIONAL),
        (0.12, Outcome.NONCONFORMING, Grade.CONDITIONAL),
        (0.15, Outcome.NONCONFORMING, Grade.FULL),
    )
]


@dataclass(frozen=True, kw_only=True)
class FalseAcceptanceCheck(Provenance):
    """A guard factor at k = 2, the most that the document promises and what it comes to."""

    guard_factor: float
    at_most: float
    probability: float


FALSE_ACCEPTANCE = [
    FalseAcceptanceCheck(
        guard_factor=0.0, at_most=0.5, probability=0.5, tolerance=5e-6, source=_GUARD_BANDS, mark="seen"
    ),
    FalseAcceptanceCheck(
        guard_factor=1.0, at_most=0.025, probability=0.02275, tolerance=5e-6, source=_GUARD_BANDS, mark="seen"
    ),
    FalseAcceptanceCheck(
        guard_factor=0.83, at_most=0.05, probability=0.04846, tolerance=5e-6, source=_GUARD_BANDS, mark="seen"
    ),
]


@dataclass(frozen=True, kw_only=True)
class CombinedCheck(Provenance):
    """Contributions to a result, each with its sensitivity, and what they come to."""

    sensitivities: tuple[float, ...]
    own: tuple[float, ...]
    common: tuple[float, ...]
    combined: float


COMBINED = [
    CombinedCheck(
        sensitivities=(1.0,) * 4, own=(25.0, 9.7, 2.9, 16.6), common=(0.0,) * 4, combined=32.0, tolerance=0.5,
        source="JCGM 100:2008, H.1, end gauge, in nm", mark="from memory",
    ),
    CombinedCheck(
        sensitivities=(1.0,) * 10, own=(0.0,) * 10, common=(0.1,) * 10, combined=1.0, tolerance=1e-12,
        source="JCGM 100:2008, 5.2.2, ten resistors in series calibrated by one standard, in ohm", mark="from memory",
    ),
    CombinedCheck(
        sensitivities=(1.0,) * 10, own=(0.1,) * 10, common=(0.0,) * 10, combined=0.32, tolerance=0.005,
        source="JCGM 100:2008, 5.2.2, ten resistors taken for independent", mark="from memory",
    ),
    # 0.02 dB of reading noise at both ends of 500 m, in dB/km.
    CombinedCheck(
        sensitivities=(-2.0, 2.0), own=(0.02, 0.02), common=(0.0, 0.0), combined=0.06, tolerance=0.005,
        source="difference of two readings over a length", mark="computed",
    ),
]  # fmt: skip
