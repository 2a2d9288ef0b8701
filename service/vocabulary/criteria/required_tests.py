"""Which tests a criterion is judged by."""

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.criteria.joints import (
    BendCriterion,
    ConnectionLossCriterion,
    JointStatisticCriterion,
    ReflectanceCriterion,
    SpliceLossCriterion,
    StrayLossCriterion,
    TerminationLossCriterion,
)
from service.vocabulary.criteria.links import (
    AttenuationCoefficientCriterion,
    ChromaticDispersionCriterion,
    ContinuityCriterion,
    LinkAttenuationCriterion,
    PolarizationModeDispersionCriterion,
    RequiredTestCriterion,
    ReturnLossCriterion,
)
from service.vocabulary.words import Basis

Test = Literal["otdr", "attenuation", "return_loss", "dispersion", "continuity"]


class RequiredTest(NamedTuple):
    """A test of the whole fibre, from both ends; continuity has no wavelength."""

    name: Test
    wavelength_nm: int | None


_TEST_OF: Mapping[type[Criterion], Test] = {
    SpliceLossCriterion: "otdr",
    ConnectionLossCriterion: "otdr",
    TerminationLossCriterion: "otdr",
    ReflectanceCriterion: "otdr",
    JointStatisticCriterion: "otdr",
    StrayLossCriterion: "otdr",
    BendCriterion: "otdr",
    AttenuationCoefficientCriterion: "otdr",
    LinkAttenuationCriterion: "attenuation",
    ChromaticDispersionCriterion: "dispersion",
    PolarizationModeDispersionCriterion: "dispersion",
    ContinuityCriterion: "continuity",
}


def required_tests_of(criterion: Criterion) -> Sequence[RequiredTest]:
    """Return the tests from end to end that a criterion cannot be judged without."""
    test = _test_of(criterion)
    if test is None or getattr(criterion, "basis", None) is Basis.ESTIMATE:
        return ()
    if isinstance(criterion, BendCriterion):
        return tuple(RequiredTest(test, nm) for nm in (criterion.short_wavelength_nm, criterion.long_wavelength_nm))
    return (RequiredTest(test, getattr(criterion, "wavelength_nm", None)),)


def _test_of(criterion: Criterion) -> Test | None:
    match criterion:
        case RequiredTestCriterion():
            return criterion.test
        case ReturnLossCriterion():
            return "return_loss" if criterion.basis == "measured" else "otdr"
        case _:
            return _TEST_OF.get(type(criterion))
