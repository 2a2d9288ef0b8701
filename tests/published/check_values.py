"""Check values from outside, as data.

`mark` says how far a value is to be trusted: `seen` in the named document, `computed` from the formula stated,
`customary` (common practice, no source), or `from memory` of the named document.
"""

from dataclasses import dataclass
from typing import Literal

Mark = Literal["seen", "computed", "customary", "from memory"]

# The edition is from memory; its examples were seen.
SENIOR = "J. M. Senior, Optical Fiber Communications: Principles and Practice, 3rd edition 2009"


@dataclass(frozen=True, kw_only=True)
class Provenance:
    """Where an expected value comes from, and how near it has to be met."""

    source: str
    mark: Mark
    tolerance: float


def source_of(check: Provenance) -> str:
    """Return what a check is called in a test report."""
    return f"{check.mark}: {check.source}"


@dataclass(frozen=True, kw_only=True)
class MismatchCheck(Provenance):
    """Two mode-field diameters and the loss of a perfectly aligned splice between them."""

    diameters_um: tuple[float, float]
    loss_db: float


MISMATCHES = [
    MismatchCheck(
        diameters_um=(11.2, 8.4), loss_db=0.35, tolerance=0.005, source=f"{SENIOR}, example 5.6", mark="seen"
    ),
    MismatchCheck(diameters_um=(11.2, 8.4), loss_db=0.3546, tolerance=5e-5, source="Gaussian overlap", mark="computed"),
    MismatchCheck(diameters_um=(8.8, 9.3), loss_db=0.0133, tolerance=5e-5, source="Gaussian overlap", mark="computed"),
    MismatchCheck(diameters_um=(9.3, 8.8), loss_db=0.0133, tolerance=5e-5, source="Gaussian overlap", mark="computed"),
    MismatchCheck(diameters_um=(9.2, 8.6), loss_db=0.0197, tolerance=5e-5, source="Gaussian overlap", mark="computed"),
    MismatchCheck(diameters_um=(9.6, 8.2), loss_db=0.107, tolerance=5e-4, source="Gaussian overlap", mark="computed"),
]


@dataclass(frozen=True, kw_only=True)
class MisalignmentCheck(Provenance):
    """Offset and tilt of two equal fibres and the loss they make together."""

    offset_um: float
    tilt_deg: float
    mode_field_radius_um: float
    refractive_index: float
    wavelength_um: float
    loss_db: float


# Example 5.5 gives V 2.40, index 1.46, core radius 4 um, aperture 0.1. Its spot size is the field radius over the root
# of two: w = a (0.65 + 1.62 V^-1.5 + 2.88 V^-6); its V makes the wavelength 2 pi a NA / V.
_V, _CORE_UM, _APERTURE = 2.40, 4.0, 0.1
_SENIOR_RADIUS_UM = _CORE_UM * (0.65 + 1.62 * _V**-1.5 + 2.88 * _V**-6)
_SENIOR_WAVELENGTH_UM = 2 * 3.141592653589793 * _CORE_UM * _APERTURE / _V

MISALIGNMENTS = [
    MisalignmentCheck(
        offset_um=1.0,
        tilt_deg=1.0,
        mode_field_radius_um=_SENIOR_RADIUS_UM,
        refractive_index=1.46,
        wavelength_um=_SENIOR_WAVELENGTH_UM,
        loss_db=0.72,
        tolerance=0.01,
        source=f"{SENIOR}, example 5.5",
        mark="seen",
    ),
    MisalignmentCheck(
        offset_um=1.0,
        tilt_deg=0.0,
        mode_field_radius_um=4.6,
        refractive_index=1.447,
        wavelength_um=1.31,
        loss_db=0.205,
        tolerance=5e-4,
        source="Gaussian overlap",
        mark="computed",
    ),
    MisalignmentCheck(
        offset_um=0.0,
        tilt_deg=1.0,
        mode_field_radius_um=4.6,
        refractive_index=1.447,
        wavelength_um=1.31,
        loss_db=0.337,
        tolerance=5e-4,
        source="Gaussian overlap",
        mark="computed",
    ),
]


@dataclass(frozen=True, kw_only=True)
class TwoWayCheck(Provenance):
    """What two directions read at a splice, their mean and half their difference; losses in 0.001 dB."""

    a_to_b_mdb: int
    b_to_a_mdb: int
    mean_db: float
    offset_db: float


TWO_WAY = [
    TwoWayCheck(
        a_to_b_mdb=200,
        b_to_a_mdb=100,
        mean_db=0.15,
        offset_db=0.05,
        tolerance=1e-12,
        source="common practice, no source",
        mark="customary",
    ),
    TwoWayCheck(
        a_to_b_mdb=120,
        b_to_a_mdb=-40,
        mean_db=0.04,
        offset_db=0.08,
        tolerance=1e-12,
        source="common practice, no source",
        mark="customary",
    ),
    TwoWayCheck(
        a_to_b_mdb=-243,
        b_to_a_mdb=343,
        mean_db=0.05,
        offset_db=-0.293,
        tolerance=1e-12,
        source="10 log10 of the mode fields 9.2 and 8.6 um, true loss 0.05 dB",
        mark="computed",
    ),
]


@dataclass(frozen=True, kw_only=True)
class BudgetCheck(Provenance):
    """Parts of a link and what they add up to."""

    sections: tuple[tuple[float, float], ...]
    splices: int
    splice_db: float
    pairs: int
    pair_db: float
    other_db: float
    loss_db: float


# What the parts lose is as a public calculator has it; what they come to is added up here.
_FOA = "sum of the parts; single-mode values of the FOA's Loss Budget Calculator (thefoa.org/tech/ref/Loss_Budget)"
_SUM = "sum of the parts, each invented"
BUDGETS = [
    # 4.0 dB at 1310 nm, 0.6 dB and 1.0 dB.
    BudgetCheck(
        sections=((10.0, 0.4),), splices=4, splice_db=0.15, pairs=2, pair_db=0.5, other_db=0.0, loss_db=5.6,
        tolerance=1e-9, source=_FOA, mark="computed",
    ),
    # 5.0 dB at 1550 nm, 1.2 dB and 2.0 dB.
    BudgetCheck(
        sections=((25.0, 0.2),), splices=8, splice_db=0.15, pairs=4, pair_db=0.5, other_db=0.0, loss_db=8.2,
        tolerance=1e-9, source=_FOA, mark="computed",
    ),
    # 2.0 + 1.0 + 2.5 + 0.5 dB.
    BudgetCheck(
        sections=((2.0, 1.0),), splices=2, splice_db=0.5, pairs=5, pair_db=0.5, other_db=0.5, loss_db=6.0,
        tolerance=1e-9, source=_SUM, mark="computed",
    ),
    # 3.5 + 0.01 + 1.0 dB, and 3 dB to spare.
    BudgetCheck(
        sections=((10.0, 0.35),), splices=1, splice_db=0.01, pairs=2, pair_db=0.5, other_db=3.0, loss_db=7.51,
        tolerance=1e-9, source=_SUM, mark="computed",
    ),
    # Two coefficients: 0.168 + 9.88 + 0.3 + 0.7 dB.
    BudgetCheck(
        sections=((0.21, 0.8), (19.76, 0.5)), splices=2, splice_db=0.15, pairs=2, pair_db=0.35, other_db=0.0,
        loss_db=11.048, tolerance=1e-9, source=_SUM, mark="computed",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ReferenceCheck(Provenance):
    """A reference method and the limit it gives the one link below."""

    reference_cords: int
    limit_db: float


# 4 km at 0.4 dB/km, 2 splices at 0.3 dB, one patch inside and two ends at 0.75 dB each.
_METHODS = "one-cord counts both ends, two-cord one, three-cord none: IEC 61280-4-2 and TIA-526-7, from memory"
REFERENCES = [
    ReferenceCheck(reference_cords=1, limit_db=4.45, tolerance=1e-9, source=_METHODS, mark="computed"),
    ReferenceCheck(reference_cords=2, limit_db=3.70, tolerance=1e-9, source=_METHODS, mark="computed"),
    ReferenceCheck(reference_cords=3, limit_db=2.95, tolerance=1e-9, source=_METHODS, mark="computed"),
]


@dataclass(frozen=True, kw_only=True)
class DistanceCheck(Provenance):
    """A time, a group index and the distance."""

    round_trip_us: float
    group_index: float
    distance_m: float


DISTANCES = [
    DistanceCheck(
        round_trip_us=10.0, group_index=1.468, distance_m=1021.1, tolerance=0.05, source="c t / 2 n", mark="computed"
    ),
    DistanceCheck(
        round_trip_us=0.01, group_index=1.468, distance_m=1.02, tolerance=0.005, source="c t / 2 n", mark="computed"
    ),
    DistanceCheck(
        round_trip_us=1.0, group_index=1.468, distance_m=102.0, tolerance=0.5, source="c t / 2 n", mark="computed"
    ),
]


@dataclass(frozen=True, kw_only=True)
class ColourCheck(Provenance):
    """A cable fibre in tubes of twelve, and its place."""

    cable_fibre: int
    tube: int
    tube_colour: str
    fibre: int
    fibre_colour: str


# The twelve were seen listed after the standard; the tracers are from memory.
_TIA = "ANSI/TIA-598-C, fibre colours 1 to 12 in order; repeated with a black tracer, black with a yellow one"
COLOURS = [
    ColourCheck(
        cable_fibre=number, tube=tube, tube_colour=tube_colour, fibre=fibre, fibre_colour=fibre_colour,
        source=_TIA, mark="seen", tolerance=0,
    )
    for number, tube, tube_colour, fibre, fibre_colour in (
        (73, 7, "red", 1, "blue"),
        (12, 1, "blue", 12, "aqua"),
        (13, 2, "orange", 1, "blue"),
        (144, 12, "aqua", 12, "aqua"),
        (145, 13, "blue with black tracer", 1, "blue"),
        (229, 20, "black with yellow tracer", 1, "blue"),
    )
]  # fmt: skip
TIA_598_ORDER = (
    "blue", "orange", "green", "brown", "slate", "white", "red", "black", "yellow", "violet", "rose", "aqua",
)  # fmt: skip
