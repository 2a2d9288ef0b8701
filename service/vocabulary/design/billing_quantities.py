"""What is paid for in a segment: lengths and joints by design, never by measurement."""

from collections.abc import Collection
from dataclasses import dataclass

from service.vocabulary.design.design import Segment
from service.vocabulary.design.layout import Layout
from service.vocabulary.design.words import JointKind
from service.vocabulary.quantities import UM_PER_CM, metres_text, to_last_place


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
    lengths = zip(layout.design.sections, layout.section_lengths_um, strict=True)
    fibre_um = sum(length_um for section, length_um in lengths if section.id in segment.sections)
    return SegmentQuantities(
        cable_length_m=cable_length_m(layout, segment),
        fibre_length_m=metres_text(fibre_um * len(fibres)),
        splices=kinds.count(JointKind.SPLICE),
        terminations=kinds.count(JointKind.PAIR),
        fibres=len(fibres),
        fibres_dark=len(in_scope) - len(fibres),
    )


def cable_length_m(layout: Layout, segment: Segment) -> str:
    """Return the length of a segment's cable with its slack, in metres."""
    own = [section for section in layout.design.sections if section.id in segment.sections]
    cable_cm = sum(
        to_last_place(length, places=2) for section in own for length in (section.cable_length_m, section.slack_m)
    )
    return metres_text(cable_cm * UM_PER_CM)
