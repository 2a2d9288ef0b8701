"""Where on a route a criterion holds: in which spans, sections and sites, and at which joints."""

from collections.abc import Callable
from dataclasses import dataclass

from service.vocabulary.criteria.base import AppliesWhen, Criterion
from service.vocabulary.criteria.selection import OfJoints, OfSections, Where, is_of_type
from service.vocabulary.design.layout import Joint, Layout, Span
from service.vocabulary.quantities import to_um


@dataclass(frozen=True, kw_only=True, slots=True)
class Scope:
    """The spans, sections and sites at which a criterion holds, by index, and whether it holds from end to end.

    `joint_sites` are those at which it is about joints, all of them unless `picks` says which; `cable` are the sections
    in which it is about what lies on no joint.
    """

    spans: tuple[Span, ...]
    sections: frozenset[int]
    sites: frozenset[int]
    holds_end_to_end: bool
    cable: frozenset[int]
    joint_sites: frozenset[int]
    picks: Callable[[Joint], bool] | None

    def selects(self, joint: Joint) -> bool:
        """Tell whether the criterion is about a joint."""
        return joint.site_index in self.joint_sites and (self.picks is None or self.picks(joint))


def scope_of(criterion: Criterion, layout: Layout) -> Scope:
    """Return where a criterion holds; everywhere where it does not say."""
    applies_when, of_joints = criterion.applies_when, criterion if isinstance(criterion, OfJoints) else None
    spans = tuple(span for span in layout.spans if holds_over(applies_when, layout, span))
    whole = Span(first=0, last=len(layout.design.sites) - 1)
    sites = frozenset(site for span in spans for site in range(span.first, span.last + 1))
    sections = frozenset(section for span in spans for section in range(span.first, span.last))
    selected = _selected_sections(criterion, layout, sections)
    return Scope(
        spans=spans,
        sections=sections if of_joints is not None else selected,
        cable=selected,
        sites=sites,
        holds_end_to_end=holds_over(applies_when, layout, whole),
        joint_sites=sites if of_joints is None else _selected(of_joints, layout, sites),
        # Hardly any criterion tells joints of one site apart, and then its sites say it all.
        picks=of_joints.selects if of_joints is not None and _parts_joints(of_joints) else None,
    )


def holds_over(applies_when: AppliesWhen | None, layout: Layout, span: Span) -> bool:
    """Tell whether a criterion holds over the fibre between two sites."""
    if applies_when is None:
        return True
    length_um = layout.site_offsets_um[span.last] - layout.site_offsets_um[span.first]
    least, most = applies_when.least_span_m, applies_when.most_span_m
    if least is not None and length_um < to_um(least):
        return False
    if most is not None and length_um > to_um(most):
        return False
    types = {layout.design.sections[index].fibre_type for index in range(span.first, span.last)}
    named = applies_when.fibre_types
    return not named or any(is_of_type(one, name) for one in types for name in named)


def _selected(criterion: OfJoints, layout: Layout, sites: frozenset[int]) -> frozenset[int]:
    own = layout.design.sites
    return frozenset(index for index in sites if criterion.selects_at(own[index].id, own[index].kind))


def _selected_sections(criterion: Criterion, layout: Layout, sections: frozenset[int]) -> frozenset[int]:
    if not isinstance(criterion, OfJoints | OfSections):
        return sections
    own = layout.design.sections
    return frozenset(index for index in sections if criterion.selects_section(own[index].id))


def _parts_joints(criterion: OfJoints) -> bool:
    return criterion.at is Where.TERMINAL_SPLICES or criterion.is_of_some_splices
