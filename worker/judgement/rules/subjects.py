"""What findings are about: a joint, the fibre from end to end, a section, a span."""

from service.vocabulary.criteria.base import Criterion
from service.vocabulary.design.layout import Joint, Span
from worker.judgement.fibre.findings import Finding, Judgement
from worker.judgement.fibre.measured import FibreMeasured


def joint_finding(criterion: Criterion, fibre: FibreMeasured, joint: Joint, judgement: Judgement) -> Finding:
    """Return a finding about a joint."""
    # By position: a route has more of these than of anything else.
    return Finding(criterion, judgement, (joint.segment,), fibre.number, joint.site, joint.position)


def link_finding(criterion: Criterion, fibre: FibreMeasured, judgement: Judgement) -> Finding:
    """Return a finding about a fibre from end to end."""
    from_site, to_site = fibre.end_sites
    return Finding(criterion, judgement, fibre.segments, fibre.number, from_site=from_site, to_site=to_site)


def section_finding(criterion: Criterion, fibre: FibreMeasured, section: int, judgement: Judgement) -> Finding:
    """Return a finding about the fibre in one section."""
    segments = segments_over(fibre, Span(first=section, last=section + 1))
    return Finding(criterion, judgement, segments, fibre.number, section=fibre.layout.design.sections[section].id)


def span_finding(criterion: Criterion, fibre: FibreMeasured, span: Span, judgement: Judgement) -> Finding:
    """Return a finding about the fibre from one site to another."""
    sites = fibre.layout.design.sites
    return Finding(
        criterion,
        judgement,
        segments_over(fibre, span),
        fibre.number,
        from_site=sites[span.first].id,
        to_site=sites[span.last].id,
    )


def segments_over(fibre: FibreMeasured, span: Span) -> tuple[str, ...]:
    """Return the segments that have the fibre in scope and a section of the span in them, in route order."""
    design = fibre.layout.design
    sections = {section.id for section in design.sections[span.first : span.last]}
    own = (segment for segment in design.segments if segment.id in fibre.segments)
    return tuple(segment.id for segment in own if not sections.isdisjoint(segment.sections))


def length_over_um(fibre: FibreMeasured, span: Span) -> int:
    """Return the design's fibre length of a span."""
    offsets = fibre.layout.site_offsets_um
    return offsets[span.last] - offsets[span.first]
