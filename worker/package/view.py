"""Put a package into words and numbers, in the order in which it is read."""

from collections.abc import Sequence
from dataclasses import replace

from service.vocabulary.findings.finding import FindingDocument
from service.vocabulary.words import Outcome, Quantity
from worker.package.accumulated_section import accumulated_section
from worker.package.cautions import cautions_section
from worker.package.certificate import build_certificate
from worker.package.concessions_section import concessions_section
from worker.package.content import PackageContent, outlined
from worker.package.criteria_section import criteria_section
from worker.package.distribution_section import distribution_section
from worker.package.earlier_section import earlier_section
from worker.package.evidence_sections import audit_section, ended_records_section, instruments_section
from worker.package.fibre_sections import identity_section, length_section, link_section, return_loss_section
from worker.package.finding_columns import by_quantity
from worker.package.finding_sections import nonconforming_section, open_section, submitted_findings
from worker.package.joint_sections import (
    beside_joints_section,
    connections_section,
    joints_section,
    statistics_section,
)
from worker.package.matrix_section import matrix_section
from worker.package.missing_glyphs import find_missing_glyphs, glyphs_section
from worker.package.pieces import PackageView, Section
from worker.package.records_section import records_section
from worker.package.route_scale_section import route_scale_section
from worker.package.route_section import route_section
from worker.package.set_aside_section import set_aside_section
from worker.package.signing_words import build_signing_page
from worker.package.stray_section import strays_section, submitted_strays
from worker.package.suspicions_section import submitted_suspicions, suspicions_section
from worker.package.weighed import weighed_facts
from worker.package.workmanship_section import workmanship_section


def build_view(content: PackageContent) -> PackageView:
    """Return everything the package says; no figure is computed or rounded after this."""
    findings, strays = submitted_findings(content), submitted_strays(content)
    grouped, suspicions = by_quantity(findings), submitted_suspicions(content)
    # First, so that the records are let go before the long tables are made.
    recorded = _sections_on_records(content, findings)
    weighed = weighed_facts(content, findings, strays=strays, suspicions=suspicions)
    view = PackageView(
        title=f"Acceptance package {content.number}",
        number=content.number,
        project=content.project_name,
        author=content.contractor,
        subject=f"Route {content.design.code}, {content.design.name}",
        submitted_at=content.submitted_at,
        is_demonstration=content.is_demonstration,
        certificate=build_certificate(content, weighed=weighed),
        signing=build_signing_page(content),
        sections=(
            cautions_section(),
            route_scale_section(content, grouped),
            route_section(content),
            earlier_section(content),
            criteria_section(content, findings),
            nonconforming_section(findings),
            open_section(Outcome.UNDETERMINED, findings),
            strays_section(content, strays),
            concessions_section(content, findings),
            matrix_section(content, findings),
            statistics_section(grouped),
            distribution_section(content, grouped),
            accumulated_section(content, grouped),
            link_section(grouped),
            joints_section(grouped),
            connections_section(grouped),
            beside_joints_section(grouped),
            return_loss_section(grouped),
            length_section(grouped),
            identity_section(grouped),
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


def _sections_on_records(content: PackageContent, findings: Sequence[FindingDocument]) -> tuple[Section, ...]:
    # Once: they may be read from their text each time anew.
    records = [outlined(record) for record in content.records]
    return (
        instruments_section(records),
        records_section(content, records),
        set_aside_section(content, findings, records),
        ended_records_section(records),
    )
