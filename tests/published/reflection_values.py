"""Check values of reflectance, backscatter and return loss, as data."""

from dataclasses import dataclass

from tests.published.check_values import Provenance

# Fibre at 1310 nm of all checks on glass: attenuation, backscatter coefficient for 1 ns, group index.
GLASS_DB_PER_KM, GLASS_COEFFICIENT_DB, GLASS_INDEX = 0.35, -79.0, 1.468


@dataclass(frozen=True, kw_only=True)
class FresnelCheck(Provenance):
    """A refractive index and the reflectance of a flat end of it in air."""

    refractive_index: float
    reflectance_db: float


FRESNEL = [
    FresnelCheck(
        refractive_index=1.45, reflectance_db=-14.72, tolerance=0.005, source="((n-1)/(n+1))^2", mark="computed"
    ),
    FresnelCheck(
        refractive_index=1.5, reflectance_db=-13.98, tolerance=0.005, source="((n-1)/(n+1))^2", mark="computed"
    ),
]


@dataclass(frozen=True, kw_only=True)
class HeightCheck(Provenance):
    """An event's height over the backscatter and its reflectance."""

    height_db: float
    coefficient_db: float
    pulse_ns: float
    reflectance_db: float


HEIGHTS = [
    HeightCheck(
        height_db=20.0, coefficient_db=-79.0, pulse_ns=10.0, reflectance_db=-29.0, tolerance=0.001,
        source="K + 10 log10((10^(H/5) - 1) D)", mark="computed",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class EventsCheck(Provenance):
    """Reflections behind one-way losses, no glass, and their return loss."""

    reflectances_db: tuple[float, ...]
    loss_before_db: float
    return_loss_db: float


EVENTS = [
    EventsCheck(
        reflectances_db=(-20.0,), loss_before_db=10.0, return_loss_db=40.0, tolerance=1e-9,
        source="R - 2A", mark="computed",
    ),
    EventsCheck(
        reflectances_db=(-50.0, -50.0), loss_before_db=0.0, return_loss_db=46.99, tolerance=0.005,
        source="sum of powers", mark="computed",
    ),
    EventsCheck(
        reflectances_db=(-45.0,) * 4, loss_before_db=0.0, return_loss_db=38.98, tolerance=0.005,
        source="sum of powers", mark="computed",
    ),
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PowersCheck(Provenance):
    """The share of light that comes back and the return loss it is."""

    share: float
    return_loss_db: float


_RATIO = "-10 log10 of the share; the definition is IEC 61300-3-6's, from memory"
POWERS = [
    PowersCheck(share=0.1 / 10.0, return_loss_db=20.0, tolerance=1e-9, source=_RATIO, mark="computed"),
    PowersCheck(share=1 / 20, return_loss_db=13.0, tolerance=0.05, source=_RATIO, mark="computed"),
]


@dataclass(frozen=True, kw_only=True)
class GlassCheck(Provenance):
    """A length of clean fibre at 1310 nm and its return loss, the far end absorbed."""

    length_km: float
    return_loss_db: float


GLASS = [
    GlassCheck(length_km=1.0, return_loss_db=39.4, tolerance=0.05, source="(b/2a)(1 - exp(-2aL))", mark="computed"),
    GlassCheck(length_km=5.0, return_loss_db=33.7, tolerance=0.05, source="(b/2a)(1 - exp(-2aL))", mark="computed"),
    GlassCheck(length_km=10.0, return_loss_db=32.1, tolerance=0.05, source="(b/2a)(1 - exp(-2aL))", mark="computed"),
    GlassCheck(length_km=20.0, return_loss_db=31.3, tolerance=0.05, source="(b/2a)(1 - exp(-2aL))", mark="computed"),
]
ENDLESS = GlassCheck(length_km=1e6, return_loss_db=31.2, tolerance=0.05, source="b/2a", mark="computed")

# By hand from the values above, for a flat end of index 1.45: 5 km is -14.72 - 3.5 dB of the end and -33.7 dB of glass,
# 10 km -14.72 - 7.0 dB and -32.1 dB.
OPEN_ENDS = [
    GlassCheck(length_km=5.0, return_loss_db=18.1, tolerance=0.05, source="end and glass added", mark="computed"),
    GlassCheck(length_km=10.0, return_loss_db=21.34, tolerance=0.05, source="end and glass added", mark="computed"),
]
