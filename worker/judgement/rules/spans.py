"""Writing findings about a section, and about a span or the whole fibre."""

from service.vocabulary.design.layout import Span
from service.vocabulary.findings.finding import FindingDocument
from worker.judgement.fibre.findings import Judgement, write_finding
from worker.judgement.fibre.measured import FibreMeasured


def section_finding(head: FindingDocument, fibre: FibreMeasured, section: int, judgement: Judgement) -> FindingDocument:
    """Write a finding about the fibre in one section."""
    finding = write_finding(head, segments_over(fibre, Span(first=section, last=section + 1)), judgement)
    finding["fibre"] = fibre.number
    finding["section"] = fibre.layout.design.sections[section].id
    return finding


def span_finding(head: FindingDocument, fibre: FibreMeasured, span: Span, judgement: Judgement) -> FindingDocument:
    """Write a finding about the fibre from one site to another."""
    sites = fibre.layout.design.sites
    finding = write_finding(head, segments_over(fibre, span), judgement)
    finding["fibre"] = fibre.number
    finding["from_site"], finding["to_site"] = sites[span.first].id, sites[span.last].id
    return finding


def segments_over(fibre: FibreMeasured, span: Span) -> list[str]:
    """Return the segments that have the fibre in scope and a section of the span in them, in route order."""
    design = fibre.layout.design
    sections = {section.id for section in design.sections[span.first : span.last]}
    own = (segment for segment in design.segments if segment.id in fibre.segments)
    return [segment.id for segment in own if not sections.isdisjoint(segment.sections)]


def length_over_um(fibre: FibreMeasured, span: Span) -> int:
    """Return the design's fibre length of a span."""
    offsets = fibre.layout.site_offsets_um
    return offsets[span.last] - offsets[span.first]
