"""What light meets in a fibre: what its maker states, else what is customary; and an instrument's index taken out."""

from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from service.vocabulary.design.design import Section
from service.vocabulary.design.layout import Layout
from service.vocabulary.quantities import round_half_even, to_last_place


class Glass(NamedTuple):
    """What a fibre has where its maker states nothing."""

    attenuation_db_per_km: float
    backscatter_db: float
    group_index: float


# Attenuation: what is asked of loose tube cable in public purchase specifications; less would send more back and leave
# less room. Backscatter coefficients for 1 ns: customary, from memory. Group indices of G.652: from memory.
CUSTOMARY: Mapping[int, Glass] = {
    1310: Glass(attenuation_db_per_km=0.35, backscatter_db=-79.0, group_index=1.468),
    1550: Glass(attenuation_db_per_km=0.22, backscatter_db=-81.0, group_index=1.468),
    1625: Glass(attenuation_db_per_km=0.25, backscatter_db=-82.0, group_index=1.4685),
}


class Index(NamedTuple):
    """The group index that an instrument was set to, if its record states it, and what stands for the glass's own.

    An instrument measures a time, which is distance times index. Two that are set to different indices write different
    distances for one spot, and agree once what each was set to is taken out.
    """

    stated_e5: int | None
    reference_e5: int

    @property
    def used_e5(self) -> int:
        """By what the trace's distances were made; the reference where nobody says."""
        return self.reference_e5 if self.stated_e5 is None else self.stated_e5

    def on_trace_um(self, glass_um: int) -> int:
        """Return how long a length of fibre is in the trace's own metres."""
        return glass_um * self.reference_e5 // self.used_e5

    def in_glass_um(self, on_trace_um: int) -> int:
        """Return how much fibre a length of the trace is, its index taken out."""
        return on_trace_um * self.used_e5 // self.reference_e5


def customary_glass(wavelength_nm: int) -> Glass:
    """Return what is customary at a wavelength, or at the nearest for which something is."""
    return CUSTOMARY[min(CUSTOMARY, key=lambda nm: (abs(nm - wavelength_nm), nm))]


@lru_cache(maxsize=256)
def reference_index_e5(layout: Layout, span: tuple[int, int], wavelength_nm: int) -> int:
    """Return the index of the fibre between two sites: the sections' mean where all state theirs, else the customary.

    Some stated and some guessed would give a figure that nobody has stated.
    """
    first, last = span
    stated = [_stated_index_e5(section, wavelength_nm) for section in layout.design.sections[first:last]]
    lengths_um = layout.section_lengths_um[first:last]
    if None in stated or not sum(lengths_um):
        return to_last_place(customary_glass(wavelength_nm).group_index, places=5)
    weighted = sum(index * length for index, length in zip(stated, lengths_um, strict=True) if index is not None)
    return round_half_even(weighted, unit=sum(lengths_um))


def _stated_index_e5(section: Section, wavelength_nm: int) -> int | None:
    index = next((one.group_index for one in section.optics if one.wavelength_nm == wavelength_nm), None)
    return None if index is None else to_last_place(index, places=5)
