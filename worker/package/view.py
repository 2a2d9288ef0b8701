"""Put a package into words and numbers, in the order in which it is read."""

from collections.abc import Sequence
from dataclasses import replace

from service.vocabulary.criteria.words import Quantity
from service.vocabulary.findings.words import Outcome
from worker.package.data.content import PackageContent
from worker.package.data.findings import Finding, by_quantity
from worker.package.data.records import outline_of
from worker.package.document_model import PackageView, Section
from worker.package.sections.accumulated import accumulated_section
from worker.package.sections.audit_head import audit_section
from worker.package.sections.cable_laid import cable_laid_section
from worker.package.sections.cautions import cautions_section
from worker.package.sections.concessions import concessions_section
from worker.package.sections.cover import build_cover
from worker.package.sections.criteria import criteria_section
from worker.package.sections.decision_summary import decision_summary
from worker.package.sections.distribution import distribution_section
from worker.package.sections.earlier import earlier_section
from worker.package.sections.ended_records import ended_records_section
from worker.package.sections.findings import nonconforming_section, open_section, submitted_findings
from worker.package.sections.instruments import instruments_section
from worker.package.sections.matrix import matrix_section
from worker.package.sections.missing_glyphs import find_missing_glyphs, glyphs_section
from worker.package.sections.quantities import BY_FIBRE, STATISTICS
from worker.package.sections.records import records_section
from worker.package.sections.route import route_section
from worker.package.sections.route_scale import route_scale_section
from worker.package.sections.set_aside import set_aside_section
from worker.package.sections.signing_page import build_signing_page
from worker.package.sections.spots import spots_section
from worker.package.sections.suspicions import submitted_suspicions, suspicions_section
from worker.package.sections.unexpected_events import submitted_unexpected_events, unexpected_events_section
from worker.package.sections.workmanship import workmanship_section


def build_view(content: PackageContent) -> PackageView:
    """Return everything the package says; no figure is computed or rounded after this."""
    findings, unexpected = submitted_findings(content), submitted_unexpected_events(content)
    grouped, suspicions = by_quantity(findings), submitted_suspicions(content)
    # First, so that the records are let go before the long tables are made.
    recorded = _sections_on_records(content, findings)
    summary = decision_summary(content, findings, unexpected=unexpected, suspicions=suspicions)
    view = PackageView(
        title=f"Acceptance package {content.number}",
        number=content.number,
        project=content.project_name,
        author=content.contractor,
        subject=f"Route {content.design.code}, {content.design.name}",
        submitted_at=content.submitted_at,
        is_demonstration=content.is_demonstration,
        cover=build_cover(content, summary=summary),
        signing=build_signing_page(content),
        sections=(
            cautions_section(),
            route_scale_section(content, grouped),
            route_section(content),
            spots_section(content),
            earlier_section(content),
            criteria_section(content, findings),
            nonconforming_section(findings),
            open_section(Outcome.UNDETERMINED, findings),
            unexpected_events_section(content, unexpected),
            concessions_section(content, findings),
            matrix_section(content, findings),
            STATISTICS.of(grouped),
            distribution_section(content, grouped),
            accumulated_section(content, grouped),
            *(section.of(grouped) for section in BY_FIBRE),
            workmanship_section(content, grouped.get(Quantity.WORKMANSHIP, ())),
            *recorded,
            suspicions_section(suspicions),
            audit_section(content),
        ),
    )
    missing = find_missing_glyphs(view)
    if not missing:
        return view
    return replace(view, missing_glyphs=missing, sections=(*view.sections, glyphs_section(missing)))


def _sections_on_records(content: PackageContent, findings: Sequence[Finding]) -> tuple[Section, ...]:
    # Once: they may be read from their text each time anew.
    records = [outline_of(record) for record in content.records]
    return (
        cable_laid_section(content, records),
        instruments_section(records),
        records_section(content, records),
        set_aside_section(content, findings, records),
        ended_records_section(records),
    )
