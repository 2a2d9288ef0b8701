"""What a simulated route really is: its glass, its joints and its end connections, per wavelength.

Arrays are indexed [wavelength, fibre, section], [wavelength, fibre, site] or [wavelength, fibre, end], lengths
[fibre, section]; route fibre 1 has index 0, end A index 0 and end B index 1. The two ends are terminals where a
pigtail is spliced to the cable.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tests.simulator.draws import Floats, rounded

# Finer than any reading, coarse enough that the last bit of a logarithm, which differs between machines, is gone.
_STEADY_PLACES = 6


@dataclass(frozen=True, kw_only=True)
class RouteTruth:
    """Everything that instruments could find out about a route."""

    wavelengths_nm: tuple[int, ...]
    sites: tuple[str, ...]
    section_lengths_m: Floats
    group_index: Floats
    nominal_mode_field_um: Floats
    nominal_backscatter_db: Floats
    mode_field_um: Floats
    pigtail_mode_field_um: Floats
    attenuation_db_per_km: Floats
    has_splice: NDArray[np.bool_]
    splice_loss_db: Floats
    pair_loss_db: Floats
    pair_reflectance_db: Floats

    @property
    def fibre_count(self) -> int:
        """Number of fibres."""
        return int(self.mode_field_um.shape[1])

    @property
    def site_offsets_m(self) -> Floats:
        """Distance of each site from A along each fibre."""
        return np.concatenate([np.zeros((self.fibre_count, 1)), np.cumsum(self.section_lengths_m, axis=1)], axis=1)

    @property
    def lengths_m(self) -> Floats:
        """Length of each fibre."""
        return np.asarray(self.site_offsets_m[:, -1])

    @property
    def backscatter_db(self) -> Floats:
        """Backscatter coefficient of each piece of glass: what is captured goes as one over the mode field squared."""
        ratio = self.mode_field_um / self.nominal_mode_field_um[:, None, None]
        return np.asarray(self.nominal_backscatter_db[:, None, None] - rounded(20 * np.log10(ratio), _STEADY_PLACES))

    @property
    def joint_loss_db(self) -> Floats:
        """True loss at each site: the splice, and at an end the mated pair with it."""
        losses = np.where(self.has_splice, self.splice_loss_db, 0.0)
        losses[:, :, 0] += self.pair_loss_db[:, :, 0]
        losses[:, :, -1] += self.pair_loss_db[:, :, 1]
        return losses

    @property
    def fibre_loss_db(self) -> Floats:
        """True loss of the glass alone, end to end."""
        return np.asarray((self.attenuation_db_per_km * self.section_lengths_m / 1000).sum(axis=2))

    @property
    def link_loss_db(self) -> Floats:
        """True loss from before the first to after the last end connection."""
        return np.asarray(self.fibre_loss_db + self.joint_loss_db.sum(axis=2))

    def with_splice_loss(self, *, fibre: int, site: str, losses_db: Sequence[float]) -> "RouteTruth":
        """Return the route with another true loss, one per wavelength, in one splice."""
        changed = self.splice_loss_db.copy()
        changed[:, fibre - 1, self.sites.index(site)] = losses_db
        return replace(self, splice_loss_db=changed)


def fibre_lengths_m(
    *, cable_lengths_m: Sequence[float], slacks_m: Sequence[float], excesses_percent: Sequence[float]
) -> Floats:
    """Return each section's fibre length: cable and slack, longer by the excess."""
    sheath = np.asarray(cable_lengths_m) + np.asarray(slacks_m)
    return np.asarray(sheath * (1 + np.asarray(excesses_percent) / 100))


def mode_field_offset_db(*, from_um: Floats, to_um: Floats) -> Floats:
    """Return what a change of mode field adds to a reading on the way from one to the other; negative is a gain."""
    return rounded(10 * np.log10(to_um / from_um), _STEADY_PLACES)


def mismatch_loss_db(*, one_um: Floats, other_um: Floats) -> Floats:
    """Return the true loss of two unlike mode fields without lateral offset, the same in both directions."""
    return rounded(20 * np.log10((one_um / other_um + other_um / one_um) / 2), _STEADY_PLACES)
