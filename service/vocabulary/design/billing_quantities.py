"""What is paid for in a segment: lengths and joints by design, never by measurement."""

from collections import Counter
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cache

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
    return _quantities(layout, segment, _counting(layout), dark=dark)


def quantities_by_segment(layout: Layout) -> dict[str, SegmentQuantities]:
    """Return what each segment is about by its design alone."""
    counts = _counting(layout)
    return {segment.id: _quantities(layout, segment, counts, dark=()) for segment in layout.design.segments}


# How often each kind of joint is in each segment, of a fibre and all that are alike: fibres alike are counted once.
_CountAlike = Callable[[int], Mapping[tuple[str, JointKind], int]]


def _counting(layout: Layout) -> _CountAlike:
    return cache(lambda first: Counter((joint.segment, joint.kind) for joint in layout.joints_of(first)))


def _quantities(layout: Layout, segment: Segment, counts: _CountAlike, *, dark: Collection[int]) -> SegmentQuantities:
    in_scope = [fibre for numbers in segment.fibres for fibre in numbers.numbers()]
    fibres = [fibre for fibre in in_scope if fibre not in dark]
    alike = Counter(map(layout.first_alike, fibres)).items()
    splices, pairs = (
        sum(number * counts(first).get((segment.id, kind), 0) for first, number in alike)
        for kind in (JointKind.SPLICE, JointKind.PAIR)
    )
    lengths = zip(layout.design.sections, layout.section_lengths_um, strict=True)
    fibre_um = sum(length_um for section, length_um in lengths if section.id in segment.sections)
    return SegmentQuantities(
        cable_length_m=cable_length_m(layout, segment),
        fibre_length_m=metres_text(fibre_um * len(fibres)),
        splices=splices,
        terminations=pairs,
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
