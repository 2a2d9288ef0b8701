"""Check values of what one direction shows too much or too little, as data."""

from dataclasses import dataclass

from tests.published.check_values import Provenance


@dataclass(frozen=True, kw_only=True)
class CoefficientCheck(Provenance):
    """Backscatter coefficients on both sides of a splice and the offset of the reading from the first."""

    coefficients_db: tuple[float, float]
    offset_db: float


COEFFICIENTS = [
    CoefficientCheck(
        coefficients_db=(-82.00, -82.16), offset_db=0.08, tolerance=1e-9, source="common practice, no source",
        mark="customary",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class ModeFieldCheck(Provenance):
    """Mode fields on both sides of a splice, and the offset of the reading from the first."""

    diameters_um: tuple[float, float]
    offset_db: float
    true_loss_db: float
    readings_db: tuple[float, float]


MODE_FIELDS = [
    ModeFieldCheck(
        diameters_um=(9.2, 8.6), offset_db=-0.293, true_loss_db=0.05, readings_db=(-0.243, 0.343), tolerance=5e-4,
        source="10 log10 of the mode fields, captured light as one over their square", mark="computed",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class LeastLossCheck(Provenance):
    """An offset and the smallest loss of a splice that has it."""

    offset_db: float
    loss_db: float


# By hand: 0.6 dB is a ratio of 1.1482, its mean with its inverse 1.00956; 0.293 dB is 9.2 over 8.6 um.
LEAST_LOSSES = [
    LeastLossCheck(offset_db=0.6, loss_db=0.0826, tolerance=2e-4, source="Gaussian overlap", mark="computed"),
    LeastLossCheck(offset_db=-0.293, loss_db=0.0197, tolerance=1e-4, source="Gaussian overlap", mark="computed"),
    LeastLossCheck(offset_db=0.0, loss_db=0.0, tolerance=1e-12, source="equal fields", mark="computed"),
]


@dataclass(frozen=True, kw_only=True)
class BothEffectsCheck(Provenance):
    """Two mode-field radii, an offset, and the loss of both together."""

    radii_um: tuple[float, float]
    offset_um: float
    loss_db: float


BOTH_EFFECTS = [
    BothEffectsCheck(
        radii_um=(4.6, 4.6), offset_um=1.0, loss_db=0.205, tolerance=5e-4, source="Gaussian overlap", mark="computed"
    ),
    BothEffectsCheck(
        radii_um=(5.6, 4.2), offset_um=0.0, loss_db=0.3546, tolerance=5e-5, source="Gaussian overlap", mark="computed"
    ),
    # By hand: 0.0197 dB of mismatch and 8.686 * 0.64 / 39.65 dB of offset.
    BothEffectsCheck(
        radii_um=(4.6, 4.3), offset_um=0.8, loss_db=0.1599, tolerance=1e-4, source="Marcuse's form", mark="computed"
    ),
]
