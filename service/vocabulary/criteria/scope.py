"""Where on a route a criterion holds: the sites and sections in spans of the length and fibre type it asks for."""

from dataclasses import dataclass

from service.vocabulary.criteria.base import AppliesWhen
from service.vocabulary.design.layout import Layout, Span
from service.vocabulary.quantities import to_um


@dataclass(frozen=True, kw_only=True, slots=True)
class Scope:
    """The spans, sections and sites at which a criterion holds, by index, and whether it holds from end to end."""

    spans: tuple[Span, ...]
    sections: frozenset[int]
    sites: frozenset[int]
    holds_end_to_end: bool


def scope_of(applies_when: AppliesWhen | None, layout: Layout) -> Scope:
    """Return where a criterion holds; everywhere where it does not say when it applies."""
    spans = tuple(span for span in layout.spans if holds_over(applies_when, layout, span))
    whole = Span(first=0, last=len(layout.design.sites) - 1)
    return Scope(
        spans=spans,
        sections=frozenset(section for span in spans for section in range(span.first, span.last)),
        sites=frozenset(site for span in spans for site in range(span.first, span.last + 1)),
        holds_end_to_end=holds_over(applies_when, layout, whole),
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
    return not applies_when.fibre_types or not types.isdisjoint(applies_when.fibre_types)
