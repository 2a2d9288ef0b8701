"""Check values of dispersion, and of the lengths of pulses, as data."""

from dataclasses import dataclass

from tests.published.check_values import Provenance


@dataclass(frozen=True, kw_only=True)
class DispersionCheck(Provenance):
    """A wavelength and the dispersion there of fibre with slope 0.092 and none at 1310 nm."""

    wavelength_nm: float
    dispersion_ps_per_nm_km: float


_FORM = "(S0/4)(l - l0^4/l^3)"
DISPERSIONS = [
    DispersionCheck(
        wavelength_nm=1550.0, dispersion_ps_per_nm_km=17.46, tolerance=0.005, source=_FORM, mark="computed"
    ),
    DispersionCheck(wavelength_nm=1310.0, dispersion_ps_per_nm_km=0.0, tolerance=1e-12, source=_FORM, mark="computed"),
]


@dataclass(frozen=True, kw_only=True)
class SpreadCheck(Provenance):
    """Sections of cable at one coefficient and the polarisation-mode dispersion of their link."""

    section_lengths_km: tuple[float, ...]
    coefficient_ps_per_sqrt_km: float
    spread_ps: float


# The coefficient is the greatest for cable design, seen; what the links come to is computed.
SPREADS = [
    SpreadCheck(
        section_lengths_km=(25.0,) * 4, coefficient_ps_per_sqrt_km=0.20, spread_ps=2.0, tolerance=1e-12,
        source="root of the sum of c^2 L", mark="computed",
    ),
    SpreadCheck(
        section_lengths_km=(4.0,), coefficient_ps_per_sqrt_km=0.20, spread_ps=0.4, tolerance=1e-12,
        source="root of the sum of c^2 L", mark="computed",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PulseCheck(Provenance):
    """A pulse's width and its length in fibre of group index 1.468."""

    pulse_ns: float
    length_m: float


PULSES = [
    PulseCheck(pulse_ns=10.0, length_m=1.02, tolerance=0.005, source="c t / 2 n", mark="computed"),
    PulseCheck(pulse_ns=100.0, length_m=10.2, tolerance=0.05, source="c t / 2 n", mark="computed"),
    PulseCheck(pulse_ns=1000.0, length_m=102.0, tolerance=0.5, source="c t / 2 n", mark="computed"),
]


@dataclass(frozen=True, kw_only=True)
class BendCheck(Provenance):
    """Losses at 1310, 1550 and 1625 nm, and whether they are a bend's by 0.2 dB and 1.5 times."""

    losses_db: tuple[float, float, float]
    looks_bent: bool


# A bend loses far more at long wavelengths, a splice about the same; the losses are invented.
_CUSTOM = "common practice, no source; settings 0.2 dB and 1.5"
BENDS = [
    BendCheck(losses_db=(0.05, 0.48, 1.10), looks_bent=True, tolerance=0, source=_CUSTOM, mark="customary"),
    BendCheck(losses_db=(0.06, 0.05, 0.07), looks_bent=False, tolerance=0, source=_CUSTOM, mark="customary"),
    BendCheck(losses_db=(1.00, 1.25, 1.30), looks_bent=False, tolerance=0, source=_CUSTOM, mark="customary"),
]
