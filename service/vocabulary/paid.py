"""What is paid for in a segment: lengths and joints by design, never by measurement."""

from collections.abc import Collection
from dataclasses import dataclass

from service.vocabulary.design import Segment
from service.vocabulary.layout import Layout
from service.vocabulary.quantities import UM_PER_CM, metres_text, to_last_place
from service.vocabulary.words import JointKind


@dataclass(frozen=True, kw_only=True)
class SegmentQuantities:
    """Lengths as decimal strings in metres, slack included; fibre length is summed over the fibres in scope."""

    cable_length_m: str
    fibre_length_m: str
    splices: int
    terminations: int
    fibres: int
    fibres_dark: int


def quantities_of(layout: Layout, segment: Segment, *, dark: Collection[int]) -> SegmentQuantities:
    """Return what a segment's billing item is about, without the fibres that may stay dark."""
    in_scope = [fibre for numbers in segment.fibres for fibre in numbers.numbers()]
    fibres = [fibre for fibre in in_scope if fibre not in dark]
    kinds = [joint.kind for fibre in fibres for joint in layout.joints_of(fibre) if joint.segment == segment.id]
    own = [
        (section, length_um)
        for section, length_um in zip(layout.design.sections, layout.section_lengths_um, strict=True)
        if section.id in segment.sections
    ]
    cable_cm = sum(
        to_last_place(section.cable_length_m, places=2) + to_last_place(section.slack_m, places=2) for section, _ in own
    )
    fibre_um = sum(length_um for _, length_um in own) * len(fibres)
    return SegmentQuantities(
        cable_length_m=metres_text(cable_cm * UM_PER_CM),
        fibre_length_m=metres_text(fibre_um),
        splices=kinds.count(JointKind.SPLICE),
        terminations=kinds.count(JointKind.PAIR),
        fibres=len(fibres),
        fibres_dark=len(in_scope) - len(fibres),
    )
